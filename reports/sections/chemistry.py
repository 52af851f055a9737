"""How much gas, what was left over, and where did the pH lie, treatment by treatment?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.results import Analysis
from analysis.words import say_level
from analysis.words.chemistry import MODEL_CAUTION, say_chemistry, say_odd_ph, say_tag_link
from analysis.words.numbers import with_unit
from reports.figures.picture import Table
from reports.html import plain
from reports.sections.blocks import Grid, Items, Picture, Section, Words
from reports.sections.numbering import Keys

if TYPE_CHECKING:
    from pandas import DataFrame

MOST_LINKS = 4


def chemistry_section(
    analysis: Analysis, chemistry: DataFrame | None, notes: DataFrame | None, keys: Keys
) -> Section | None:
    """The account of each treatment beside the findings; None for a trial without a formula to weigh."""
    if chemistry is None or not len(chemistry):
        return None
    # The chemistry loads SciPy; a page without it does not wait for that.
    from analysis.leavening.measured import odd_ph
    from analysis.leavening.runs import PREDICTED_PH
    from reports.figures.chemistry import draw_ph

    blocks: list[Words | Items | Picture | Grid] = []
    said = tuple(
        say_chemistry(part, result.response, analysis.question.confidence)
        for result in analysis.responses
        for part in result.chemistry
    )
    said += _tags_said(chemistry, notes)
    if said:
        blocks.append(Items(items=tuple(map(plain, said))))
    blocks.append(Grid(caption="Gas, left-over soda and acid, and pH by treatment", table=_table(analysis, chemistry)))
    if "measured_ph" in chemistry and chemistry[PREDICTED_PH].notna().any():
        both = chemistry.dropna(subset=["measured_ph", PREDICTED_PH])
        figure = draw_ph(both, key=keys())
        if figure is not None:
            blocks.append(Picture(figure=figure, fold=True))
        odd = odd_ph(list(both["bake"]), list(both["measured_ph"]), list(both[PREDICTED_PH]))
        blocks.append(Words(text=plain(say_odd_ph(odd))))
    blocks.append(Words(text=MODEL_CAUTION, tone="quiet"))
    return Section(key="chemistry", title="Gas, acid and pH", blocks=blocks)


def _tags_said(chemistry: DataFrame, notes: DataFrame | None) -> tuple[str, ...]:
    """The most telling links of taste words with chemistry, those that stay open left out unless there is no other."""
    if notes is None or not len(notes) or "bake" not in notes:
        return ()
    from analysis.leavening.runs import PREDICTED_PH, SODA_LEFT
    from analysis.leavening.tags import tag_links
    from reports.figures.taste import tags_of

    tags: dict[str, list[str]] = {}
    for bake, cell in zip(notes["bake"], notes["tags"], strict=True):
        tags.setdefault(str(bake), []).extend(tags_of(cell))
    columns = {"left-over soda": SODA_LEFT, "predicted pH": PREDICTED_PH, "measured pH": "measured_ph"}
    values = {
        said: dict(zip(chemistry["bake"].astype(str), chemistry[name].astype(float), strict=True))
        for said, name in columns.items()
        if name in chemistry
    }
    links = tag_links(tags, values)
    telling = [link for link in links if link.follows != "open"]
    return tuple(say_tag_link(link) for link in (telling or links)[:MOST_LINKS])


def _table(analysis: Analysis, chemistry: DataFrame) -> Table:
    from analysis.leavening.runs import ACID_LEFT, GAS, PREDICTED_PH, SODA_LEFT

    factors = [factor for factor in analysis.question.factors if factor.name in chemistry]
    names = [factor.name for factor in factors]
    rows = []
    for settings, group in chemistry.groupby(names, sort=True, observed=True):
        first = group.iloc[0]
        ph = "–" if first.isna()[PREDICTED_PH] else f"{first[PREDICTED_PH]:.1f}"
        spread = "–" if first.isna()["ph_low"] else f"{first['ph_low']:.1f} to {first['ph_high']:.1f}"
        measured = group["measured_ph"].mean() if "measured_ph" in group else float("nan")
        rows.append(
            (
                *(plain(say_level(value)) for value in settings),
                f"{group[GAS].mean():.0f}",
                f"{group[SODA_LEFT].mean():.2f}",
                f"{group[ACID_LEFT].mean():.1f}",
                ph,
                spread,
                *((f"{measured:.2f}" if measured == measured else "–",) if "measured_ph" in chemistry else ()),
            )
        )
    columns = (
        *(plain(with_unit(f.name, f"({f.unit})" if f.unit else "")) for f in factors),
        "gas, mL in 100 g flour",
        "soda left, g",
        "acid left, meq",
        "crumb pH predicted",
        "range",
        *(("measured",) if "measured_ph" in chemistry else ()),
    )
    return Table(columns=columns, rows=tuple(rows))
