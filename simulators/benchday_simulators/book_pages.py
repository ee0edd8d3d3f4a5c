"""What a field controller shows: pages for people, from which a program can read too."""

from collections.abc import Sequence
from html import escape

from .state import Recording, UnitState
from .web_connection import Response

_HEAD = '<!doctype html>\n<html lang="en"><head><meta charset="utf-8"><title>Fenbook</title></head><body>\n'
_TAIL = "</body></html>\n"


def as_page(status: int, body: str, headers: Sequence[tuple[str, str]] = ()) -> Response:
    """Answer with a page."""
    text = _HEAD + body + _TAIL
    return Response(status, text.encode(), [("content-type", "text/html; charset=utf-8"), *headers])


def sign_in(ticket: str, *, wrong: bool) -> Response:
    """Ask who is there."""
    told = '<p class="wrong">That name and code do not belong together.</p>\n' if wrong else ""
    return as_page(
        200,
        f'{told}<form id="sign-in" method="post" action="/sign-in">'
        f'<input type="hidden" name="ticket" value="{escape(ticket)}">'
        '<input name="person"><input name="code" type="password"><button>Come in</button></form>\n',
    )


def status(state: UnitState, ticket: str) -> Response:
    """Show who the unit is."""
    mode = "working" if state.mode == "run" else "loader"
    rows = (
        ("serial", "Serial", state.identity()),
        ("model", "Model", state.model),
        ("revision", "Revision", f"rev. {state.hardware}"),
        ("software", "Software", f"Fenbook {state.release}" if state.release else "none"),
        ("mode", "Mode", mode),
        ("supported", "Supported until", state.term),
    )
    table = "".join(f'<tr id="{name}"><th>{label}</th><td>{escape(value)}</td></tr>\n' for name, label, value in rows)
    options = "".join(f"<li>{escape(option)}</li>" for option in state.options)
    return as_page(
        200,
        f'<table id="unit">\n{table}</table>\n<ul id="options">{options}</ul>\n'
        f'<form id="acts"><input type="hidden" name="ticket" value="{escape(ticket)}"></form>\n',
    )


def jobs(recordings: Sequence[Recording]) -> Response:
    """Show the jobs."""
    rows = "".join(
        f'<tr class="job"><td class="name">{escape(one.name)}</td><td class="size">{one.bytes} bytes</td>'
        f'<td class="sum">{one.sha256}</td></tr>\n'
        for one in recordings
    )
    return as_page(200, f'<table id="jobs">\n{rows}</table>\n')
