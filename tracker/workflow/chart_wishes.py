"""What was asked of a chart on the command line, and can it be asked for?

Kinds, rules, settings and specifications are read here; a wish that no chart can meet was written
wrongly, and the message names the nearest that one can.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from analysis.control.charts import AUTO, KINDS, SETTINGS
from analysis.control.entering import check_specification
from analysis.control.results import Specification
from analysis.control.rule_costs import cost_of
from analysis.control.rules import DEFAULT, RULES
from analysis.errors import TrialDataError
from analysis.words.control import say_rule, say_rule_cost
from tracker.errors import UsageError
from tracker.intake.numbers import plain_number
from tracker.intake.spreadsheet import nearest
from tracker.workflow.chart_rows import Rows

ALL = "all"
BATCHES = ("first", "last", "without")  # settings that name batches, which may look like numbers
OF = ("pieces", "places")


@dataclass(frozen=True, kw_only=True)
class Chosen:
    """How to chart, as asked: ``kind`` of charts.KINDS or "auto", the rules, the specification, what a kind needs.

    ``size`` names the column out of how many each count was, ``of`` whether these are "pieces" or "places".
    """

    kind: str = AUTO
    rules: tuple[str, ...] = DEFAULT
    lower: float | None = None
    upper: float | None = None
    target: float | None = None
    size: str | None = None
    of: str = "pieces"
    settings: Mapping[str, object] = field(default_factory=dict)


def kind_asked(kind: str) -> str:
    """The kind of chart, if there is one of that name. Raises UsageError with the nearest name."""
    known = [AUTO, *KINDS]
    if kind not in known:
        raise UsageError(
            f'"{kind}" is no kind of chart.',
            where="--kind",
            try_this=f"--kind {nearest(kind, known) or AUTO} (of {', '.join(known)})",
        )
    return kind


def settings_asked(texts: Sequence[str], kind: str) -> dict[str, object]:
    """ "weight=0.2" as a setting of the kind of chart. Raises UsageError for one that it does not have."""
    known = sorted(SETTINGS["between" if kind == AUTO else kind])
    found: dict[str, object] = {}
    for text in texts:
        name, _, value = (part.strip() for part in text.partition("="))
        if name not in known or not value:
            raise UsageError(
                f'"{text}" is no setting of a chart of kind "{kind}".',
                where="--setting",
                try_this=f"--setting {nearest(name, known) or known[0]}=… (of {', '.join(known)})",
            )
        number = value if name in BATCHES else plain_number(value)
        found[name] = number if isinstance(number, float) else {"yes": True, "no": False}.get(value, value)
    return found


def rules_asked(names: Sequence[str]) -> tuple[str, ...]:
    """The rules by name (the usual two where none is named). Raises UsageError with the nearest name."""
    if not names:
        return DEFAULT
    if ALL in names:
        return tuple(RULES)
    return tuple(dict.fromkeys(_rule(name) for name in names))


@dataclass(frozen=True, kw_only=True)
class RuleLine:
    """A rule with what it looks for and costs: mean batches to a false alarm, by itself and beside the usual two."""

    rule: str
    words: str
    usual: bool
    alone: float
    beside: float
    cost: str

    def to_json(self) -> dict[str, Any]:
        return asdict(self)


def list_rules() -> tuple[RuleLine, ...]:
    """Every rule that can be asked for, with its cost where nothing changes and limits are known."""
    lines = []
    for rule in RULES.values():
        alone, beside = cost_of((rule.key,)), cost_of((*DEFAULT, rule.key))
        lines.append(
            RuleLine(
                rule=rule.key,
                words=say_rule(rule.key),
                usual=rule.default,
                alone=alone.run_length,
                beside=beside.run_length,
                cost=say_rule_cost(alone, beside, usual=rule.default),
            )
        )
    return tuple(lines)


def _rule(name: str) -> str:
    for rule in RULES:
        if rule.casefold() == name.strip().casefold():
            return rule
    raise UsageError(
        f'"{name}" is no rule; the rules are: {"; ".join(RULES)}.',
        where="--rule",
        try_this=f'--rule "{nearest(name, list(RULES)) or DEFAULT[0]}"',
    )


def specified(response: str, unit: str, chosen: Chosen) -> Specification | None:
    """The specification that was typed, or None. Raises UsageError when it makes no sense."""
    if chosen.lower is None and chosen.upper is None and chosen.target is None:
        return None
    typed = Specification(response=response, unit=unit, lower=chosen.lower, upper=chosen.upper, target=chosen.target)
    try:
        check_specification(typed)
    except TrialDataError as wrong:
        raise UsageError(wrong.what, where="--lower-spec, --upper-spec, --target", try_this=wrong.try_this) from wrong
    return typed


def spec_of_one(chosen: Chosen, responses: Sequence[str]) -> None:
    typed = (chosen.lower, chosen.upper, chosen.target) != (None, None, None)
    if typed and len(responses) > 1:
        raise UsageError(
            "A specification belongs to one response, and several were named.",
            where="--response",
            try_this=f'--response "{responses[0]}" alone',
        )


def refuse_counts_without_size(rows: Sequence[Rows], chosen: Chosen) -> None:
    """A count says how many of how many; without a size each row is one piece. Raises UsageError for more than one."""
    if chosen.size is not None or chosen.of != "pieces":
        return
    for one in rows:
        many = next((value for values in one.values for value in values if value not in (0.0, 1.0)), None)
        if many is not None:
            raise UsageError(
                f"{one.response} holds {many:g}, but out of how many pieces is not said.",
                where="--size",
                try_this='--size "pieces" (the column that says so), or --of places when one piece may have several',
            )
