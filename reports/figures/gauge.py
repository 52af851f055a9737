"""How large is the measuring beside what is allowed, and who reads which piece how?

The parts of the spread lie as intervals on the response's own scale, the tolerance behind them. The
readings stand piece by piece, each person with a line, a mark and a name at its end.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from analysis.control.gauge.fits import tolerance_of
from analysis.control.gauge.results import MEND, SPREADS, Component, GaugeAnswer
from analysis.words import gauge_pages as say
from analysis.words.gauge import LABELS
from analysis.words.gauge_pages import (
    EVERY_READING,
    say_component_alt,
    say_components_caption,
    say_limit,
    say_readings_alt,
    say_readings_caption,
    shown_components,
)
from analysis.words.numbers import say_number, say_percent
from reports.figures.lettering import brief, column_names, row_names, wrapped, write
from reports.figures.lettering import with_unit as axis_title
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.points import MOST_POINTS, offsets, one_in
from reports.figures.style import (
    BAND,
    BLUE,
    DASHES,
    GREEN,
    INK,
    LINES,
    MARKERS,
    PURPLE,
    SOFT,
    VERMILLION,
    canvas,
    interval,
    scatter,
    span,
    spread,
)
from reports.figures.svg import as_svg

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FAR = 1.6  # times what is to be seen: beyond, an interval is cut with an arrow
MOST_NAMED = 5  # people with a colour of their own; of more, the highest and the lowest reader have one
MOST_ROWS = 1000  # of the table beside the picture
LINE_OF_NAMES = 11  # points
LOOKS = {
    "repeatability": (BLUE, "o"),
    "person": (VERMILLION, "s"),
    "person by piece": (PURPLE, "^"),
    "reproducibility": (VERMILLION, "s"),
    "gauge": (INK, "D"),
    "piece": (GREEN, "v"),
    "total": (SOFT, "o"),
}


def draw_components(answer: GaugeAnswer, *, key: str) -> Figure:
    """Six SD of each part, with its interval, against the tolerance (or the spread of all readings)."""
    unit, width = answer.question.unit, tolerance_of(answer.question)
    parts = shown_components(answer)
    whole = width if width is not None else SPREADS * answer.used.components["total"].sd
    right = _right(parts, whole)
    alt = short_alt(say_component_alt(answer))
    with canvas(0.42 * len(parts) + 1.25) as (figure, (axes,)):
        axes.axvspan(0, whole, facecolor=BAND, linewidth=0, zorder=0)
        axes.axvline(MEND * whole, color=SOFT, linewidth=0.9, linestyle=(0, (4, 3)), zorder=1)
        for place, one in enumerate(parts):
            colour, marker = LOOKS[one.key]
            low = None if one.sd_low is None else SPREADS * one.sd_low
            high = right if _beyond(one, right) or one.sd_high is None else SPREADS * one.sd_high
            interval(axes, SPREADS * one.sd, place, low, high, colour=colour, marker=marker, level=True)
            if _beyond(one, right):
                axes.plot([right], [place], marker=">", markersize=7, color=colour, clip_on=False, zorder=5)
            said = say_percent(SPREADS * one.sd / whole)
            write(axes, 1.045, place, said, transform=axes.get_yaxis_transform(), ha="left", color=SOFT, fontsize=8)
        _name_limits(axes, answer, whole, right)
        row_names(axes, list(range(len(parts))), [wrapped(LABELS[one.key], width=18) for one in parts])
        axes.set(xlim=(0, right), ylim=(len(parts) - 0.4, -0.6))
        axes.spines["left"].set_visible(False)
        axes.set_xlabel(axis_title(say.six_sd_of(brief(answer.question.response, 30)), unit), parse_math=False)
        svg = as_svg(figure, key=key, title=brief(say.spread_of(answer.question.response), 60), description=alt)
    caption = say_components_caption(answer, cut=any(_beyond(one, right) for one in parts))
    return Figure(key=key, svg=svg, alt=alt, caption=caption, table=_components(answer, parts))


def _beyond(one: Component, right: float) -> bool:
    return one.sd_high is None or SPREADS * one.sd_high > right


def _right(parts: Sequence[Component], whole: float) -> float:
    """As far as the picture goes: all estimates and the tolerance; long intervals are cut."""
    seen = max([whole, *(SPREADS * one.sd for one in parts)])
    ends = [SPREADS * (one.sd_high if one.sd_high is not None else 2 * FAR * seen) for one in parts]
    return min(max([seen, *ends]), FAR * seen) * 1.03


def _name_limits(axes: Axes, answer: GaugeAnswer, whole: float, right: float) -> None:
    """What band and line mean, above them, side by side."""
    top = 1.02
    for at, text, ha in ((MEND * whole, say_percent(MEND), "center"), (whole, say_limit(answer), "right")):
        x = min(at, right)
        write(axes, x, top, text, transform=axes.get_xaxis_transform(), ha=ha, va="bottom", color=SOFT, fontsize=8)


def _components(answer: GaugeAnswer, parts: Sequence[Component]) -> Table:
    """SD and shares; the variance's add up, those of the spread do not."""
    tolerance = tolerance_of(answer.question) is not None
    columns = say.COMPONENT_COLUMNS
    rows = []
    for one in parts:
        shares = answer.used.shares[one.key]
        ends = ["–" if sd is None else say_number(sd, sd or None) for sd in (one.sd_low, one.sd_high)]
        row = [LABELS[one.key], say_number(one.sd, one.sd or None), *ends]
        row += [say_percent(shares.of_variance.value, 1), say_percent(shares.of_spread.value, 1)]
        if shares.of_tolerance is not None:
            row.append(say_percent(shares.of_tolerance.value, 1))
        rows.append(tuple(row))
    return Table(columns=(*columns, say.OF_TOLERANCE) if tolerance else columns, rows=tuple(rows))


@dataclass(frozen=True)
class _Drawn:
    """One person: the place of each reading, and of the mean of each piece."""

    name: str
    x: list[float]
    y: list[float]
    mean_x: list[float]
    mean_y: list[float]


def draw_readings(answer: GaugeAnswer, *, key: str) -> Figure:
    """Every reading by piece; the people told apart, their means joined."""
    people, names = _placed(answer)
    values = [one.value for one in answer.plotted]
    low, high = span(values, share=0.09)
    alt = short_alt(say_readings_alt(answer))
    with canvas(3.3) as (figure, (axes,)):
        looks = _looks(answer)
        for one in people:
            colour, marker, dash = looks[one.name]
            every = one_in(len(answer.plotted))
            scatter(axes, one.x[::every], one.y[::every], colour=colour, marker=marker, size=16, alpha=0.55)
            joined = axes.plot(one.mean_x, one.mean_y, color=colour, linewidth=1.3, zorder=3)[0]
            if dash:
                joined.set_dashes(dash)
            if answer.nested and len(people) <= MOST_NAMED:  # own pieces: only the average compares people
                ends = [min(one.x) - 0.3, max(one.x) + 0.3]
                axes.plot(ends, [sum(one.y) / len(one.y)] * 2, color=colour, linewidth=3, alpha=0.35, zorder=1)
        last = max(x for one in people for x in one.x)
        axes.set(xlim=(-0.6, last + 0.6), ylim=(low, high))
        step = column_names(axes, list(range(len(names))), names, most=_most_names(names))
        room = LINE_OF_NAMES * (1 + max(text.get_text().count("\n") for text in axes.texts))
        axes.set_xlabel(wrapped(answer.question.piece, width=40), labelpad=6 + room, parse_math=False)
        _name_people(axes, answer, people, looks, last, (low, high))
        axes.set_ylabel(axis_title(brief(answer.question.response, 40), answer.question.unit), parse_math=False)
        svg = as_svg(figure, key=key, title=brief(say.readings_of(answer.question.response), 60), description=alt)
    caption = say_readings_caption(answer, every=step, drawn=one_in(len(answer.plotted), MOST_POINTS))
    return Figure(key=key, svg=svg, alt=alt, caption=caption, table=_readings(answer))


def _most_names(names: Sequence[str]) -> int:
    """Short names stand closer."""
    longest = max(map(len, names))
    return 18 if longest <= 2 else 12 if longest <= 3 else 7


def _placed(answer: GaugeAnswer) -> tuple[list[_Drawn], list[str]]:
    """People with their places, and the pieces in order: by size where shared, by person where their own."""
    sums: dict[str, list[float]] = {}
    for one in answer.plotted:
        sums.setdefault(one.piece, []).append(one.value)
    owner = {one.piece: answer.people.index(one.person) for one in answer.plotted}
    size = {piece: sum(values) / len(values) for piece, values in sums.items()}
    order = sorted(size, key=lambda piece: (owner[piece] if answer.nested else 0, size[piece], piece))
    at = {piece: place for place, piece in enumerate(order)}
    count = len(answer.people)
    reach = 0.0 if answer.nested or count == 1 else 0.18
    shift = {name: reach * (2 * i / max(count - 1, 1) - 1) for i, name in enumerate(answer.people)}
    drawn = []
    for name in answer.people:
        own = [one for one in answer.plotted if one.person == name]
        means: dict[str, list[float]] = {}
        for one in own:
            means.setdefault(one.piece, []).append(one.value)
        jitter = offsets(len(own), 0.05)
        ordered = sorted(means, key=lambda piece: at[piece])
        drawn.append(
            _Drawn(
                name=name,
                x=[at[one.piece] + shift[name] + off for one, off in zip(own, jitter, strict=True)],
                y=[one.value for one in own],
                mean_x=[at[piece] + shift[name] for piece in ordered],
                mean_y=[sum(means[piece]) / len(means[piece]) for piece in ordered],
            )
        )
    return drawn, [_without_owner(piece, answer.people[owner[piece]]) for piece in order]


def _without_owner(piece: str, person: str) -> str:
    """A nested piece is called "2 of A"; where A is named beside it, 2 is enough."""
    return piece.removesuffix(f" of {person}")


def _looks(answer: GaugeAnswer) -> dict[str, tuple[str, str, tuple[float, ...]]]:
    """Colour, mark and dash of each person; of many, all but the highest and the lowest reader are grey."""
    if len(answer.people) <= MOST_NAMED:
        return {name: (LINES[i], MARKERS[i], DASHES[i]) for i, name in enumerate(answer.people)}
    looks: dict[str, tuple[str, str, tuple[float, ...]]] = dict.fromkeys(answer.people, (SOFT, "o", (1.4, 1.4)))
    if answer.pair is not None:
        looks[answer.pair.lower] = (BLUE, "s", (5, 1.6))
        looks[answer.pair.higher] = (VERMILLION, "^", ())
    return looks


def _name_people(
    axes: Axes,
    answer: GaugeAnswer,
    people: Sequence[_Drawn],
    looks: dict[str, tuple[str, str, tuple[float, ...]]],
    last: float,
    limits: tuple[float, float],
) -> None:
    """At the end of each line; over their own pieces where each person has some."""
    if answer.people == ("",):
        return
    named = [one for one in people if len(people) <= MOST_NAMED or looks[one.name][0] != SOFT]
    if answer.nested:
        for one in named:
            middle = (one.mean_x[0] + one.mean_x[-1]) / 2
            text = wrapped(one.name, width=12)
            top = axes.get_xaxis_transform()
            write(axes, middle, 1.0, text, transform=top, ha="center", va="bottom", color=looks[one.name][0])
        return
    places = spread([one.mean_y[-1] for one in named], (limits[1] - limits[0]) * 0.075, *limits)
    for one, place in zip(named, places, strict=True):
        write(axes, last + 0.75, place, wrapped(one.name, width=12), ha="left", color=looks[one.name][0])


def _readings(answer: GaugeAnswer) -> Table:
    """The mean of each person for each piece, with the range of their readings."""
    cells: dict[tuple[str, str], list[float]] = {}
    for one in answer.plotted:
        cells.setdefault((one.piece, one.person), []).append(one.value)
    sd = answer.used.components["repeatability"].sd
    rows = []
    for piece in dict.fromkeys(one.piece for one in answer.plotted):
        for person in answer.people:
            values = cells.get((piece, person))
            if values:
                mean, ends = sum(values) / len(values), (min(values), max(values))
                told = [say_number(value, sd) for value in (mean, *ends)]
                rows.append(
                    (
                        brief(_without_owner(piece, person)),
                        brief(person) if person else EVERY_READING,
                        str(len(values)),
                        *told,
                    )
                )
    return Table(columns=say.READING_COLUMNS, rows=tuple(rows[:MOST_ROWS]))
