"""How much gas, what was left over, and where did the pH lie, treatment by treatment?"""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.results import Analysis
from analysis.words import say_level
from analysis.words import tables as say
from analysis.words.chemistry import MODEL_CAUTION, say_chemistry, say_odd_ph, say_tag_link
from analysis.words.numbers import as_written, say_fixed, with_unit
from reports.figures.picture import Table
from reports.html import plain
from reports.sections.blocks import Grid, Items, Picture, Section, Words
from reports.sections.numbering import Keys

if TYPE_CHECKING:
    from collections.abc import Sequence

    from pandas import DataFrame, Series

MOST_LINKS = 4
CAPTION = say.CHEMISTRY_CAPTION


def chemistry_section(
    analysis: Analysis, chemistry: DataFrame | None, notes: DataFrame | None, keys: Keys
) -> Section | None:
    """The account of each treatment beside the findings; None for a trial without a formula to weigh."""
    if chemistry is None or not len(chemistry):
        return None
    # The chemistry loads SciPy; a page without it does not wait for that.
    from analysis.leavening.measured import FEWEST_BAKES, odd_ph
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
    blocks.append(Grid(caption=CAPTION, table=_table(analysis, chemistry)))
    if "measured_ph" in chemistry and chemistry[PREDICTED_PH].notna().any():
        both = chemistry.dropna(subset=["measured_ph", PREDICTED_PH])
        figure = draw_ph(both, key=keys())
        if figure is not None:
            blocks.append(Picture(figure=figure, fold=True))
        if len(both) >= FEWEST_BAKES:  # fewer are not judged, so nothing is said of them
            odd = odd_ph(list(both["bake"]), list(both["measured_ph"]), list(both[PREDICTED_PH]))
            blocks.append(Words(text=plain(say_odd_ph(odd))))
    blocks.append(Words(text=as_written(MODEL_CAUTION), tone="quiet"))
    return Section(key="chemistry", title=say.GAS_ACID_PH, blocks=blocks)


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
    """One row for each chemistry the treatments have; settings that leave it as it is are not told apart."""
    from analysis.leavening.runs import ACID_LEFT, GAS, PREDICTED_PH, SODA_LEFT

    # Without water there is no pH, and a column of nothing else is no column of numbers.
    chemistry = chemistry.astype(dict.fromkeys((PREDICTED_PH, "ph_low", "ph_high"), float))
    factors = [f for f in analysis.question.factors if f.name in chemistry]
    chemistry = chemistry.assign(**{f.name: _as_stored(chemistry[f.name], f.levels) for f in factors if f.levels})
    told = _telling(chemistry, [f.name for f in factors])
    measured = "measured_ph" in chemistry
    rows = []
    for settings, group in chemistry.groupby(told, sort=True, observed=True) if told else [(("all",), chemistry)]:
        rows.append(
            (
                *(plain(say_level(value)) for value in settings),
                say_fixed(group[GAS].mean(), 0),
                say_fixed(group[SODA_LEFT].mean(), 2),
                say_fixed(group[ACID_LEFT].mean(), 1),
                _or_dash(group[PREDICTED_PH].mean(), 1),
                _range(group["ph_low"].min(), group["ph_high"].max()),
                *((_or_dash(group["measured_ph"].mean(), 2),) if measured else ()),
            )
        )
    columns = say.columns_of_chemistry(
        [plain(with_unit(f.name, f"({f.unit})" if f.unit else "")) for f in factors if f.name in told] or [say.BAKES],
        say.MEASURED_PH if measured else (),
    )
    return Table(columns=columns, rows=tuple(rows))


def _as_stored(column: Series, levels: Sequence[str]) -> Series:
    """Categories in the order in which they were planned; a column with anything else stays as it is."""
    from pandas import CategoricalDtype

    known = column.isin(levels).all()
    return column.astype(CategoricalDtype(list(levels), ordered=True)) if known else column


def _telling(chemistry: DataFrame, names: list[str]) -> list[str]:
    """The factors among whose settings the account differs by more than the table shows."""
    from analysis.leavening.runs import ACID_LEFT, GAS, PREDICTED_PH, SODA_LEFT

    shown = {GAS: 0.5, SODA_LEFT: 0.005, ACID_LEFT: 0.05, PREDICTED_PH: 0.05}
    told = list(names)
    for name in reversed(names):
        others = [other for other in told if other != name]
        cells = chemistry.groupby(told, sort=True, observed=True)[list(shown)].mean().reset_index()
        groups = cells.groupby(others or (lambda _: 0), observed=True)[list(shown)]
        spread = (groups.max() - groups.min()).max()
        if all(not spread[column] > least for column, least in shown.items()):
            told = others
    return told


def _range(low: float, high: float) -> str:
    """ "5.8 to 6.7", kept on one line."""
    return "–" if low != low else say.from_to_unbroken(say_fixed(low, 1), say_fixed(high, 1))


def _or_dash(value: float, decimals: int) -> str:
    return say_fixed(value, decimals) if value == value else "–"
