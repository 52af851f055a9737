"""Is a product, or a spreadsheet of batches, still doing what it always did?

Readings come from the daily log or from a file; charts, capability and sentences go out. A report is
made of the same answer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from textwrap import wrap
from typing import TYPE_CHECKING, Any

from analysis.control.charts import AUTO, chart_batches, choose_kind, kind_of_limits
from analysis.control.entering import Series
from analysis.control.results import BatchSeries, Capability, Chart, CountSeries, Phase, Specification
from analysis.control.rule_costs import RuleCost, cost_of
from analysis.control.stability import stability_of
from analysis.control.variables import METHODS
from analysis.errors import NotPossible
from analysis.results import LeftOut
from analysis.words.control import WIDTH, charts_text, say_false_alarms, say_other_phases, say_rows_left_out
from tracker.errors import NotFound, UsageError
from tracker.intake.spreadsheet import read_spreadsheet
from tracker.workflow.chart_rows import responses_in, rows_of
from tracker.workflow.chart_wishes import Chosen, refuse_counts_without_size, spec_of_one, specified

if TYPE_CHECKING:
    from analysis.control.capability import CapabilityAnswer
    from tracker.store import Store

COUNTS, SEVERAL, SUMS = "counts", "several", "sums"
LEVELS = ("individuals", "batch mean")  # every point by itself and of one shape, so rules cost alike
# Limits of these kinds rest on more than a level and a spread; frozen without it they would be mixed with new ones.
OF_OWN: dict[str, frozenset[str]] = {
    "dependent": frozenset({"residual", "wide"}),
    "skewed": frozenset({"power", "edge"}),
}
FILES = (".csv", ".tsv", ".txt", ".xlsx", ".xlsm", ".xls", ".ods")


@dataclass(frozen=True, kw_only=True)
class Charted:
    """The charts of one response (or of several at once) and all that a report tells of them."""

    series: Series
    kind: str
    charts: tuple[Chart, ...]
    phases: tuple[Phase, ...] = ()
    specification: Specification | None = None
    capable: CapabilityAnswer | None = None
    capability_words: tuple[str, ...] = ()

    @property
    def capability(self) -> tuple[Capability, ...]:
        return () if self.capable is None else self.capable.indices

    @property
    def short(self) -> bool:
        """Surely does not keep its specification."""
        from analysis.control.capability import SHORT

        return self.capable is not None and self.capable.index.verdict == SHORT


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
        blocks = [charts_text(one.charts, beside=one.capability_words, short=one.short) for one in self.charted]
        if self.cost is not None:
            blocks[-1] += "\n" + "\n".join(wrap(say_false_alarms(self.cost), WIDTH))
        return "\n\n\n".join(blocks) + self._next()

    def _next(self) -> str:
        """The command that looks for what changed, where something did."""
        for one in self.charted:
            if isinstance(one.series, BatchSeries) and stability_of(one.charts).stable is False:
                return f'\nNext: crumbwise batch why "{self.title}" --response "{one.series.response}"'
        return ""

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
            short=[one.charts[0].response for one in self.charted if one.short],
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
    spec_of_one(chosen, responses)
    rows = [rows_of(table, name, yes_no=chosen.kind == COUNTS, size=chosen.size) for name in responses]
    counts = chosen.kind == COUNTS or chosen.size is not None
    if counts:
        refuse_counts_without_size(rows, chosen)
    series: list[Series] = [one.counted(chosen.of) if counts else one.measured() for one in rows]
    charted = _charted(series, chosen, {}, {})
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
    """Chart the daily log of a product (its first response where none is named), frozen phases included.

    Raises NotFound with the nearest name, Conflict without a reading, and the errors of analysis.
    """
    from tracker.workflow.batch_series import product_series, response_names
    from tracker.workflow.batches import list_batches

    chosen = chosen or Chosen()
    names = list(responses) or list(response_names(store, product)[:1])
    if not names:
        raise NotFound(
            f'"{product}" has no response to chart yet.',
            where=f'product "{product}"',
            try_this=f'crumbwise batch log "{product}" NUMBER --reading "rise height=43.1"',
        )
    spec_of_one(chosen, names)
    found = [product_series(store, product, name) for name in names]
    series, remarks = [one for one, _, _ in found], []
    phases: dict[str, tuple[Phase, ...]] = {}
    for one, frozen, _ in found:
        phases[one.response], said = phases_that_fit(frozen, chosen.kind, one.response)
        remarks += said
    lines = list_batches(store, product)
    charted = _charted(series, chosen, phases, {one.response: meets for one, _, meets in found})
    return ChartAnswer(
        title=product,
        charted=charted,
        rules=chosen.rules,
        rows_read=len(lines),
        left_out=tuple(
            LeftOut(row=line.number, why=f"no reading of {one.response}", response=one.response)
            for one in series
            for line in lines
            if line.number not in set(one.batches)
        ),
        remarks=tuple(remarks),
    )


def phases_that_fit(phases: tuple[Phase, ...], kind: str, response: str) -> tuple[tuple[Phase, ...], list[str]]:
    """The phases whose limits were frozen for this kind of chart, and what is to be said of the others."""
    if kind in OF_OWN:
        fit = tuple(phase for phase in phases if OF_OWN[kind] & set(phase.limits.numbers))
    elif kind not in METHODS:  # charts with a memory take the level and spread of any
        return phases, []
    else:
        fit = tuple(phase for phase in phases if kind_of_limits(phase.limits) in (kind, None))
    other = len(phases) - len(fit)
    return fit, [say_other_phases(response, other)] if other else []


def _charted(
    series: Sequence[Series],
    chosen: Chosen,
    phases: Mapping[str, tuple[Phase, ...]],
    meets: Mapping[str, Specification | None],
) -> tuple[Charted, ...]:
    if chosen.kind == SEVERAL:
        together = common_batches([one for one in series if isinstance(one, BatchSeries)])
        return (Charted(series=together, kind=SEVERAL, charts=_charts(together, SEVERAL, chosen, ())),)
    return tuple(
        chart_one(one, chosen, phases.get(one.response, ()), meets.get(one.response))
        for one in series
        if not isinstance(one, tuple)
    )


def chart_one(
    series: BatchSeries | CountSeries, chosen: Chosen, phases: tuple[Phase, ...], meets: Specification | None
) -> Charted:
    """The charts of one response; ``meets`` holds unless ``chosen`` says another specification."""
    frozen = kind_of_limits(phases[-1].limits) if phases else None
    kind = choose_kind(series, frozen if chosen.kind == AUTO and frozen else chosen.kind)
    phases = phases if kind not in METHODS or frozen in (kind, None) else ()
    charts = _charts(series, kind, chosen, phases)
    meets = specified(series.response, getattr(series, "unit", ""), chosen) or meets
    capable, words = _capability(series, meets, charts)
    return Charted(
        series=series,
        kind=kind,
        charts=charts,
        phases=phases,
        specification=meets,
        capable=capable,
        capability_words=words,
    )


def _capability(
    series: BatchSeries | CountSeries, meets: Specification | None, charts: Sequence[Chart]
) -> tuple[CapabilityAnswer | None, tuple[str, ...]]:
    """How the readings stand to a specification with a limit, or why that cannot be told."""
    if meets is None or not isinstance(series, BatchSeries) or (meets.lower, meets.upper) == (None, None):
        return None, ()
    from analysis.control.capability import capability_of
    from analysis.words.capability import say_capability

    try:
        answer = capability_of(series, meets, stable=stability_of(charts).stable)
    except NotPossible as wrong:
        return None, (wrong.what,)
    return answer, say_capability(answer)


def _charts(series: Series, kind: str, chosen: Chosen, phases: tuple[Phase, ...]) -> tuple[Chart, ...]:
    settings = dict(chosen.settings)
    if kind == SUMS and chosen.target is not None:
        settings.setdefault("target", chosen.target)
    return chart_batches(series, kind=kind, rules=chosen.rules, phases=phases, **settings)


def common_batches(series: Sequence[BatchSeries]) -> tuple[BatchSeries, ...]:
    """The same responses over the batches that have a reading of each."""
    shared = set(series[0].batches).intersection(*(one.batches for one in series[1:]))
    return tuple(only_batches(one, shared) for one in series)


def only_batches(series: BatchSeries, batches: set[str]) -> BatchSeries:
    """A series without all other batches."""
    kept = [at for at, batch in enumerate(series.batches) if batch in batches]
    return BatchSeries(
        response=series.response,
        unit=series.unit,
        batches=tuple(series.batches[at] for at in kept),
        values=tuple(series.values[at] for at in kept),
        at=tuple(series.at[at] for at in kept) if series.at else (),
    )
