"""Which variables moved the response, and by more than matters?

Effects as intervals on the response's own scale, ranked, against a band that shows the
difference that matters. For an unreplicated two-level trial also the half-normal picture:
no line is drawn through the small effects; Lenth's margins are marked in words.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.estimates import Effect
from analysis.results import Finding, ResponseResult
from analysis.words.finding_parts import say_term
from analysis.words.numbers import half_width, say_interval, say_level, say_number, say_share, say_signed, with_warmth
from analysis.words.pages import between
from analysis.words.pictures import effects as say
from analysis.words.trust_checks import SCALES
from reports.figures.lettering import brief, row_height, row_names, sized, with_unit, wrapped, write
from reports.figures.picture import Figure, Table, short_alt
from reports.figures.style import (
    BAND,
    BLUE,
    INK,
    PAPER,
    PURPLE,
    RULE,
    SOFT,
    VERMILLION,
    canvas,
    interval,
    scatter,
    span,
    spread,
)
from reports.figures.svg import as_svg

MOST_ROWS = 24
DRAWN = ("effect", "interaction", "bend", "blend", "centre")
VERDICTS = {"yes": "matters", "no": say.TOO_SMALL, "unsure": "cannot tell"}
BARE_VERDICTS = {"yes": say.DIFFERS_FROM_0, "no": say.TOO_SMALL, "unsure": "cannot tell"}
LOOKS = {"yes": (BLUE, "o", False), "no": (SOFT, "D", False), "unsure": (VERMILLION, "s", True)}


def draw_effects(result: ResponseResult, *, key: str, confidence: float = 0.95) -> Figure | None:
    """Effects, bends, blends and interactions with a size, in the order of their rank; None when there are none."""
    found = [f for f in result.findings if f.kind in DRAWN and f.size is not None]
    if not found:
        return None
    response, unit = result.response, result.response.unit
    drawn = found[:MOST_ROWS]
    rows = range(len(drawn))
    shown = [wrapped(name_of(finding), lines=3) for finding in drawn]
    with canvas(0.75 + row_height(shown, 0.44 if len(drawn) <= 8 else 0.36) * max(len(drawn), 2)) as (figure, (axes,)):
        reach = [v for f in drawn for v in (f.low, f.high, f.size) if v is not None] + [0.0]
        if response.matters:
            reach += [-1.3 * response.matters, 1.3 * response.matters]
            axes.axvspan(-response.matters, response.matters, color=BAND, linewidth=0, zorder=0)
        axes.axvline(0, color=SOFT, linewidth=0.8, zorder=1)
        for row, finding in zip(rows, drawn, strict=True):
            colour, marker, hollow = LOOKS[finding.matters]
            interval(
                axes,
                finding.size or 0.0,
                row,
                finding.low,
                finding.high,
                colour=colour,
                marker=marker,
                level=True,
                hollow=hollow,
            )
            write(
                axes,
                1.02,
                row,
                _verdict(finding, result),
                transform=axes.get_yaxis_transform(),
                ha="left",
                multialignment="left",
                color=SOFT,
                fontsize=8,
            )
        row_names(axes, list(rows), shown)
        axes.set(xlim=span(reach), ylim=(len(drawn) - 0.4, -0.6))
        axes.spines["left"].set_visible(False)
        axes.set_xlabel(with_unit(say.change_in(brief(response.name, 40)), unit), parse_math=False)
        alt = short_alt(say.effects_alt(brief(response.name)), _leading(drawn[0], confidence))
        svg = as_svg(figure, key=key, title=say.effects_title(brief(response.name, 60)), description=alt)
    return Figure(
        key=key, svg=svg, alt=alt, caption=_caption(result, len(found), confidence), table=_table(found, result)
    )


def name_of(finding: Finding) -> str:
    """The variables of a finding, an interaction joined by a times sign, a blend by a plus."""
    if finding.kind == "centre":
        return say.BEND_AT_CENTRE
    if finding.kind == "bend":
        return say.bend_over(finding.variables[0])
    if finding.kind == "blend":
        return say.blend_of(" + ".join(finding.variables))
    return " × ".join(finding.variables)


def step_of(finding: Finding) -> str:
    """What the size goes between: "0.5 to 2.5 % flour", "yogurt against lemon juice"."""
    facts = finding.facts
    if "from" not in facts or "to" not in facts:
        return ""
    first, second = say_level(facts["from"]), say_level(facts["to"])
    if finding.kind == "interaction":
        unit = str(facts.get("of_unit", ""))
        return f"{facts.get('of', '')} {with_warmth(between(first, second), unit)}".strip()
    if facts.get("factor_kind") == "amount":
        return with_warmth(between(first, second), str(facts.get("factor_unit", "")))
    return say.second_against_first(second, first)


def _verdict(finding: Finding, result: ResponseResult) -> str:
    words = (VERDICTS if result.response.matters else BARE_VERDICTS)[finding.matters]
    return f"{say_signed(finding.size or 0.0, half_width(finding.low, finding.high))}\n{words}"


def _leading(finding: Finding, confidence: float) -> str:
    size = say_signed(finding.size or 0.0, half_width(finding.low, finding.high))
    said = f"{brief(name_of(finding))}, {sized(size, finding.unit)}"
    return f"{said} ({say_interval(finding.low, finding.high, confidence)})."


def _caption(result: ResponseResult, count: int, confidence: float) -> str:
    response = result.response
    said = [say.mark_is_effect(say_share(confidence))]
    kinds = {finding.kind for finding in result.findings if finding.size is not None}
    said += [say.CENTRE_IS] if "centre" in kinds else []
    said += [say.BEND_IS] if "bend" in kinds else []
    said += [say.BLEND_IS] if "blend" in kinds else []
    if all(f.low is None for f in result.findings if f.size is not None):
        said[0] = say.NO_INTERVALS
    if response.matters:
        matters = sized(say_level(response.matters), response.unit)
        said.append(say.inside_the_band(matters))
    if count > MOST_ROWS:
        said.append(say.foremost_drawn(MOST_ROWS, count))
    return " ".join(said)


def _table(found: Sequence[Finding], result: ResponseResult) -> Table:
    verdicts = VERDICTS if result.response.matters else BARE_VERDICTS
    rows = []
    for finding in found:
        step = half_width(finding.low, finding.high)
        ends = [say_number(end, step) if end is not None else "–" for end in (finding.low, finding.high)]
        size = say_signed(finding.size or 0.0, step)
        rows.append((name_of(finding), size, *ends, verdicts[finding.matters], step_of(finding) or "–"))
    unit = f" ({result.response.unit})" if result.response.unit else ""
    columns = say.columns_of_effects(unit)
    return Table(columns=columns, rows=tuple(rows))


def draw_half_normal(result: ResponseResult, *, key: str) -> Figure | None:
    """Sizes of the effects of an unreplicated two-level trial against what noise alone would give."""
    from analysis.linear.two_level import half_normal

    effects = [effect for effect in result.family.effects if effect.pse is not None]
    if not effects:
        return None
    margins = effects[0].margin, effects[0].simultaneous_margin
    scale = result.family.model.transform
    unit = say.on_scale_of(SCALES.get(scale, scale)) if scale else result.response.unit
    places = half_normal([effect.effect for effect in effects])
    response = result.response
    out = _beyond(effects, margins[0])
    with canvas(3.3) as (figure, (axes,)):
        for words, margin, colour in zip(say.MARGINS, margins, (RULE, SOFT), strict=True):
            if margin is not None:
                axes.axvline(margin, color=colour, linewidth=1.1, zorder=1)
                looks = {"rotation": 90, "ha": "left", "va": "bottom", "color": SOFT, "fontsize": 8}
                write(axes, margin, 0.02, f" {words}", transform=axes.get_xaxis_transform(), **looks)
        for which, colour, marker in ((True, BLUE, "o"), (False, PURPLE, "D")):
            chosen = [(size, q) for i, size, q in places if (effects[i] in out) is which]
            if chosen:
                scatter(axes, [x for x, _ in chosen], [y for _, y in chosen], colour=colour, marker=marker, size=34)
        _name_points(axes, effects, places, out)
        sizes = [size for _, size, _ in places] + [m for m in margins if m is not None]
        axes.set(xlim=(0, span([0.0, *sizes])[1] * 1.05), ylim=(0, max(q for *_, q in places) * 1.15), yticks=[])
        axes.set_xlabel(with_unit(say.half_normal_axis(brief(response.name, 30)), unit), parse_math=False)
        axes.set_ylabel(say.NOISE_AXIS, parse_math=False)
        alt = _half_normal_alt(effects, out, response.name, unit)
        svg = as_svg(figure, key=key, title=say.half_normal_title(brief(response.name, 60)), description=alt)
    return Figure(
        key=key,
        svg=svg,
        alt=alt,
        caption=_half_normal_caption(margins, unit),
        table=_half_table(effects, out, unit, result.family.aliases),
    )


def _beyond(effects: Sequence[Effect], margin: float | None) -> list[Effect]:
    found = [effect for effect in effects if margin is not None and abs(effect.effect) > margin]
    return sorted(found, key=lambda effect: -abs(effect.effect))


def _name_points(axes, effects, places, out) -> None:  # type: ignore[no-untyped-def]
    """What stands out gets its name left of its mark; names keep clear of one another."""
    reach, top = (
        max(values) or 1.0 for values in zip(*[(size, quantile) for _, size, quantile in places], strict=True)
    )
    named = [place for place in places[-8:] if effects[place[0]] in out or len(places) <= 8]
    # As many letters on a line as there are between the axis and the mark.
    names = [
        wrapped(effects[i].term.replace(":", " × "), width=max(12, int(50 * size / reach))) for i, size, _ in named
    ]
    gap = top * 1.15 * (0.1 if any("\n" in name for name in names) else 0.065)
    heights = spread([quantile for *_, quantile in named], gap, gap / 2, top * 1.1)
    for (_, size, _), name, height in zip(named, names, heights, strict=True):
        # On a scrap of paper, so that a margin's line does not strike the name through.
        scrap = {"facecolor": PAPER, "edgecolor": "none", "pad": 0.8}
        write(axes, size - reach * 0.03, height, name, ha="right", color=INK, fontsize=8.5, bbox=scrap)


def _half_normal_alt(effects: Sequence[Effect], out: Sequence[Effect], response: str, unit: str) -> str:
    name = brief(response)
    if not out:
        largest = max(effects, key=lambda effect: abs(effect.effect))
        said = f"{brief(largest.term)}, {sized(say_signed(largest.effect), unit)}"
        return short_alt(say.none_stands_out(name, said))
    said = f"{brief(out[0].term.replace(':', ' × '))}, {sized(say_signed(out[0].effect), unit)}"
    return short_alt(say.some_stand_out(len(out), len(effects), name, said))


def _half_normal_caption(margins: tuple[float | None, float | None], unit: str) -> str:
    one, every = (f"{say_number(m)} {unit}".rstrip() if m is not None else say.NOT_KNOWN for m in margins)
    return say.half_normal_caption(one, every)


def _half_table(
    effects: Sequence[Effect], out: Sequence[Effect], unit: str, aliases: Sequence[tuple[str, ...]]
) -> Table:
    """With the aliases of each effect spelled out, where there are any."""
    twins = {chain[0]: ", ".join(say_term(term) for term in chain[1:]) for chain in aliases}
    ranked = sorted(effects, key=lambda effect: -abs(effect.effect))
    shown = f" ({unit})" if unit else ""
    rows = [
        (e.term.replace(":", " × "), say_signed(e.effect, e.margin), say.STANDS_OUT if e in out else say.WITHIN_NOISE)
        for e in ranked
    ]
    columns = say.columns_of_half_normal(shown)
    if not twins:
        return Table(columns=columns, rows=tuple(rows))
    wider = tuple((*row, twins.get(e.term, "–")) for row, e in zip(rows, ranked, strict=True))
    return Table(columns=say.columns_with_aliases(columns), rows=wider)
