"""Writes benchday/docs/recovery.md from the table itself: python -m tests.house.recovery_page"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from benchday.bench.attempts import GIVE_UP
from benchday.bench.missing import GONE, HOLD, LET_GO, LIST_AGAIN, MISCOUNTED
from benchday.domain.happenings import MEANS, Happening, Stage
from benchday.domain.limits import Limits
from benchday.domain.recovery import (
    AS_IT_IS,
    ASIDE,
    CERTIFICATE,
    FORESEEN,
    HALF_WRITTEN,
    LEAVE_HELD,
    LOOK_AGAIN,
    MAY_BE_DARK,
    MOST_IN_VAIN,
    MOST_LOOKS,
    PUT_BACK,
    REFUSED,
    RESTORE,
    TABLE,
    Asked,
    Row,
)

_ITEMS = (ASIDE, HALF_WRITTEN, MAY_BE_DARK, CERTIFICATE, REFUSED, RESTORE)
PAGE = Path(__file__).parents[2] / "benchday" / "docs" / "recovery.md"
_HEAD = f"""\
# When something befalls a unit

Whatever can befall a unit while it is served, and what follows, stands in one table of the program. This page is
written from that table by `python -m tests.house.recovery_page`. Three rules hold throughout:

- By itself the program only looks and asks again. It never changes a unit by itself, and never writes twice.
- What ends a step is an entry of the unit's log (`trouble_met`), also where the next try went well.
- What may be half written stays powered, connected and on its station until a person has decided.

Caution: a unit whose write was cut short may not start, or behave in ways nobody has tested. Leave it powered and
connected. Do not let it leave for the field. Do not write it on your own, outside the program.

## A half-written unit, step by step

1. The item `{HALF_WRITTEN.topic}` comes first in the queue. Nothing happens until it is answered. Look at cable and
   power first; then choose: {", ".join(f"`{c}`" for c in HALF_WRITTEN.choices)}.
2. `{LOOK_AGAIN}` asks the unit who it is, and changes nothing. What answers settles what became of the write:

   | the unit runs | what follows |
   | --- | --- |
   | the new release | it is verified whole (release, settings, options, term, self-test), and not written again |
   | the release from before | nothing was written: checks, then the write is offered under a new permit |
   | another release | checks, then what it should get is offered under a new permit |
   | its boot loader alone | the image is offered again, under a new permit; the copies are in the archive |
   | (it is another unit) | it is held at once, and nothing more is asked of it |
   | (it says nothing) | the line is looked at and tried as often as `tries` of identify say; then it is held again |

3. The line of this model and release is stopped, so that no other unit meets the same. Somebody who may confirm lifts
   it, with the reason; only then is the write offered. What was confirmed for the write that was cut short counts no
   more: the serial is read off the label anew, and the act is a new one.
4. After {MOST_LOOKS} looks in vain, when it has been looked at {MOST_IN_VAIN} times since its act and fell silent or
   started again each time before it was verified, when a second whole image leaves only the boot loader, or when the
   boot loader refuses the image, the unit is held as `not recovered`. It can still be looked at again.
5. `{AS_IT_IS}` ends the attempts. The item `{GIVE_UP}` shows what the customer is told, and wants a reason from one
   who may confirm. The account is an entry (`attempts_ended`), and `benchday unit SERIAL` shows it. The unit is
   unplugged, and a named person takes it (`taken_as_it_is`). It stays held: no report counts it as served, and
   `benchday run` ends with status 3.
6. `{LEAVE_HELD}` sets it aside without deciding. `/lift SERIAL` brings it back; it is then identified anew as one that
   may be half written.

By hand it is the same: whoever has the unit in hand is asked what it shows, `boot` for its mode if that is all.

## Recordings that are gone

What was listed on a unit today, or counted on it by hand, must be on it, have a whole copy, or have been let go. Where
that does not hold nothing is written, and the item `{GONE}` tells names and sizes, or how many where only their number
is known. `{LIST_AGAIN}` after they were looked for and put back; `{LET_GO}` with the name of who of the owner's said
so; `{HOLD}` sets the unit aside. After a slip in counting: `{MISCOUNTED}`. Lifting the hold lets nothing go: it is
asked again.

## Settings that were lost

The verify names each setting with its value before and now. The unit stays connected, its line stops, and the item
`{RESTORE.topic}` offers `{PUT_BACK}`: the unit is identified and checked anew, and a confirmation of its own shows
every value that would be put back. Its permit has one act, for exactly these values. Afterwards all settings are
compared again. Options and the support term cannot be put back by the program; the hold names them.

## How long is waited

Every call to a unit ends in bounded real time, at any speed of the day; the hold says how long was waited, and for
what. The drivers' own limits are shorter. What a person does by hand has no limit.

| waiting for | at most |
| --- | --- |
"""


def page() -> str:
    """Return the whole page."""
    parts = [_HEAD + "\n".join(f"| {what} | {limit} |" for what, limit in _limits()) + "\n"]
    parts.append("## What is asked\n\nThe cautions shown with an item are acknowledged with its answer.\n")
    parts.append("| item | words | choices | cautions |\n| --- | --- | --- | --- |\n" + "".join(map(_asked, _ITEMS)))
    parts.append("## What can happen\n\n| happening | |\n| --- | --- |\n" + "".join(map(_means, Happening)))
    parts.append(
        "## What follows\n\nWhere a pair of stage and happening is not listed, it should not come up; if it does, the "
        "unit is held as `unexpected`, or as `interrupted` where it may be half written.\n"
    )
    parts += [_stage(stage) for stage in Stage]
    return "\n".join(parts)


def _limits() -> Iterator[tuple[str, str]]:
    limits = Limits()
    longest = f"or {limits.times_longest:g} times the playbook's longest, if that is more"
    yield "the line to open, or an answer to one question", f"{limits.reading_s:g} s"
    yield "the unit's own test", f"{limits.test_s:g} s, {longest}"
    yield "the unit to come back from its restart", f"{limits.restart_s:g} s, {longest}"
    yield "the next sign of life of a copy or a write", f"{limits.nothing_s:g} s, {longest}"
    yield "a copy or a write to its end", f"{limits.transfer_s / 3600:g} h, {longest}"


def _means(happening: Happening) -> str:
    return f"| {happening.value} | {MEANS[happening]} |\n"


def _stage(stage: Stage) -> str:
    rows: dict[Row, list[Happening]] = {}
    for happening in Happening:
        if (stage, happening) in FORESEEN:
            rows.setdefault(TABLE[stage, happening], []).append(happening)
    head = (
        "| what happens | by itself | code and words of the hold | item | stays connected | line stops | lifted when | "
        "the customer is told |\n| --- | --- | --- | --- | --- | --- | --- | --- |\n"
    )
    return f"### {stage.value}\n\n{head}" + "".join(_row(stage, row, found) for row, found in rows.items())


def _row(stage: Stage, row: Row, found: list[Happening]) -> str:
    words = (
        row.reason.replace("{stage}", stage.value)
        .replace("{said}", "...")
        .replace("{became}", "(how far the write came)")
    )
    code = f"`{row.code}`" if row.code else "the finding's name"
    cells = (
        ", ".join(h.value for h in found),
        row.own.value,
        f"{code}: {words}",
        f"`{row.asked.topic}`",
        "yes" if row.asked.connected else "no",
        "yes" if row.stops_line else "no",
        row.lifts or "the finding says",
        row.customer,
    )
    return "| " + " | ".join(cells) + " |\n"


def _asked(asked: Asked) -> str:
    choices = ", ".join(f"`{c}`" for c in asked.choices) or "done"
    cautions = f"those for {asked.moment.value}" if asked.moment else "none"
    return f"| `{asked.topic}` | {asked.words} | {choices} | {cautions} |\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8", newline="\n")
