"""What is said of a batch as soon as it is logged or mended?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from sqlmodel import Session

from analysis.words.batch_log import (
    can_tell,
    say_against_limits,
    say_against_specification,
    say_not_judged,
)
from analysis.words.numbers import join_words
from tracker.current_batches import CurrentBatch
from tracker.models import LoggedResponse, Product
from tracker.workflow.acceptance import RuleSaid
from tracker.workflow.batch_notices import in_command
from tracker.workflow.batch_series import specification_of
from tracker.workflow.judged import Judged
from tracker.workflow.recorded_alarms import Changes, standing_alarms


@dataclass(frozen=True, kw_only=True)
class ResponseVerdict:
    """Two sentences that are kept apart: of the limits, and of the specification ("" without one).

    ``alarms`` are the numbers of those that stand for this batch.
    """

    response: str
    unit: str
    values: tuple[float, ...]
    limits_words: str
    specification_words: str = ""
    as_expected: bool | None = None
    meets: bool | None = None
    provisional: bool | None = None
    phase: int | None = None
    limits: tuple[float | None, float | None] = (None, None)
    rules: tuple[str, ...] = ()
    alarms: tuple[int, ...] = ()

    def to_json(self) -> dict[str, Any]:
        return {
            "response": self.response,
            "unit": self.unit,
            "values": list(self.values),
            "as_expected": self.as_expected,
            "limits": {
                "lower": self.limits[0],
                "upper": self.limits[1],
                "provisional": self.provisional,
                "phase": self.phase,
                "words": self.limits_words,
            },
            "specification": {"meets": self.meets, "words": self.specification_words or None},
            "rules": list(self.rules),
            "alarms": list(self.alarms),
        }


@dataclass(frozen=True, kw_only=True)
class BatchVerdict:
    """A batch and what is said of it. ``done`` is what was done with it; ``notices`` need a look."""

    product: str
    batch: str
    baked_at: str
    done: str
    verdicts: tuple[ResponseVerdict, ...]
    notices: tuple[str, ...] = ()
    changes: Changes = field(default_factory=Changes)
    rules: tuple[RuleSaid, ...] = ()
    void: bool = False

    def summary(self) -> str:
        lines = [self.done]
        for verdict in self.verdicts:
            lines += [f"  {words}" for words in (verdict.limits_words, verdict.specification_words) if words]
        lines += [f"  {each.words}" for each in self.rules]
        if not self.verdicts and not self.void:
            lines.append(
                "  Nothing was read of it yet. When something is: "
                f'crumbwise batch log "{self.product}" {in_command(self.batch)} --more --reading "rise height=43.1"'
            )
        alarms = sorted({number for verdict in self.verdicts for number in verdict.alarms})
        if alarms:
            many = f"Alarms {join_words([str(number) for number in alarms])} stand"
            one = f"Alarm {alarms[0]} stands"
            lines.append(
                f"  {many if len(alarms) > 1 else one} in the log. When the cause is known: "
                f'crumbwise batch answer "{self.product}" {alarms[0]} --cause "…" --action "…"'
            )
        if self.changes.withdrawn:
            shown = join_words([str(number) for number in self.changes.withdrawn])
            gone = "Alarms {} are" if len(self.changes.withdrawn) > 1 else "Alarm {} is"
            lines.append(
                f"  {gone.format(shown)} withdrawn: the limits and batches as they stand now raise none there."
            )
        return "\n".join(lines)

    def to_json(self) -> dict[str, Any]:
        return {
            "product": self.product,
            "batch": self.batch,
            "baked_at": self.baked_at,
            "done": self.done,
            "verdicts": [verdict.to_json() for verdict in self.verdicts],
            "acceptance": [each.to_json() for each in self.rules],
            "alarms_raised": list(self.changes.raised),
            "alarms_withdrawn": list(self.changes.withdrawn),
            "notices": list(self.notices),
        }


def verdicts_of(
    session: Session,
    product: Product,
    batch: CurrentBatch,
    judged: Iterable[Judged],
    responses: Mapping[str, LoggedResponse],
) -> tuple[ResponseVerdict, ...]:
    """The sentences about a batch, response by response."""
    return tuple(_verdict(session, product, batch, each, responses[each.response]) for each in judged)


def _verdict(
    session: Session, product: Product, batch: CurrentBatch, judged: Judged, response: LoggedResponse
) -> ResponseVerdict:
    agreed = specification_of(session, product, response)
    values = judged.values
    measured = response.scale == "measured"
    said, meets = "", None
    if agreed is not None and measured:
        said = say_against_specification(agreed, values, response.unit)
        bounds = (agreed.lower, agreed.upper)
        meets = None if bounds == (None, None) else all(_inside(value, *bounds) for value in values)
    level = judged.verdict.level if judged.verdict else None
    return ResponseVerdict(
        response=judged.response,
        unit=judged.unit,
        values=values,
        limits_words=_words(batch, judged, measured=measured),
        specification_words=said,
        as_expected=judged.verdict.as_expected if judged.verdict and can_tell(judged.verdict) else None,
        meets=meets,
        provisional=judged.verdict.provisional if judged.verdict else None,
        phase=judged.held.phase.number if judged.held and judged.held.phase else None,
        limits=(level.lower, level.upper) if level else (None, None),
        rules=tuple(alarm.rule for _, alarm in judged.verdict.alarms) if judged.verdict else (),
        alarms=tuple(row.number for row in standing_alarms(session, [batch.id], judged.response)),
    )


def _words(batch: CurrentBatch, judged: Judged, *, measured: bool) -> str:
    sizes = [each.size or 1.0 for each in batch.readings if each.response == judged.response]
    out_of = None if measured else sum(sizes)
    if judged.verdict is None or judged.held is None:
        return say_not_judged(judged.response, judged.unit, judged.values, judged.why_not, out_of=out_of)
    held = judged.held
    return say_against_limits(
        judged.response,
        judged.unit,
        judged.values,
        judged.verdict,
        held.limits,
        phase=held.phase.number if held.phase else None,
        expected_from=held.expected_from,
        out_of=out_of,
    )


def _inside(value: float, lower: float | None, upper: float | None) -> bool:
    return (lower is None or value >= lower) and (upper is None or value <= upper)
