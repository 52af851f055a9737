"""Does every picture say its finding, survive any name, and come with its numbers?"""

from __future__ import annotations

import itertools
import re
from dataclasses import replace
from xml.etree import ElementTree

import pandas as pd
import pytest

from analysis.estimates import Mean
from analysis.results import ResponseResult
from reports.figures.checks import _mark_off, days, draw_residuals_by_fit, draw_residuals_by_order
from reports.figures.dose import draw_dose
from reports.figures.effects import draw_effects, draw_half_normal
from reports.figures.interaction import _name_ends, draw_interaction
from reports.figures.means import draw_means
from reports.figures.picture import LONGEST_ALT, Figure, Table
from reports.figures.style import canvas, spread
from reports.figures.taste import count_tags, draw_taste, tags_of

HOSTILE = (
    "$x_1^2$",
    "<script>alert(1)</script>",
    "שמרים",
    "خميرة",
    "小苏打",
    "\\frac{a}{b}$",
    "a" * 300,
    "x\x00\x1b\ny",
    " ",
)


def pictures(answers, notes) -> dict[str, Figure]:
    dose, screening, factorial = (answers[k]().responses[0] for k in ("dose", "screening", "factorial"))
    joint = next(f for f in factorial.findings if f.kind == "interaction")
    drawn = {
        "effects": draw_effects(factorial, key="a"),
        "half normal": draw_half_normal(screening, key="b"),
        "dose": draw_dose(dose, key="c", dose_unit="% flour"),
        "interaction": draw_interaction(factorial, joint, key="d", units={"powder": "% flour"}),
        "means": draw_means(factorial, "mixing", key="e"),
        "by fit": draw_residuals_by_fit(factorial, key="f", sentence="Even."),
        "by order": draw_residuals_by_order(factorial, key="g", sentence="No drift."),
        "taste": draw_taste(notes, key="h"),
    }
    missing = [name for name, figure in drawn.items() if figure is None]
    assert missing == []
    return {name: figure for name, figure in drawn.items() if figure is not None}


def test_every_picture_has_a_short_alt_with_a_number_a_caption_and_a_table(answers, notes):
    for name, figure in pictures(answers, notes).items():
        assert 20 < len(figure.alt) <= LONGEST_ALT, name
        assert re.search(r"\d", figure.alt), name
        assert figure.caption, name
        assert figure.table.rows, name
        assert {len(row) for row in figure.table.rows} == {len(figure.table.columns)}, name


def test_every_picture_can_stand_in_a_page_under_the_strictest_policy(answers, notes):
    for name, figure in pictures(answers, notes).items():
        root = ElementTree.fromstring(figure.svg)
        tags = {element.tag.split("}")[1] for element in root.iter()}
        assert tags <= {"svg", "title", "desc", "g", "defs", "path", "use", "clipPath", "rect", "text"}, name
        attributes = {attribute for element in root.iter() for attribute in element.attrib}
        assert not attributes & {"style", "class", "onload"}, name
        assert root.get("role") == "img"
        named = {root.get("aria-labelledby"), root.get("aria-describedby")}
        assert named <= {element.get("id") for element in root.iter()}, name
        links = [e.get("href", "#") for e in root.iter()] + re.findall(r"url\((.[^)]*)\)", figure.svg)
        assert all(link.startswith("#") for link in links), name


def test_colours_follow_the_page(answers, notes):
    for name, figure in pictures(answers, notes).items():
        loose = re.findall(r'="(#[0-9a-f]{6})"', figure.svg)
        assert loose == [], name
        assert "var(--ink" in figure.svg, name


def test_names_of_two_pictures_never_meet(answers, notes):
    seen: set[str] = set()
    for figure in pictures(answers, notes).values():
        own = set(re.findall(r' id="([^"]*)"', figure.svg))
        assert not own & seen
        assert all(name.startswith(figure.key + "-") for name in own)
        seen |= own


def test_a_picture_drawn_twice_is_the_same(answers, notes):
    once, again = pictures(answers, notes), pictures(answers, notes)
    assert all(once[name] == again[name] for name in once)


def test_a_machine_with_its_own_matplotlib_settings_draws_the_same(answers):
    import matplotlib as mpl

    result = answers["factorial"]().responses[0]
    plain = draw_effects(result, key="a")
    with mpl.rc_context({"font.size": 23, "axes.facecolor": "red", "svg.fonttype": "none", "text.usetex": False}):
        assert draw_effects(result, key="a") == plain


def test_effects_stand_in_rank_order_with_their_verdicts(answers):
    result = answers["factorial"]().responses[0]
    figure = draw_effects(result, key="a")
    assert figure is not None
    assert [row[0] for row in figure.table.rows] == ["powder", "powder × mixing", "mixing"]
    assert figure.table.rows[0] == ("powder", "+15.0", "12.8", "17.2", "matters", "1 to 3 % flour")
    assert figure.alt == "Effects on rise height. Most telling: powder, +15.0 mm (95 % interval 12.8 to 17.2)."


def test_the_half_normal_picture_names_margins_in_words(answers):
    figure = draw_half_normal(answers["screening"]().responses[0], key="a")
    assert figure is not None
    assert "0.9 mm stands out by itself; beyond 1.82 mm" in figure.caption
    assert [row[2] for row in figure.table.rows].count("stands out") == 3
    assert figure.alt == "3 of 15 effects on rise height stand out; the largest is powder, +4.01 mm."


def test_replicated_trials_get_no_half_normal_picture(answers):
    assert draw_half_normal(answers["factorial"]().responses[0], key="a") is None


def test_dose_table_holds_each_curve(answers):
    figure = draw_dose(answers["dose"]().responses[0], key="a", dose_unit="% flour")
    assert figure is not None
    assert [row[:4] for row in figure.table.rows] == [
        ("lemon juice", "1.70", "1.56", "1.87"),
        ("yogurt", "1.50", "1.36", "1.67"),
        ("cream of tartar", "1.85", "1.71", "2.02"),
    ]
    assert "adjusted to the average block" in figure.caption
    assert "to within the difference that matters" in figure.caption


def test_more_than_four_curves_get_a_small_picture_each(answers):
    result = answers["dose"]().responses[0]
    part = result.family.dose
    curves = tuple(replace(part.curves[i % 3], level=f"acid {i}") for i in range(14))
    many = _with(result, dose=replace(part, curves=curves))
    figure = draw_dose(many, key="a")
    assert figure is not None
    assert len(figure.table.rows) == 14
    assert "12 of 14 curves are drawn; the table has all." in figure.caption


@pytest.mark.parametrize("hostile", HOSTILE)
def test_any_name_stays_text(answers, hostile):
    """No formula is parsed, nothing comes alive, no glyph is missed: warnings are errors here."""
    result = answers["factorial"](names=("by hand", "whisk", hostile)).responses[0]
    named = replace(result.response, name=hostile, unit=hostile)
    result = replace(result, response=named)
    joint = next(f for f in result.findings if f.kind == "interaction")
    notes = pd.DataFrame({"treatment": ["a", hostile], "tags": [[hostile], [hostile, "fine"]]})
    figures = [
        draw_effects(result, key="a"),
        draw_interaction(result, joint, key="b", units={"powder": hostile}),
        draw_means(result, "mixing", key="c", unit=hostile),
        draw_residuals_by_fit(result, key="d", sentence=hostile),
        draw_taste(notes, key="e"),
    ]
    for figure in figures:
        assert figure is not None
        root = ElementTree.fromstring(figure.svg)
        tags = {element.tag.split("}")[1] for element in root.iter()}
        assert not tags & {"script", "foreignObject", "style", "image", "a"}
        assert len(figure.alt) <= LONGEST_ALT


def test_words_that_the_font_cannot_draw_become_real_text(answers):
    result = answers["factorial"](names=("by hand", "whisk", "小苏打")).responses[0]
    figure = draw_means(result, "mixing", key="c")
    assert figure is not None
    texts = [element.text for element in ElementTree.fromstring(figure.svg).iter("{http://www.w3.org/2000/svg}text")]
    assert texts == ["小苏打"]


def test_two_hundred_levels_are_thinned_and_say_so(answers):
    result = answers["factorial"]().responses[0]
    levels = [
        Mean(factor="mixing", level=f"way {i}", mean=float(i), se=1.0, low=i - 2.0, high=i + 2.0) for i in range(200)
    ]
    figure = draw_means(_with(result, means=tuple(levels)), "mixing", key="a")
    assert figure is not None
    assert "Every 7th level is named here; the table names all." in figure.caption
    assert len(figure.table.rows) == 200
    assert len(figure.svg) < 400_000


def test_one_bake_and_constant_data_draw_nothing_false(answers):
    result = answers["factorial"]().responses[0]
    one = _with(result, points=result.family.points[:1])
    assert draw_residuals_by_fit(one, key="a", sentence="") is None
    same = tuple(replace(p, observed=2.0, fitted=2.0, residual=0.0) for p in result.family.points)
    assert draw_residuals_by_order(_with(result, points=same), key="a", sentence="") is None
    flat = tuple(replace(m, mean=2.0, low=2.0, high=2.0) for m in result.family.means)
    figure = draw_means(_with(result, points=same, means=flat), "mixing", key="a")
    assert figure is not None
    assert "nan" not in figure.svg.casefold().replace("nance", "")
    assert {row[1] for row in figure.table.rows} == {"2"}


def test_effects_without_intervals_say_so(answers):
    result = answers["factorial"]().responses[0]
    bare = replace(result, findings=tuple(replace(f, low=None, high=None, matters="unsure") for f in result.findings))
    figure = draw_effects(bare, key="a")
    assert figure is not None
    assert "there was nothing to judge an interval against" in figure.caption
    assert {row[2:5] for row in figure.table.rows} == {("–", "–", "cannot tell")}


@pytest.mark.parametrize(
    ("cell", "tags"),
    [
        (["Soapy", "soapy "], ["soapy"]),
        ('["a", "b"]', ["a", "b"]),
        ("a, b", ["a", "b"]),
        ("", []),
        (None, []),
        (float("nan"), []),
        ({"b", "a"}, ["a", "b"]),
    ],
)
def test_tags_are_read_however_they_come(cell, tags):
    assert tags_of(cell) == tags


def test_a_tag_counts_once_for_each_note(notes):
    counts = count_tags(notes)
    assert counts.counts["gummy"]["soda 0.5"] == 2
    assert counts.share("soapy", "soda 2.5") == pytest.approx(2 / 3)
    assert counts.notes.total() == len(notes)


def test_numbers_stand_right_aligned_and_words_do_not():
    table = Table(columns=("a", "b", "c", "d"), rows=(("x", "+1.5", "1 mm", "–"), ("y", "–", "2", "–")))
    assert table.numeric == (False, True, False, False)


def test_labels_keep_their_distance_and_their_order():
    placed = spread([5.0, 5.1, 5.05, 0.0], 1.0, 0.0, 10.0)
    assert sorted(range(4), key=placed.__getitem__) == [3, 0, 2, 1]
    ordered = sorted(placed)
    assert min(b - a for a, b in itertools.pairwise(ordered)) >= 1.0 - 1e-9
    assert spread([], 1.0, 0.0, 1.0) == []


def _with(result: ResponseResult, **parts: object) -> ResponseResult:
    return replace(result, family=replace(result.family, **parts))


def test_a_line_of_amounts_says_what_it_is_an_amount_of():
    """ "45" alone would not say whether it is minutes or grams; a name such as "yogurt" stands alone."""
    mean = Mean(factor="rest time", level="1", mean=12.0, se=None, low=None, high=None)
    with canvas(3.5) as (_, (axes,)):
        _name_ends(axes, {"5": [mean], "45": [replace(mean, mean=14.0)]}, (10.0, 16.0), "rest time", "min")
        _name_ends(axes, {"yogurt": [mean]}, (10.0, 16.0), "acid", "")
        said = [" ".join(text.get_text().split()) for text in axes.texts]
    assert said == ["rest time", "5 min", "45 min", "yogurt"]


def test_days_are_marked_off_only_where_they_were_baked_in_turn(answers):
    family = answers["factorial"]().responses[0].family
    points = sorted(family.points, key=lambda point: point.order)
    in_turn = [replace(point, block=f"day {1 + at // 9}") for at, point in enumerate(points)]
    assert days(in_turn) == (("day 1", 1.0, 9.0), ("day 2", 10.0, 18.0))
    assert days([replace(point, block=f"day {at % 2}") for at, point in enumerate(points)]) == ()
    assert days([replace(point, block=None) for point in points]) == ()


def test_the_order_picture_names_its_days(answers):
    result = answers["factorial"]().responses[0]
    points = sorted(result.family.points, key=lambda point: point.order)
    marked = _with(result, points=tuple(replace(p, block=str(1 + at // 9)) for at, p in enumerate(points)))
    plain = draw_residuals_by_order(_with(result, points=tuple(points)), key="k", sentence="s")
    named = draw_residuals_by_order(marked, key="k", sentence="s", block="bake day")
    assert plain is not None
    assert named is not None
    assert named.svg != plain.svg
    with canvas(2.4) as (_, (axes,)):
        _mark_off(axes, [("bake day 1", 1.0, 9.0), ("bake day 2", 10.0, 18.0)])
        assert [text.get_text() for text in axes.texts] == ["bake day 1", "bake day 2"]
        assert [list(line.get_xdata()) for line in axes.lines] == [[9.5, 9.5]]
