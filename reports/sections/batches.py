"""What are the parts of a page on daily batches?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

from analysis.control.expected import expected_alarms, more_than_chance, runs_of_alarms
from analysis.control.results import BatchSeries, Chart, CountSeries, Specification
from analysis.control.why_results import Change, Why
from analysis.words.batch_pages import (
    ALARMS_CAPTION,
    BATCHES_CAPTION,
    CAUSES_CAPTION,
    COLUMNS_OF_ALARMS,
    COLUMNS_OF_CAUSES,
    COLUMNS_OF_DECISIONS,
    DECISIONS_CAPTION,
    LOOKING_BACK,
    NO_ALARM,
    NO_CAUSE_YET,
    NOBODY_YET,
    TITLES,
    say_freeze,
    say_go_on,
    say_held,
    say_how_judged,
    say_of_period,
    say_open_alarms,
    say_outside,
)
from analysis.words.cause_chemistry import say_causes_chemistry, say_too_few
from analysis.words.causes import say_change, say_headline, say_limits_of_it, say_next, say_sureness
from analysis.words.control import chart_title, say_caution, say_limits, say_more
from reports.figures.control import Beneath, draw_control
from reports.figures.picture import Table
from reports.html import plain
from reports.sections.blocks import Block, Grid, Heading, Items, Picture, Section, Words
from reports.sections.numbering import Keys

WINDOW = 120  # batches on a picture: those of the page and what went before
FEW = 20  # batches before the page's first that a picture shows at least


@dataclass(frozen=True, kw_only=True)
class AlarmTold:
    """One alarm, or a run of ``count`` by one rule, as it is written; ``open`` while nobody named its cause.

    Not ``entered`` is what a chart shows in looking back, where no alarm was entered when the batch was judged.
    """

    batch: str
    response: str
    words: str
    cause: str = ""
    action: str = ""
    open: bool = True
    count: int = 1
    entered: bool = True


@dataclass(frozen=True, kw_only=True)
class ResponseTold:
    """One response of a product: everything up to the last batch of the page."""

    series: BatchSeries | CountSeries
    charts: tuple[Chart, ...]
    specification: Specification | None = None
    capability: tuple[str, ...] = ()  # sentences
    why: Why | None = None


@dataclass(frozen=True, kw_only=True)
class BatchesTold:
    """What a page on the batches of a product may tell of.

    ``kind`` is "day", "week", "month" or "log"; ``batches`` are those from ``first`` to ``last``, in order of
    baking. ``made_with`` maps an ingredient or a setting to its lot or level in every batch of the log up to
    ``last`` (by batch). ``rows`` is the table of the batches: its columns, and a line for each.
    """

    product: str
    kind: str
    first: date
    last: date
    batches: tuple[str, ...]
    responses: tuple[ResponseTold, ...] = ()
    made_with: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    alarms: tuple[AlarmTold, ...] = ()
    causes: tuple[tuple[str, ...], ...] = ()
    decisions: tuple[tuple[str, ...], ...] = ()
    rows: Table | None = None
    rules: tuple[str, ...] = ()
    provenance: Mapping[str, str] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    invented: bool = False


def alarmed(told: BatchesTold, response: ResponseTold) -> list[str]:
    """Batches of the page with an alarm on any chart of the response."""
    loud = {alarm.batch for chart in response.charts for alarm in chart.alarms}
    return [batch for batch in told.batches if batch in loud]


def outside(told: BatchesTold, response: ResponseTold) -> tuple[int, int]:
    """Readings of the page's batches outside the specification, and how many there are."""
    series, limits = response.series, response.specification
    if limits is None or isinstance(series, CountSeries):
        return 0, 0
    own = set(told.batches)
    values = [v for batch, each in zip(series.batches, series.values, strict=True) if batch in own for v in each]
    low = -float("inf") if limits.lower is None else limits.lower
    high = float("inf") if limits.upper is None else limits.upper
    return sum(not low <= value <= high for value in values), len(values)


def answer_section(told: BatchesTold) -> Section:
    """For each response: as it was or not, and inside the specification or not."""
    blocks: list[Block] = []
    for response in told.responses:
        own = set(told.batches) & set(response.series.batches)
        if not own:
            continue
        level = response.charts[0].limits
        said = say_of_period(
            response.series.response,
            len(own),
            len(alarmed(told, response)),
            provisional=level.provisional and not level.frozen,
            limits=level.lower is not None or level.upper is not None,
            expected=by_chance(told, response, len(own)),
            changed=response.why is not None and bool(_touching(response.why, told)),
        )
        blocks.append(Words(text=plain(said), tone="plain" if blocks else "lead"))
        missed, readings = outside(told, response)
        if response.specification is not None and readings:
            unit = getattr(response.series, "unit", "")
            name = response.series.response
            blocks.append(Words(text=plain(say_outside(name, unit, missed, readings, response.specification))))
        if response.why is not None and _touching(response.why, told):
            blocks.append(Words(text=plain(say_headline(response.why))))
    return Section(key="answer", title=TITLES["answer"], blocks=blocks)


def by_chance(told: BatchesTold, response: ResponseTold, batches: int) -> float | None:
    """How many runs of alarms chance gives, where there are no more than that."""
    there = set(response.series.batches)
    own = [batch for batch in told.batches if batch in there]
    runs, loud = runs_of_alarms(response.charts, own), alarmed(told, response)
    if more_than_chance(runs, len(loud), response.charts, batches, told.rules):
        return None
    return expected_alarms(response.charts, batches, told.rules)


def do_section(told: BatchesTold) -> Section:
    """What waits for someone, the most pressing first."""
    waiting = [alarm for alarm in told.alarms if alarm.open]
    said = [say_held([row[0] for row in told.decisions if row[1] == "hold"])] if _held(told) else []
    if waiting:
        batches = list(dict.fromkeys(alarm.batch for alarm in waiting))
        said.append(say_open_alarms(sum(alarm.count for alarm in waiting), batches))
    for why in _whys(told):
        said += [say_next(change, why.chemistry[place]) for place, change in _touching(why, told)]
    for response in told.responses:
        level = response.charts[0].limits
        settled = not level.frozen and not level.provisional and not any(chart.alarms for chart in response.charts)
        if settled and level.upper is not None:
            said.append(say_freeze(response.series.response))
    items = tuple(plain(each) for each in said) or (say_go_on(),)
    return Section(key="do", title=TITLES["do"], blocks=[Items(items=items, ordered=len(items) > 1)])


def _held(told: BatchesTold) -> bool:
    return any(row[1] == "hold" for row in told.decisions)


def _whys(told: BatchesTold) -> list[Why]:
    return [response.why for response in told.responses if response.why is not None]


def _touching(why: Why, told: BatchesTold) -> list[tuple[int, Change]]:
    """Changes that reach into the batches of the page, with their places."""
    place = {batch: at for at, batch in enumerate(why.batches)}
    own = [place[batch] for batch in told.batches if batch in place]
    if not own:
        return []
    return [
        (at, change)
        for at, change in enumerate(why.changes)
        if place[change.from_batch] <= own[-1] and place[change.to_batch] >= own[0]
    ]


def glance_section(told: BatchesTold, keys: Keys) -> Section | None:
    """The level of each response over its batches, with what they were made from."""
    blocks: list[Block] = []
    for response in told.responses:
        if len(told.responses) > 1:
            blocks.append(Heading(text=plain(response.series.response)))
        for chart in response.charts:
            if chart is response.charts[0] or any(alarm.batch in told.batches for alarm in chart.alarms):
                blocks.append(_picture(chart, response, told, keys))
    return Section(key="glance", title=TITLES["glance"], blocks=blocks) if blocks else None


def level_picture(response: ResponseTold, told: BatchesTold, keys: Keys) -> Picture:
    """The chart of the level alone."""
    return _picture(response.charts[0], response, told, keys)


def _picture(chart: Chart, response: ResponseTold, told: BatchesTold, keys: Keys) -> Picture:
    """The last batches of a chart, those of the page marked."""
    places = {point.batch: at for at, point in enumerate(chart.points)}
    own = [places[batch] for batch in told.batches if batch in places]
    begin = max(min(len(chart.points) - WINDOW, min(own, default=0) - FEW), 0)
    points = chart.points[begin:]
    shown = Chart(**{**chart.__dict__, "points": points})
    level_chart = chart is response.charts[0]
    beneath = Beneath(
        made_with=_beneath(told, [point.batch for point in points]) if level_chart else {},
        level=_level(response.why, [point.batch for point in points]) if level_chart else None,
        first=told.batches[0],
        last=told.batches[-1],
    )
    return Picture(figure=draw_control(shown, key=keys(), beneath=beneath), fold=True, paper=False)


def _beneath(told: BatchesTold, batches: Sequence[str]) -> dict[str, list[str | None]]:
    """What changed among these batches, the lots first."""
    rows = {name: [levels.get(batch) for batch in batches] for name, levels in told.made_with.items()}
    return {name: levels for name, levels in rows.items() if len(set(levels) - {None}) > 1}


def _level(why: Why | None, batches: Sequence[str]) -> list[float] | None:
    """The mean with every change that was found; None where nothing was."""
    if why is None or not why.changes or any(not change.shape for change in why.changes):
        return None
    level = dict.fromkeys(why.batches, why.mean)
    for change in why.changes:
        for batch, part in zip(why.batches, change.shape, strict=True):
            level[batch] += change.size * part
    return [level[batch] for batch in batches] if set(batches) <= set(level) else None


def alarms_section(told: BatchesTold) -> Section:
    """The alarms of these batches, what was found about them, and the causes by frequency."""
    if not told.alarms:
        return Section(key="alarms", title=TITLES["alarms"], blocks=[Words(text=NO_ALARM)])
    rows = tuple(
        (
            plain(alarm.batch),
            plain(alarm.response),
            plain(alarm.words),
            plain(alarm.cause) or (NO_CAUSE_YET if alarm.entered else "–"),
            plain(alarm.action) or ("–" if alarm.cause else NOBODY_YET if alarm.entered else LOOKING_BACK),
        )
        for alarm in told.alarms
    )
    blocks: list[Block] = [Grid(caption=ALARMS_CAPTION, table=Table(columns=COLUMNS_OF_ALARMS, rows=rows))]
    if told.causes:
        blocks.append(Grid(caption=CAUSES_CAPTION, table=Table(columns=COLUMNS_OF_CAUSES, rows=told.causes)))
    return Section(key="alarms", title=TITLES["alarms"], blocks=blocks)


def why_section(told: BatchesTold) -> Section | None:
    """Each change that reaches into these batches: what, when, how surely, what chemistry says."""
    blocks: list[Block] = []
    for why in _whys(told):
        touching = _touching(why, told)
        for place, change in touching:
            chemistry = why.chemistry[place]
            first, *rest = (
                say_change(change, why),
                say_sureness(change),
                say_causes_chemistry(chemistry, change, why),
                say_too_few(chemistry),
            )
            blocks.append(Words(text=plain(first)))
            blocks.append(Items(items=tuple(plain(each) for each in rest if each)))
        if touching:
            blocks += [Words(text=plain(each), tone="quiet") for each in say_limits_of_it(why)]
    return Section(key="why", title=TITLES["why"], blocks=blocks) if blocks else None


def specification_section(told: BatchesTold) -> Section | None:
    """Capability or performance, in sentences, for each response with a specification."""
    blocks: list[Block] = []
    for response in told.responses:
        if response.capability:
            if len(told.responses) > 1:
                blocks.append(Heading(text=plain(response.series.response)))
            blocks.append(Items(items=tuple(plain(each) for each in response.capability)))
    return Section(key="specification", title=TITLES["specification"], blocks=blocks) if blocks else None


def decided_section(told: BatchesTold) -> Section | None:
    """What was held or rejected."""
    rows = tuple(tuple(plain(cell) for cell in row) for row in told.decisions if row[1] != "accept")
    grid = Grid(caption=DECISIONS_CAPTION, table=Table(columns=COLUMNS_OF_DECISIONS, rows=rows))
    return Section(key="decided", title=TITLES["decided"], blocks=[grid]) if rows else None


def batches_section(told: BatchesTold) -> Section | None:
    """Every batch of the page with what it was made from and its readings."""
    if told.rows is None or not told.rows.rows:
        return None
    grid = Grid(caption=BATCHES_CAPTION, table=told.rows, fold=len(told.rows.rows) > FEW)
    return Section(key="batches", title=TITLES["batches"], blocks=[grid])


def made_section(told: BatchesTold) -> Section:
    """Limits, rules and cautions of every chart."""
    blocks: list[Block] = []
    for response in told.responses:
        for chart in response.charts:
            cautions = [say_caution(caution, chart) for caution in chart.cautions]
            said = [*say_limits(chart), *say_more(chart), *cautions]
            if said:
                blocks.append(Heading(text=plain(chart_title(chart))))
                blocks.append(Items(items=tuple(plain(each) for each in said)))
    whole = max((len(response.series.batches) for response in told.responses), default=0)
    blocks.append(Words(text=say_how_judged(told.rules, whole)))
    return Section(key="made", title=TITLES["made"], blocks=blocks)
