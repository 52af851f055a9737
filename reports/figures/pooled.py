"""What did each trial say of one effect, and what do they say together?

Each trial is a row on the response's scale: its own interval, and hollow the place it is drawn to
by the others. Behind them stand the shared effect's band and the difference that matters; below, what
a next trial is expected to bring. A second picture shows what was known after each trial.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from analysis.pooling.results import PooledEffect
from analysis.words.numbers import half_width, say_interval, say_number, say_percent, say_share, say_signed
from analysis.words.pictures import pooling as say
from analysis.words.pooling import say_contrast, title_of
from reports.figures.lettering import brief, row_names, sized, with_unit, wrapped, write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BAND, BLUE, GREEN, SOFT, VERMILLION, canvas, interval, span
from reports.figures.svg import as_svg


@dataclass(frozen=True)
class _Row:
    name: str
    value: float
    low: float | None
    high: float | None
    colour: str
    marker: str
    hollow_at: float | None = None


def draw_pooled(effect: PooledEffect, *, key: str, confidence: float = 0.95) -> Figure:
    """Every trial, all together, and a next trial."""
    rows = [_Row(one.trial, one.estimate, one.low, one.high, SOFT, "o", one.shrunken) for one in effect.trials]
    rows.append(_Row(say.ALL_TOGETHER, effect.estimate, effect.low, effect.high, BLUE, "D"))
    if effect.next_low is not None:
        rows.append(_Row(say.NEXT_TRIAL, effect.estimate, effect.next_low, effect.next_high, GREEN, "s"))
    size = sized(_size(effect, effect.estimate, effect.low, effect.high), effect.unit)
    said = say_interval(effect.low, effect.high, confidence)
    alt = short_alt(say.pooled_alt(brief(title_of(effect), 60), size, len(effect.trials), said))
    svg = _drawn(effect, rows, key=key, title=title_of(effect), alt=alt, band=True)
    caption = say.pooled_caption(say_share(confidence), _yardstick(effect), _cut(effect, rows))
    columns = say.COLUMNS_OF_TRIALS
    table = [
        (
            one.trial,
            _size(effect, one.estimate, one.low, one.high),
            _number(one.low, one.low, one.high),
            _number(one.high, one.low, one.high),
            _number(one.shrunken, one.low, one.high),
            say_percent(one.weight),
        )
        for one in effect.trials
    ]
    table.append((say.ALL_TOGETHER, *_cells(effect, effect.estimate, effect.low, effect.high), "–", "–"))
    if effect.next_low is not None:
        table.append((say.NEXT_TRIAL, *_cells(effect, effect.estimate, effect.next_low, effect.next_high), "–", "–"))
    return Figure(key=key, svg=svg, alt=alt, caption=caption, table=Table(columns=columns, rows=tuple(table)))


def draw_learnt(effect: PooledEffect, *, key: str, confidence: float = 0.95) -> Figure:
    """What was known after each trial, in order of time."""
    rows = [
        _Row(_after(step.trial, step.trials), step.estimate, step.low, step.high, BLUE, "o") for step in effect.steps
    ]
    first, last = effect.steps[0], effect.steps[-1]
    alt = short_alt(
        say.learnt_alt(
            _size(effect, first.estimate, first.low, first.high),
            last.trials,
            sized(_size(effect, last.estimate, last.low, last.high), effect.unit),
            say_interval(last.low, last.high, confidence),
        )
    )
    svg = _drawn(effect, rows, key=key, title=say.learnt_title(title_of(effect)), alt=alt, band=False)
    caption = say.learnt_caption(_yardstick(effect), _cut(effect, rows))
    table = tuple(
        (str(step.trials), step.trial, *_cells(effect, step.estimate, step.low, step.high)) for step in effect.steps
    )
    columns = say.COLUMNS_OF_STEPS
    return Figure(key=key, svg=svg, alt=alt, caption=caption, table=Table(columns=columns, rows=table))


def _after(trial: str, trials: int) -> str:
    return say.trial_alone(trial) if trials == 1 else f"+ {trial}"


def _drawn(effect: PooledEffect, rows: Sequence[_Row], *, key: str, title: str, alt: str, band: bool) -> str:
    m = effect.matters_size
    zero = [0.0] if effect.kind != "best dose" else []
    limits = _limits(effect, rows)
    with canvas(0.36 * len(rows) + 0.9) as (figure, (axes,)):
        if m and effect.kind != "best dose":
            axes.axvspan(-m, m, facecolor=BAND, linewidth=0, zorder=0)
        if zero:
            axes.axvline(0, color=SOFT, linewidth=0.8, zorder=1)
        if band:
            axes.axvspan(effect.low, effect.high, facecolor=BLUE, alpha=0.13, linewidth=0, zorder=0)
            axes.axvline(effect.estimate, color=BLUE, linewidth=0.8, linestyle=(0, (4, 3)), zorder=1)
        for place, row in enumerate(rows):
            shown = [None if end is None else min(max(end, limits[0]), limits[1]) for end in (row.low, row.high)]
            interval(axes, row.value, place, shown[0], shown[1], colour=row.colour, marker=row.marker, level=True)
            for end, own, arrow in ((shown[0], row.low, "<"), (shown[1], row.high, ">")):
                if end is not None and end != own:  # it goes on beyond the edge
                    axes.plot([end], [place], marker=arrow, markersize=7, color=row.colour, clip_on=False, zorder=5)
            if row.hollow_at is not None:
                interval(axes, row.hollow_at, place, None, None, colour=VERMILLION, marker="d", level=True, hollow=True)
            said = _size(effect, row.value, row.low, row.high)
            write(axes, 1.02, place, said, transform=axes.get_yaxis_transform(), ha="left", color=SOFT, fontsize=8)
        row_names(axes, list(range(len(rows))), [wrapped(row.name) for row in rows])
        axes.set(xlim=limits, ylim=(len(rows) - 0.4, -0.6))
        axes.spines["left"].set_visible(False)
        what = say_contrast(effect) if effect.kind == "best dose" else say.change_in(brief(effect.response, 40))
        axes.set_xlabel(with_unit(brief(what, 50), effect.unit), parse_math=False)
        return as_svg(figure, key=key, title=brief(title, 60), description=alt)


def _limits(effect: PooledEffect, rows: Sequence[_Row]) -> tuple[float, float]:
    """From few trials an interval may be many times wider than all estimates: it is cut at the edge of the picture."""
    m = effect.matters_size
    ends = [end for row in rows for end in (row.value, row.low, row.high) if end is not None]
    low, high = span([*(row.value for row in rows), *(e for t in effect.trials for e in (t.low, t.high))], share=1.5)
    left, right = max(min(ends), low), min(max(ends), high)
    zero = [0.0] if effect.kind != "best dose" else []
    return span([left, right, *zero, *([-m, m] if m else [])])


def _cut(effect: PooledEffect, rows: Sequence[_Row]) -> str:
    left, right = _limits(effect, rows)
    beyond = any(end is not None and not left <= end <= right for row in rows for end in (row.low, row.high))
    return say.GOES_ON if beyond else ""


def _yardstick(effect: PooledEffect) -> str:
    return say.PALE_BAND if effect.matters_size else ""


def _size(effect: PooledEffect, value: float, low: float | None, high: float | None) -> str:
    step = half_width(low, high)
    return say_number(value, step) if effect.kind == "best dose" else say_signed(value, step)


def _number(value: float, low: float | None, high: float | None) -> str:
    return say_number(value, half_width(low, high))


def _cells(effect: PooledEffect, value: float, low: float | None, high: float | None) -> tuple[str, str, str]:
    ends = ("–" if end is None else _number(end, low, high) for end in (low, high))
    first, second = ends
    return _size(effect, value, low, high), first, second
