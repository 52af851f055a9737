"""Are the batches of a product, or of a spreadsheet, stable? The charts that were asked for on one page.

Like a trial's report: one HTML file without script and without outside requests; same answer in, same bytes out.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from analysis.control.results import Chart
from analysis.words.batch_pages import CHART_TITLES, HOT
from analysis.words.control import (
    chart_title,
    say_alarms,
    say_caution,
    say_limits,
    say_more,
    say_next_step,
    say_stability,
)
from reports.figures.control import draw_control
from reports.html import plain
from reports.page import Page
from reports.sections.blocks import Block, Heading, Items, Picture, Section, Words
from reports.sections.numbering import Keys
from reports.sections.record import facts_section


@dataclass(frozen=True, kw_only=True)
class ChartsTold:
    """Charts of one response (or of several together) with the sentences on capability and on false alarms."""

    charts: tuple[Chart, ...]
    beside: tuple[str, ...] = ()
    short: bool = False  # does not keep its specification


def charts_page(
    told: Sequence[ChartsTold],
    *,
    title: str,
    provenance: Mapping[str, str],
    remarks: tuple[str, ...] = (),
    invented: bool = False,
) -> Page:
    """The page with its parts drawn and said; ``remarks`` say what was left out or guessed."""
    keys = Keys()
    parts = [
        _answer(told),
        _glance(told, keys),
        _promised(told),
        _made(told),
        facts_section(provenance, title=CHART_TITLES["provenance"]),
    ]
    return Page(
        sections=tuple(part for part in parts if part is not None),
        title=plain(title),
        question=CHART_TITLES["question"],
        invented=invented,
        cautions=(HOT, *map(plain, remarks)),
    )


def _answer(told: Sequence[ChartsTold]) -> Section:
    """The verdict on each response, and what to do."""
    blocks: list[Block] = []
    for one in told:
        blocks.append(Words(text=plain(say_stability(one.charts)), tone="plain" if blocks else "lead"))
        blocks.append(Words(text=plain(say_next_step(one.charts, short=one.short))))
    return Section(key="answer", title=CHART_TITLES["answer"], blocks=blocks)


def _glance(told: Sequence[ChartsTold], keys: Keys) -> Section:
    """Every chart with its alarms."""
    blocks: list[Block] = []
    for one in told:
        for chart in one.charts:
            blocks += [Heading(text=plain(chart_title(chart)))] if len(told) + len(one.charts) > 2 else []
            blocks.append(Picture(figure=draw_control(chart, key=keys()), fold=True, paper=False))
            alarms = tuple(plain(each) for each in say_alarms(chart))
            blocks += [Items(items=alarms)] if alarms else []
    return Section(key="glance", title=CHART_TITLES["glance"], blocks=blocks)


def _promised(told: Sequence[ChartsTold]) -> Section | None:
    said = tuple(plain(each) for one in told for each in one.beside)
    return (
        Section(key="specification", title=CHART_TITLES["specification"], blocks=[Items(items=said)]) if said else None
    )


def _made(told: Sequence[ChartsTold]) -> Section:
    """Limits and cautions of every chart."""
    blocks: list[Block] = []
    for one in told:
        for chart in one.charts:
            cautions = [say_caution(caution, chart) for caution in chart.cautions]
            said = tuple(plain(each) for each in (*say_limits(chart), *say_more(chart), *cautions))
            blocks += [Heading(text=plain(chart_title(chart))), Items(items=said)] if said else []
    return Section(key="made", title=CHART_TITLES["made"], blocks=blocks)
