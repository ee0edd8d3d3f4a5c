"""Recordings that were on a unit today and are on it no more: looked for, let go by their owner, or it is held."""

from __future__ import annotations

from collections.abc import Sequence

from benchday.bench.holds import Met
from benchday.bench.serving import Serving
from benchday.domain.checks import Finding
from benchday.domain.happenings import Happening
from benchday.domain.items import Answered, ItemKind, Wanted, WantedKind
from benchday.domain.kinds import RecordingsLetGo, RecordingsListed
from benchday.domain.readings import Recording
from benchday.domain.units import Ability

GONE = "recordings gone"
"""Topic of the item."""
LIST_AGAIN, MISCOUNTED, LET_GO, HOLD = "list again", "miscounted", "let go", "hold"


async def look_for_them(at: Serving, gone: Sequence[Recording], finding: Finding) -> bool:
    """Have it decided what becomes of a unit whose recordings are gone; tell whether they are to be listed again.

    Raises:
        Met: it is held.
    """
    answered = await _asked(at, finding, counted=at.story.unlisted > 0)
    match answered.text("answer"):
        case "hold":
            raise Met(Happening.VANISHED, finding.text, code=finding.check.value, lifts=finding.clears)
        case "let go" if answered.text("owner"):
            facts = RecordingsLetGo(
                recordings=[{"name": r.name, "bytes": r.bytes, "sha256": r.sha256} for r in gone],
                unlisted=at.story.unlisted,
                owner_ref=answered.text("owner"),
                how=answered.text("how"),
            )
            await at.record(at.draft(facts, operator=answered.operator))
            return False
        case "miscounted":
            # Only a number is taken back so, never a recording that was listed by its name.
            corrected = RecordingsListed(recordings=list(at.story.recordings), unlisted=0)
            await at.record(at.draft(corrected, operator=answered.operator))
    return True


async def _asked(at: Serving, finding: Finding, *, counted: bool) -> Answered:
    choices = (LIST_AGAIN, *((MISCOUNTED,) if counted else ()), LET_GO, HOLD)
    said = f"{finding.text[:1].upper()}{finding.text[1:]}."
    miscounted = f" If it was a slip in counting, and nothing is missing: {MISCOUNTED}." if counted else ""
    return await at.ask(
        ItemKind.DECIDE,
        GONE,
        f"Unit {at.unit} on station {at.station}: {said} Nothing has been written. Look on its memory cards, on the "
        f"computers it was connected to, and ask who brought it. What is found goes back onto it, then: {LIST_AGAIN}."
        f"{miscounted} Only their owner ({at.story.customer}) can let them go.",
        Wanted("answer", ", ".join(choices), WantedKind.CHOICE, choices),
        Wanted("owner", "who of the owner's let them go", required=False, personal=True),
        Wanted("how", "how they said it: in person, by telephone, in writing", required=False),
        ability=Ability.PRESERVE,
    )
