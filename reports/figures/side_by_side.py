"""What moved which response? One row for each variable, one panel for each response, side by side.

Each panel has its response's own scale and its own band for the difference that matters, so that a
row is read across: the same variable, other responses.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from analysis.results import Finding, ResponseResult
from analysis.words.numbers import half_width, say_number, say_share, say_signed
from analysis.words.pictures import effects as say
from reports.figures.effects import DRAWN, LOOKS, name_of
from reports.figures.lettering import brief, row_height, row_names, sized, wrapped, write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import BAND, INK, SOFT, canvas, interval, span
from reports.figures.svg import as_svg

MOST_PANELS, MOST_ROWS = 3, 6


def draw_side_by_side(results: Sequence[ResponseResult], *, key: str, confidence: float = 0.95) -> Figure | None:
    """The foremost effects on the first three responses; None when fewer than two have any."""
    told = [result for result in results if _effects(result)][:MOST_PANELS]
    if len(told) < 2:
        return None
    names = _rows(told)
    shown = [wrapped(name, width=16, lines=3) for name in names]
    step = row_height(shown, 0.42)
    with canvas(1.0 + step * max(len(names), 2), columns=len(told)) as (figure, axes):
        for at, (panel, result) in enumerate(zip(axes, told, strict=True)):
            _draw_panel(panel, result, names)
            if at == 0:
                row_names(panel, list(range(len(names))), shown)
        alt = short_alt(_said(told))
        svg = as_svg(figure, key=key, title=say.SIDE_TITLE, description=alt)
    return Figure(key=key, svg=svg, alt=alt, caption=_caption(told, names, confidence), table=_table(told, names))


def _effects(result: ResponseResult) -> dict[str, Finding]:
    """Row name -> finding, in the order of their rank."""
    found: dict[str, Finding] = {}
    for finding in result.findings:
        if finding.kind in DRAWN and finding.size is not None:
            found.setdefault(name_of(finding), finding)
    return found


def _rows(results: Sequence[ResponseResult]) -> list[str]:
    """What matters for any response first, then what cannot be told, each in the order of its best rank."""
    ranks = {"yes": 0, "unsure": 1, "no": 2}
    best: dict[str, tuple[int, int]] = {}
    for result in results:
        for at, (name, finding) in enumerate(_effects(result).items()):
            rank = (ranks[finding.matters], at)
            best[name] = min(best.get(name, rank), rank)
    return sorted(best, key=lambda name: best[name])[:MOST_ROWS]


def _draw_panel(axes, result: ResponseResult, names: Sequence[str]) -> None:  # type: ignore[no-untyped-def]
    found, matters = _effects(result), result.response.matters
    reach = [v for name in names if (f := found.get(name)) for v in (f.low, f.high, f.size) if v is not None] + [0.0]
    if matters:
        reach += [-1.3 * matters, 1.3 * matters]
        axes.axvspan(-matters, matters, color=BAND, linewidth=0, zorder=0)
    axes.axvline(0, color=SOFT, linewidth=0.8, zorder=1)
    for row, name in enumerate(names):
        finding = found.get(name)
        if finding is None:
            write(axes, 0, row, "–", ha="center", color=SOFT)
            continue
        colour, marker, hollow = LOOKS[finding.matters]
        looks: dict[str, Any] = {"colour": colour, "marker": marker, "level": True, "hollow": hollow}
        interval(axes, finding.size or 0.0, row, finding.low, finding.high, **looks)
    axes.set(xlim=span(reach), ylim=(len(names) - 0.4, -0.6))
    axes.set_yticks([])
    axes.locator_params(axis="x", nbins=4)
    axes.spines["left"].set_visible(False)
    unit = f"\n({brief(result.response.unit, 14)})" if result.response.unit else "\n"
    axes.set_title(wrapped(result.response.name, width=16, lines=1) + unit, fontsize=9, color=INK, parse_math=False)


def _said(results: Sequence[ResponseResult]) -> str:
    said = []
    for result in results:
        moving = [f for f in _effects(result).values() if f.matters == "yes"]
        if moving:
            first = moving[0]
            size = sized(say_signed(first.size or 0.0, half_width(first.low, first.high)), first.unit)
            said.append(say.moved_most(brief(result.response.name), brief(name_of(first)), size))
        else:
            said.append(say.nothing_moved(brief(result.response.name)))
    return " ".join(said)


def _caption(results: Sequence[ResponseResult], names: Sequence[str], confidence: float) -> str:
    said = [say.mark_is_effect(say_share(confidence))]
    if any(result.response.matters for result in results):
        said.append(say.INSIDE_TOO_SMALL)
    yardsticks = {bool(result.response.matters) for result in results}
    if yardsticks == {True}:
        said.append(say.FILLED_MATTERS)
    elif yardsticks == {False}:
        said.append(say.FILLED_DIFFERS)
    else:
        said.append(say.FILLED_EITHER)
    if any(len(_effects(result)) > len(names) for result in results):
        said.append(say.FOREMOST_BELOW)
    return " ".join(said)


def _table(results: Sequence[ResponseResult], names: Sequence[str]) -> Table:
    columns = [
        say.VARIABLE,
        *(sized(r.response.name, f"({r.response.unit})" if r.response.unit else "") for r in results),
    ]
    effects = [_effects(result) for result in results]
    rows = [(name, *(_cell(found[name]) if name in found else "–" for found in effects)) for name in names]
    return Table(columns=tuple(columns), rows=tuple(rows))


def _cell(finding: Finding) -> str:
    step = half_width(finding.low, finding.high)
    size = say_signed(finding.size or 0.0, step)
    if finding.low is None or finding.high is None:
        return size
    return say.size_and_ends(size, say_number(finding.low, step), say_number(finding.high, step))
