"""How far does a finding move with a bake left out, or looked at in another way?

The finding that changes most, as it stands and as it would be, as intervals on the response's own scale
against the band of what does not matter. The table beside it holds every finding.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.linear.sensitivity import Change, ChangesPart, FindingChange
from analysis.results import Matters, ResponseResult
from analysis.words.changes import named, said_change
from analysis.words.numbers import half_width, say_level, say_number, say_share, say_signed, start
from analysis.words.pictures import effects as say
from reports.figures.effects import BARE_VERDICTS, VERDICTS
from reports.figures.lettering import brief, row_names, sized, with_unit, wrapped
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BAND, BLUE, RULE, SOFT, VERMILLION, canvas, interval, span
from reports.figures.svg import as_svg

MOST_ROWS = 12
_LOOKS = {"yes": (BLUE, "o", False), "no": (SOFT, "D", False), "unsure": (VERMILLION, "s", True)}

Row = tuple[str, float, float | None, float | None, Matters]


def draw_changes(part: ChangesPart, result: ResponseResult, *, key: str, confidence: float) -> Figure | None:
    """None when no finding has a size before and after."""
    chosen = _most_changed(part)
    if chosen is None:
        return None
    rows = _rows(part, chosen)[:MOST_ROWS]
    response = result.response
    with canvas(0.75 + 0.44 * max(len(rows), 2)) as (figure, (axes,)):
        reach = [v for _, size, low, high, _ in rows for v in (size, low, high) if v is not None] + [0.0]
        if response.matters:
            reach += [-1.2 * response.matters, 1.2 * response.matters]
            axes.axvspan(-response.matters, response.matters, color=BAND, linewidth=0, zorder=0)
        axes.axvline(0, color=SOFT, linewidth=0.8, zorder=1)
        axes.axhline(0.5, color=RULE, linewidth=0.6, zorder=0)
        for at, (_, size, low, high, verdict) in enumerate(rows):
            colour, marker, hollow = _LOOKS[verdict]
            interval(axes, size, at, low, high, colour=colour, marker=marker, level=True, hollow=hollow)
        row_names(axes, list(range(len(rows))), [wrapped(brief(name, 60)) for name, *_ in rows])
        axes.set(xlim=span(reach), ylim=(len(rows) - 0.4, -0.6))
        axes.spines["left"].set_visible(False)
        axes.set_xlabel(with_unit(say.change_in(brief(response.name, 40)), response.unit), parse_math=False)
        alt = _alt(chosen, rows, result)
        svg = as_svg(figure, key=key, title=say.what_would_change(brief(named(chosen), 60)), description=alt)
    return Figure(key=key, svg=svg, alt=alt, caption=_caption(chosen, result, confidence), table=_table(part, result))


def _most_changed(part: ChangesPart) -> FindingChange | None:
    """A finding whose verdict turns comes first, then the one that moves furthest against its interval."""
    found = [
        one for change in part.changes for one in change.findings if one.size is not None and one.size_then is not None
    ]
    return max(found, key=_moved, default=None)


def _moved(one: FindingChange) -> tuple[bool, float]:
    width = half_width(one.low, one.high) or abs(one.size or 0.0) or 1.0
    then = half_width(one.low_then, one.high_then) or width
    return one.turns, abs((one.size_then or 0.0) - (one.size or 0.0)) / width + abs(then / width - 1)


def _rows(part: ChangesPart, chosen: FindingChange) -> list[Row]:
    rows: list[Row] = [(say.AS_IT_STANDS, chosen.size or 0.0, chosen.low, chosen.high, chosen.matters)]
    for change in part.changes:
        one = next((f for f in change.findings if (f.kind, f.variables) == (chosen.kind, chosen.variables)), None)
        if one is not None and one.size_then is not None and one.matters_then is not None:
            rows.append((_short(change), one.size_then, one.low_then, one.high_then, one.matters_then))
    return rows


def _short(change: Change) -> str:
    return said_change(change).removesuffix(" (the answer leans on it)").removesuffix(" in the model")


def _alt(chosen: FindingChange, rows: Sequence[Row], result: ResponseResult) -> str:
    others = rows[1:]
    if not others:
        return short_alt(say.stands_alone(start(named(chosen))))
    furthest = max(others, key=lambda row: abs(row[1] - rows[0][1]))
    step = half_width(chosen.low, chosen.high)
    before, after = (say_signed(value, step) for value in (rows[0][1], furthest[1]))
    unit = result.response.unit
    return short_alt(
        say.before_and_after(start(brief(named(chosen), 50)), sized(before, unit), sized(after, unit)),
        f"{brief(furthest[0], 60)}.",
    )


def _caption(chosen: FindingChange, result: ResponseResult, confidence: float) -> str:
    said = [say.as_it_would_be(start(named(chosen)), say_share(confidence))]
    if result.response.matters:
        matters = sized(say_level(result.response.matters), result.response.unit)
        said.append(say.inside_the_band(matters))
    said.append(say.TABLE_HAS_EVERY)
    return " ".join(said)


def _table(part: ChangesPart, result: ResponseResult) -> Table:
    verdicts = VERDICTS if result.response.matters else BARE_VERDICTS
    rows: list[tuple[str, ...]] = []
    for change in part.changes:
        if change.why:
            rows.append((start(_short(change)), "–", "–", "–", "–", say.not_possible(change.why)))
        for one in change.findings:
            step = half_width(one.low_then, one.high_then)
            now = "–" if one.size is None else say_signed(one.size, half_width(one.low, one.high))
            then = "–" if one.size_then is None else say_signed(one.size_then, step)
            ends = [_end(end, step) for end in (one.low_then, one.high_then)]
            verdict = say.CANNOT_BE_TOLD if one.matters_then is None else verdicts[one.matters_then]
            said = say.turned_verdict(verdict, verdicts[one.matters]) if one.turns else verdict
            rows.append((f"{start(_short(change))}: {named(one)}", now, then, *ends, said))
    unit = f" ({result.response.unit})" if result.response.unit else ""
    columns = say.columns_of_changes(unit)
    return Table(columns=columns, rows=tuple(rows))


def _end(value: float | None, step: float | None) -> str:
    return "–" if value is None else say_number(value, step)
