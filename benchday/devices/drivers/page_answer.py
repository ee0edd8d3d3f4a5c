"""An answer of a declared page, and the values picked out of it. What it says is never trusted, only read."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from typing import Any

from selectolax.lexbor import LexborHTMLParser, LexborNode

from benchday.devices.drivers.web_session import Reply
from benchday.domain.errors import Garbled
from benchday.domain.json_path import found_in
from benchday.domain.page_picks import Dimension, Pick

MOST_ITEMS = 1000
"""Recordings, settings or options of one unit; more is taken for nonsense."""
MOST_TEXT = 10_000
"""Characters of one value."""
MOST_ELEMENTS = 12_000
"""Of an HTML answer. Measured: 200,000 elements inside one another take the parser minutes, this many a second."""
_SHOWN = 80
_START = re.compile(rb"<[A-Za-z]")


class Answer:
    """One answer, or one item of a list in it."""

    def __init__(self, body: bytes = b"", *, value: Any = None, node: LexborNode | None = None) -> None:
        self._body, self._value, self._node = body, value, node
        self._html: LexborHTMLParser | None = None

    @classmethod
    def of(cls, reply: Reply) -> Answer:
        """Return the answer that a reply is."""
        return cls(reply.body)

    def items(self, pick: Pick) -> list[Answer]:
        """Return the parts that a pick finds.

        Raises:
            Garbled: there are too many.
        """
        if pick.in_html is not None:
            found = [Answer(node=node) for node in self._elements(pick.in_html)]
        else:
            found = [Answer(value=value) for value in self._values(pick)]
        if len(found) > MOST_ITEMS:
            raise Garbled(f"the unit's page lists {len(found)} items; at most {MOST_ITEMS} are believed")
        return found

    def object(self, pick: Pick) -> Mapping[str, str]:
        """Return the texts of a JSON object.

        Raises:
            Garbled: it is none.
        """
        found = self._values(pick)
        if not found or not isinstance(found[0], dict) or len(found[0]) > MOST_ITEMS:
            raise Garbled(f"the unit's page has no list of names and values at {pick.in_json}")
        return {name: _bounded(_as_text(value) or "") for name, value in found[0].items()}

    def texts(self, pick: Pick) -> list[str]:
        """Return everything that a pick finds, as text."""
        return [text for one in self.items(pick) if (text := one._own_text(pick)) is not None]

    def text(self, pick: Pick, name: str) -> str:
        """Return the value of a pick.

        Raises:
            Garbled: it is not there, or not one of the choices.
        """
        found = self.maybe(pick, name)
        if found is None:
            raise Garbled(f"the unit's page does not tell {name} where the playbook says")
        return found

    def maybe(self, pick: Pick | None, name: str) -> str | None:
        """Return the value of a pick; None if it is not there.

        Raises:
            Garbled: it is not one of the choices.
        """
        raw = self.raw(pick)
        if pick is None or raw is None or (pick.optional and not raw):
            return None
        meant = pick.meant(raw)
        if meant is None:
            raise Garbled(f"the unit's page says {raw[:_SHOWN]!r} for {name}, which the playbook does not explain")
        return meant

    def whole(self, pick: Pick | None, name: str, dimension: Dimension) -> int | None:
        """Return the number of a pick in our unit; None if it is not there.

        Raises:
            Garbled: it is no number.
        """
        found = self.maybe(pick, name)
        if pick is None or found is None:
            return None
        number = pick.whole(found, dimension)
        if number is None:
            raise Garbled(f"the unit's page says {found[:_SHOWN]!r} for {name}, which is no number")
        return number

    def raw(self, pick: Pick | None) -> str | None:
        """Return what a pick finds first, as the page says it; None if it is not there."""
        if pick is None:
            return None
        if pick.fixed is not None:
            return pick.fixed
        if pick.in_html is not None:
            nodes = self._elements(pick.in_html)
            return Answer(node=nodes[0])._own_text(pick) if nodes else None
        if pick.in_json is not None:
            values = self._values(pick)
            return Answer(value=values[0])._own_text(pick) if values else None
        return self._own_text(pick)

    def _own_text(self, pick: Pick) -> str | None:
        """Return the text of this part, cut as the pick says."""
        if self._node is not None:
            told = self._node.attributes.get(pick.attribute, None) if pick.attribute else self._node.text(deep=True)
        elif self._value is not None:
            told = _as_text(self._value)
        else:
            told = self._body.decode("utf-8", "replace")
        cut = pick.cut(told) if told is not None else None
        return _bounded(cut.strip()) if cut is not None else None

    def _values(self, pick: Pick) -> list[Any]:
        if pick.in_json is None:
            return []
        if self._value is None and self._node is None:
            try:
                self._value = json.loads(self._body)
            except (ValueError, RecursionError) as error:
                raise Garbled(f"the unit's answer is no JSON: {self._body[:_SHOWN]!r}") from error
        return [value for value in found_in(self._value, pick.in_json) if value is not None]

    def _elements(self, selector: str) -> list[LexborNode]:
        if self._node is not None:
            return self._node.css(selector)
        if self._html is None:
            if len(_START.findall(self._body)) > MOST_ELEMENTS:
                raise Garbled(f"the unit's page has more than {MOST_ELEMENTS} elements, which is not believed")
            self._html = LexborHTMLParser(self._body)
        return self._html.css(selector)


def _as_text(value: Any) -> str | None:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (str, int, float)):
        return str(value)
    return None


def _bounded(text: str) -> str:
    if len(text) > MOST_TEXT:
        raise Garbled(f"a value on the unit's page has {len(text)} characters; at most {MOST_TEXT} are believed")
    return text
