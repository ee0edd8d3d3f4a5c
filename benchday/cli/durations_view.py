"""Learnt durations and how often predictions held, as parts of a document and as lines."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from typing import Any

from benchday.cli.output import wrapped
from benchday.domain.clean import clean
from benchday.domain.words import microseconds
from benchday.planning.calibration import SHARES, Calibration, Coverage
from benchday.planning.learnt_steps import LearntStep
from benchday.planning.wording import MINUTE_US, counted, in_bytes

BAR = 40
"""Columns of the bar from nothing to all."""


def step_part(step: LearntStep) -> dict[str, Any]:
    """Return a step as it stands in the document."""
    names = "model", "playbook", "records", "median_us", "p50_us", "p80_us", "p95_us", "again", "retry_permille"
    return {
        **{name: getattr(step, name) for name in names},
        "step": step.step.value,
        **{f"{name}_us": microseconds(getattr(step.points, name)) for name in ("shortest", "usual", "longest")},
        "usual_bytes": step.usual_bytes,
        "per_gigabyte_us": step.per_gigabyte_us,
        "disagrees_permille": None if step.disagrees is None else round(1000 * step.disagrees),
    }


def coverage_part(coverage: Coverage, model: str | None = None, step: str | None = None) -> dict[str, Any]:
    """Return predictions as they stand in the document."""
    shares = [
        {
            "stated_permille": round(1000 * share),
            "held": coverage.held[number],
            "observed_permille": _permille(coverage.observed(share)),
            "error_permille": _permille(coverage.error(share)),
        }
        for number, share in enumerate(SHARES)
    ]
    return {"model": model, "step": step, "predictions": coverage.predictions, "shares": shares}


def _permille(value: float | None) -> int | None:
    return None if value is None else round(1000 * value)


def step_lines(steps: Iterable[LearntStep]) -> Iterator[str]:
    """Yield a table for each model, in minutes, and a sentence for each step that disagrees with its playbook."""
    for (model, playbook), group in groupby(steps, key=lambda s: (s.model, s.playbook)):
        yield f"\n{clean(model)} (playbook {playbook}), minutes"
        rows = list(group)
        yield _row("  step", "playbook", "records", "median", "P50", "P80", "P95", "again")
        for s in rows:
            points = "/".join(_number(float(p)) for p in (s.points.shortest, s.points.usual, s.points.longest))
            figures = (_minutes(us) for us in (s.median_us, s.p50_us, s.p80_us, s.p95_us))
            again = "-" if s.retry_permille is None else f"{s.retry_permille / 10:.1f} %"
            mark = "  !" if s.disagrees is not None else ""
            yield _row(f"  {s.step.value}", points, str(s.records), *figures, again) + mark
        for s in rows:
            yield from _notes(s)


def _row(step: str, points: str, *cells: str) -> str:
    return f"{step:<12} {points:>12} " + " ".join(f"{cell:>7}" for cell in cells)


def _notes(step: LearntStep) -> Iterator[str]:
    if step.usual_bytes is not None:
        told = f"{step.step.value}: for {in_bytes(step.usual_bytes)}, the usual size here"
        yield wrapped(f"{told}{_each(step.per_gigabyte_us, step.usual_bytes)}", indent="      ", first="    ")
    if step.disagrees is not None:
        times = step.disagrees
        far = f"at least {times:.1f} times" if times > 1 else f"at most {100 * times:.0f} % of"
        text = f"! {step.step.value}: half of the records take {far} the playbook's usual"
        yield wrapped(f"{text}; change its minutes, or find out why", indent="      ", first="    ")


def _each(per_gigabyte_us: int | None, usual_bytes: int) -> str:
    """Word a rate by a unit of about the size that is usual."""
    if per_gigabyte_us is None:
        return "; the records say that the size matters little"
    unit, size = next(((u, s) for u, s in (("GB", 10**9), ("MB", 10**6)) if usual_bytes * 10 >= s), ("kB", 1000))
    return f"; {_number(per_gigabyte_us * size / 10**9 / MINUTE_US)} minutes for each {unit}"


def _minutes(us: int | None) -> str:
    return "-" if us is None else _number(us / MINUTE_US)


def _number(minutes: float) -> str:
    """Word minutes: two decimals below one, one below a hundred, no needless zeros."""
    text = f"{minutes:.2f}" if minutes < 1 else f"{minutes:.1f}" if minutes < 100 else f"{minutes:.0f}"
    return text.rstrip("0").rstrip(".") or "0" if "." in text else text


def coverage_lines(calibration: Calibration) -> Iterator[str]:
    """Yield how often stated shares held, as bars and as a table."""
    overall = calibration.overall
    if not overall.predictions:
        yield "\nNothing was predicted yet: no step has been done on a day that teaches."
        return
    steps = counted(overall.predictions, "step")
    yield f"\nHow often what was stated held: {steps}, predicted at the beginning of the day"
    yield "  stated   held"
    for share in SHARES:
        yield _bar(share, overall.observed(share) or 0.0, overall.error(share) or 0.0)
    yield "  | is what was stated; held counts as right within two standard errors (+-)"
    yield f"\n  {'model and step':<34} {'steps':>6} {'80 % held':>10} {'95 % held':>10}"
    for (model, step), coverage in calibration.by_step.items():
        held = (f"{100 * (coverage.observed(share) or 0.0):.0f} %" for share in (0.8, 0.95))
        yield f"  {clean(model)[:22] + ' ' + step.value:<34} {coverage.predictions:>6} " + " ".join(
            f"{cell:>10}" for cell in held
        )


def _bar(stated: float, held: float, error: float) -> str:
    columns: Sequence[str] = ["#" if n < round(held * BAR) else "." for n in range(BAR)]
    at = min(round(stated * BAR), BAR - 1)
    drawn = "".join("|" if n == at else c for n, c in enumerate(columns))
    return f"  {100 * stated:>4.0f} %  {100 * held:>4.0f} %  {drawn}  +-{100 * error:.1f}"


def document_parts(steps: Iterable[LearntStep], calibration: Calibration) -> dict[str, Any]:
    """Return steps and coverage as they stand in the document."""
    return {
        "steps": [step_part(s) for s in steps],
        "overall": coverage_part(calibration.overall),
        "coverage": [coverage_part(c, model, step.value) for (model, step), c in calibration.by_step.items()],
    }
