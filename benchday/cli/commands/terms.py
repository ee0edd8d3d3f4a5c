"""terms: fetch the supplier's list of support terms, and compare it with the roster."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import anyio

from benchday.cli.conduct import complain
from benchday.cli.exits import Exit
from benchday.cli.output import print_document
from benchday.domain.bench import SupportTerms
from benchday.domain.clean import clean
from benchday.domain.errors import InputError
from benchday.domain.plan import DayPlan
from benchday.inputs.day import read_day
from benchday.inputs.terms_copy import COPY
from benchday.inputs.terms_lookup import How, fetch_terms


def terms(folder: Path, *, as_json: bool) -> int:
    """Fetch the list if it has an address, and show what it says.

    Raises:
        InputError: the day names no list, its files hold mistakes, or the folder cannot be written.
    """
    named = read_day(folder).required().day.support_terms
    if named is None:
        raise InputError("day.yaml names no list of support terms; add support_terms: with supplier: and file: or url:")
    how, fetched = anyio.run(_fetch, folder, named)
    # Read anew: what the day will use is what is shown.
    outcome = read_day(folder)
    plan = outcome.required()
    of_list = [n.text for n in outcome.notices if n.file in (named.file, COPY)]
    notices = list(dict.fromkeys([*fetched, *of_list]))
    units = list(_units(plan))
    if as_json:
        print_document("terms", _document(folder, named, how, plan, notices, units))
    else:
        _print(named, how, plan, notices, units)
    return Exit.FAILED if how == How.NONE else Exit.DONE


async def _fetch(folder: Path, named: SupportTerms) -> tuple[str, tuple[str, ...]]:
    if named.url is None:
        return "file", ()
    today = datetime.now().astimezone().date().isoformat()
    fetched = await fetch_terms(folder, named.url, today)
    return fetched.how.value, fetched.notices


def _units(plan: DayPlan) -> Iterator[dict[str, Any]]:
    said = plan.terms.terms if plan.terms is not None else {}
    for row in plan.roster:
        listed = said.get(row.serial)
        named = {"serial": row.serial, "model": row.model, "customer": row.customer}
        yield named | {"roster": row.support_until, "listed": listed, "says": _says(row.support_until, listed)}


def _says(roster: str | None, listed: str | None) -> str:
    if roster is None and listed is None:
        return "neither"
    if roster is None:
        return "only list"
    if listed is None:
        return "only roster"
    return "agree" if roster == listed else "differ"


def _document(
    folder: Path, named: SupportTerms, how: str, plan: DayPlan, notices: list[str], units: list[dict[str, Any]]
) -> dict[str, Any]:
    return {
        "folder": str(folder),
        "supplier": named.supplier,
        "source": named.file or named.url,
        "how": how,
        "as_of": plan.terms.as_of if plan.terms is not None else None,
        "notices": notices,
        "units": units,
    }


def _print(named: SupportTerms, how: str, plan: DayPlan, notices: list[str], units: list[dict[str, Any]]) -> None:
    as_of = f", of {plan.terms.as_of}" if plan.terms is not None else ""
    words = {"file": "read", How.UNCHANGED: "unchanged", How.COPY: "the last copy", How.NONE: "not to be had"}
    print(clean(f"Support terms by {named.supplier} ({named.file or named.url}): {words.get(how, how)}{as_of}"))
    for notice in notices:
        complain(notice)
    wide = max((len(u["serial"]) for u in units), default=0)
    model = max((len(u["model"]) for u in units), default=0)
    for u in units:
        days = f"roster {u['roster'] or '-':<10}  list {u['listed'] or '-':<10}"
        print(clean(f"  {u['serial']:<{wide}}  {u['model']:<{model}}  {days}  {u['says']}"))
    differ = sum(u["says"] == "differ" for u in units)
    print(f"{len(units)} units on the roster, {differ or 'none'} told differently")
