"""Is a product, or a spreadsheet of batches, still doing what it always did?

Readings come from the daily log or from a file; charts, capability and sentences go out. A report is
made of the same answer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from analysis.control.charts import AUTO, KINDS, chart_batches, choose_kind
from analysis.control.entering import Series, check_specification
from analysis.control.results import BatchSeries, Capability, Chart, Phase, Specification
from analysis.control.rule_costs import RuleCost, cost_of
from analysis.control.rules import DEFAULT, RULES
from analysis.errors import TrialDataError
from analysis.results import LeftOut
from analysis.words.control import WIDTH, charts_text, say_false_alarms, say_rows_left_out
from tracker.errors import NotFound, UsageError
from tracker.intake.spreadsheet import nearest, read_spreadsheet
from tracker.workflow.chart_rows import responses_in, rows_of

if TYPE_CHECKING:
    from tracker.store import Store

COUNTS, SEVERAL, ALL = "counts", "several", "all"
OF = ("pieces", "places")
LEVELS = ("individuals", "batch mean", "share", "count", "rate")  # every point by itself, so rules cost alike
FILES = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm", ".xls", ".ods")


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


@dataclass(frozen=True, kw_only=True)
class Charted:
    """The charts of one response (or of several at once) and all that a report tells of them."""

    series: Series
    kind: str
    charts: tuple[Chart, ...]
    phases: tuple[Phase, ...] = ()
    specification: Specification | None = None
    capability: tuple[Capability, ...] = ()
    capability_words: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class ChartAnswer:
    """``title`` is the product or the file. ``rows`` are readings (of a file) or batches (of a product)."""

    title: str
    charted: tuple[Charted, ...]
    rules: tuple[str, ...]
    rows_read: int
    left_out: tuple[LeftOut, ...] = ()
    remarks: tuple[str, ...] = ()
    content_sha256: str = ""

    @property
    def cost(self) -> RuleCost | None:
        """False alarms of the rules together; None where charts with a memory have run lengths of their own."""
        ruled = any(chart.kind in LEVELS for one in self.charted for chart in one.charts[:1])
        return cost_of(self.rules) if ruled else None

    def summary(self) -> str:
        """What a terminal shows."""
        blocks = [charts_text(one.charts, beside=one.capability_words) for one in self.charted]
        if self.cost is not None:
            blocks[-1] += "\n" + "\n".join(wrap(say_false_alarms(self.cost), WIDTH))
        return "\n\n\n".join(blocks)

    def notes(self) -> tuple[str, ...]:
        """What is told beside the answer: rows left out with their reasons, remarks."""
        return (*say_rows_left_out(self.left_out), *self.remarks)

    def to_json(self) -> dict[str, Any]:
        from analysis.control.serialise import chart_json

        used = self.rows_read - len(self.left_out)
        return chart_json(
            [one.charts for one in self.charted],
            capability={one.charts[0].response: one.capability for one in self.charted if one.charts},
            source=self.title,
            rows={
                "read": self.rows_read,
                "used": used,
                "left_out": [{"row": out.row, "why": out.why, "response": out.response} for out in self.left_out],
            },
            rules=self.rules,
            cost=self.cost,
            specifications=[one.specification for one in self.charted if one.specification is not None],
            capability_words=[words for one in self.charted for words in one.capability_words],
            remarks=self.remarks,
        )


def rules_asked(names: Sequence[str]) -> tuple[str, ...]:
    """The rules by name (the usual two where none is named). Raises UsageError with the nearest name."""
    if not names:
        return DEFAULT
    if ALL in names:
        return tuple(RULES)
    return tuple(dict.fromkeys(_rule(name) for name in names))


def _rule(name: str) -> str:
    for rule in RULES:
        if rule.casefold() == name.strip().casefold():
            return rule
    raise UsageError(
        f'"{name}" is no rule; the rules are: {"; ".join(RULES)}.',
        where="--rule",
        try_this=f'--rule "{nearest(name, list(RULES)) or DEFAULT[0]}"',
    )


def is_file(name: str) -> bool:
    """Is a spreadsheet meant, and not a product?"""
    return Path(name).suffix.lower() in FILES or Path(name).is_file()


def chart_file(
    path: str | Path, *, responses: Sequence[str], chosen: Chosen | None = None, sheet: str | None = None
) -> ChartAnswer:
    """Chart a CSV or XLSX file, one row a reading. Raises the errors of intake, of use and of analysis."""
    chosen = chosen or Chosen()
    table = read_spreadsheet(path, sheet=sheet)
    if not responses:
        known = responses_in(table)
        raise UsageError(
            "Which column was measured is not said.",
            where="--response",
            try_this=f'--response "{known[0] if known else "NAME"}"',
        )
    _spec_of_one(chosen, responses)
    rows = [rows_of(table, name, yes_no=chosen.kind == COUNTS, size=chosen.size) for name in responses]
    counts = chosen.kind == COUNTS or chosen.size is not None
    series: list[BatchSeries | Any] = [one.counted(chosen.of) if counts else one.measured() for one in rows]
    charted = _charted(series, chosen, {}, {one.response: one.unit for one in rows})
    return ChartAnswer(
        title=table.source,
        charted=charted,
        rules=chosen.rules,
        rows_read=max(one.read for one in rows),
        left_out=tuple(out for one in rows for out in one.left_out),
        remarks=tuple(table.notes),
        content_sha256=table.sha256,
    )


def chart_product(store: Store, product: str, *, responses: Sequence[str], chosen: Chosen | None = None) -> ChartAnswer:
    """Chart the daily log of a product. Raises NotFound with the nearest name, and the errors of analysis."""
    from tracker.workflow.batches import list_batches

    chosen = chosen or Chosen()
    lines = list_batches(store, product)
    known = list(dict.fromkeys(name for line in lines for name in line.values))
    names = [_known(name, known, product) for name in responses] or known[:1]
    _spec_of_one(chosen, names)
    left_out = [
        LeftOut(row=line.number, why=f"no reading of {name}", response=name)
        for name in names
        for line in lines
        if not line.values.get(name)
    ]
    series = [_of_log(lines, name) for name in names]
    charted = _charted(series, chosen, {}, {})
    return ChartAnswer(
        title=product, charted=charted, rules=chosen.rules, rows_read=len(lines), left_out=tuple(left_out)
    )


def _of_log(lines: Sequence[Any], name: str) -> BatchSeries:
    kept = [line for line in lines if line.values.get(name)]
    return BatchSeries(
        response=name,
        batches=tuple(line.number for line in kept),
        values=tuple(line.values[name] for line in kept),
        at=tuple(line.baked_at for line in kept),
    )


def _known(name: str, known: Sequence[str], product: str) -> str:
    for each in known:
        if each.casefold() == name.strip().casefold():
            return each
    raise NotFound(
        f'No batch of "{product}" has a reading of "{name}".',
        where=f'product "{product}"',
        try_this=f'--response "{nearest(name, list(known)) or known[0]}"' if known else "log a batch with its readings",
    )


def _charted(
    series: Sequence[Any], chosen: Chosen, phases: Mapping[str, tuple[Phase, ...]], units: Mapping[str, str]
) -> tuple[Charted, ...]:
    if chosen.kind == SEVERAL:
        together = common_batches(series)
        return (Charted(series=together, kind=SEVERAL, charts=_charts(together, chosen, ())),)
    return tuple(_one(each, chosen, phases.get(each.response, ()), units.get(each.response, "")) for each in series)


def _one(series: Any, chosen: Chosen, phases: tuple[Phase, ...], unit: str) -> Charted:
    specification = specified(series.response, unit, chosen)
    charts = _charts(series, chosen, phases)
    return Charted(
        series=series,
        kind=choose_kind(series, chosen.kind),
        charts=charts,
        phases=phases,
        specification=specification,
    )


def _charts(series: Series, chosen: Chosen, phases: tuple[Phase, ...]) -> tuple[Chart, ...]:
    if chosen.kind != AUTO and chosen.kind not in KINDS:
        near = nearest(chosen.kind, [AUTO, *KINDS])
        raise UsageError(
            f'"{chosen.kind}" is no kind of chart.',
            where="--kind",
            try_this=f"--kind {near or AUTO} (of {', '.join([AUTO, *KINDS])})",
        )
    return chart_batches(series, kind=chosen.kind, rules=chosen.rules, phases=phases, **chosen.settings)


def common_batches(series: Sequence[BatchSeries]) -> tuple[BatchSeries, ...]:
    """The same responses over the batches that have a reading of each."""
    shared = set(series[0].batches).intersection(*(one.batches for one in series[1:]))
    return tuple(_only(one, shared) for one in series)


def _only(series: BatchSeries, batches: set[str]) -> BatchSeries:
    kept = [at for at, batch in enumerate(series.batches) if batch in batches]
    return BatchSeries(
        response=series.response,
        unit=series.unit,
        batches=tuple(series.batches[at] for at in kept),
        values=tuple(series.values[at] for at in kept),
        at=tuple(series.at[at] for at in kept) if series.at else (),
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


def _spec_of_one(chosen: Chosen, responses: Sequence[str]) -> None:
    typed = (chosen.lower, chosen.upper, chosen.target) != (None, None, None)
    if typed and len(responses) > 1:
        raise UsageError(
            "A specification belongs to one response, and several were named.",
            where="--response",
            try_this=f'--response "{responses[0]}" alone',
        )
