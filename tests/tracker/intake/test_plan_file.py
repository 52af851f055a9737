"""A plan is read whole, or refused with everything that is wrong, in words, with lines."""

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.errors import InputError, NotFound
from tracker.intake.plan_file import load_plan, read_plan

SODA = """
title = "Soda amount against three acid sources"
question = "How much soda gives full rise without a soapy crumb, and does the acid source change it?"
formula = "yogurt loaf"
flour_per_bake_g = 300

[[factor]]
name = "soda"
kind = "amount"
unit = "% flour"
low = 0.5
high = 2.5
ingredient = "baking soda"      # the formula line it sets

[[factor]]
name = "acid source"
kind = "category"
levels = ["lemon juice", "yogurt", "cream of tartar"]
neutralises = "baking soda"

[[response]]
name = "rise height"
unit = "mm"
goal = "maximise"
matters = 3.0
plausible = [10, 120]

[[response]]
name = "crumb score"
scale = "score"
anchors = ["gummy", "coarse", "fair", "fine", "fine and even"]
goal = "maximise"
matters = 1

[design]
kind = "full factorial"
levels = 4
replicates = 2
block = "bake day"
block_size = 12
seed = 20261125
"""

INLINE = """
[formula]
name = "loaf"
method = "Mix.\\nBake."
[[formula.line]]
ingredient = "wheat flour"
bakers_percent = 100
[[formula.line]]
ingredient = "water"
bakers_percent = 65
[[formula.line]]
ingredient = "baking soda"
bakers_percent = 1.5
"""


def problem(text):
    with pytest.raises(InputError) as caught:
        read_plan(text)
    assert caught.value.try_this
    return caught.value


def inline():
    return SODA.replace('formula = "yogurt loaf"\n', "") + INLINE


def test_the_example_reads_as_it_stands():
    plan = read_plan(SODA)
    assert (plan.formula_name, plan.formula, plan.flour_per_bake_g) == ("yogurt loaf", None, 300)
    soda, acid = plan.factors
    assert (soda.low, soda.high, soda.ingredient) == (0.5, 2.5, "baking soda")
    assert acid.level_names == ["lemon juice", "yogurt", "cream of tartar"]
    assert plan.responses[0].plausible == [10, 120]
    assert plan.design.block_size == 12


def test_a_formula_may_travel_with_the_plan():
    plan = read_plan(inline())
    assert plan.formula.grams(300) == (("wheat flour", 300), ("water", 195), ("baking soda", 4.5))
    assert plan.formula.method == "Mix.\nBake."


@pytest.mark.parametrize("name", ["soda-and-acid", "powder-ladder", "cookie-screening", "soda-in-autumn"])
def test_the_plans_of_the_demo_kitchen_are_read(name):
    path = Path(__file__).parents[3] / "demo_data" / "plans" / f"{name}.toml"
    assert load_plan(path).responses


@pytest.mark.parametrize(
    ("old", "new", "words", "try_this"),
    [
        ("flour_per_bake_g", "flour_per_batch_g", '"flour_per_batch_g" is no key here', "flour_per_bake_g"),
        ('ingredient = "', 'ingredent = "', '"ingredent" is no key here', "ingredient"),
        ("low = 0.5", "low = 3", "low = 3 is not below high = 2.5", "low"),
        ("low = 0.5", "low = nan", "no number", "finite"),
        ("low = 0.5", "low = inf", "no number", "finite"),
        ("low = 0.5", 'low = "0.5"', "not a number", "1.5"),
        ("low = 0.5", "values = [1, 3]\nlow = 0.5", "3 lies outside", "leave out low and high"),
        ("low = 0.5", "values = [1, 1]\nlow = 0.5", "1 stands twice", "each dose once"),
        ("low = 0.5\nhigh = 2.5\n", "", "doses of", "low"),
        ("low = 0.5\n", 'low = 0\nspacing = "geometric"\n', "equal ratios", "low"),
        ('unit = "% flour"\n', "", "unit is missing", "% flour"),
        ('"yogurt", "cream', '"yogurt", "yogurt", "cream', '"yogurt" stands twice', "once"),
        ('"yogurt", "cream', '"yogurt", "Yogurt", "cream', "differ only in case", "once"),
        (
            'levels = ["lemon juice", "yogurt", "cream of tartar"]',
            'levels = ["yogurt"]',
            "at least two levels",
            "levels",
        ),
        ("neutralises", 'reference = "yoghurt"\nneutralises', 'reference "yoghurt" is no level', '"yogurt"'),
        ('name = "acid source"', 'name = "Soda"', "that of a factor already", "its own"),
        ('name = "crumb score"', 'name = "soda"', "that of a factor already", "its own"),
        ('block = "bake day"', 'block = "soda"', "that of a factor already", "its own"),
        ('name = "soda"', 'name = "order"', "every table of bakes", "another name"),
        ("anchors = [", "# anchors = [", "no words for its steps", "anchors"),
        ('unit = "mm"\ngoal = "maximise"', 'goal = "target"', "without a target", "target ="),
        ("matters = 3.0", "target = 40", "not to hit it", 'goal = "target"'),
        ("matters = 3.0", "matters = 0", '"matters" is 0', "more than 0"),
        ("plausible = [10, 120]", "plausible = [120, 10]", "does not rise", "lowest"),
        ("plausible = [10, 120]", "plausible = [10, 120]\npossible = [20, 100]", "outside the possible", "possible"),
        ("plausible = [10, 120]", "plausible = [10]", "has 1 value", "at least 2"),
        ("matters = 3.0", "accept = [60, 40]", "does not rise", "lowest"),
        ("matters = 3.0", "accept = {}", '"accept" names no end', "{ at_least = 40 }"),
        ("matters = 3.0", "accept = { at_lest = 40 }", '"accept" names at_lest', "{ at_least = 40 }"),
        ("matters = 3.0", 'accept = { at_most = "8" }', '"accept" has no number as at_most', "{ at_least = 40 }"),
        ("matters = 3.0", "accept = { at_least = 60, at_most = 40 }", "does not rise", "lowest"),
        ("matters = 3.0", "accept = 40", '"accept" cannot be read', "{ at_least = 40 }"),
        ("matters = 3.0", "importance = 0", '"importance" is 0', "more than 0"),
        ('unit = "mm"\ngoal = "maximise"', "accept = [40, 60]", "there is no goal", "maximise"),
        (
            'unit = "mm"\ngoal = "maximise"',
            'goal = "target"\ntarget = 70\naccept = [40, 60]',
            "outside what is acceptable",
            "accept = ",
        ),
        (
            'unit = "mm"\ngoal = "maximise"',
            'goal = "target"\ntarget = 70\naccept = { at_most = 60 }',
            "outside what is acceptable",
            "accept = ",
        ),
        ('block = "bake day"\n', "", "but not of what", "block ="),
        ("levels = 4", 'levels = "4"', '"levels" cannot be read', "whole number"),
        ("levels = 4", "whole_plots = 1", '"whole_plots" is 1', "2 or more"),
        ("levels = 4", 'axial = "far"', '"axial" cannot be read', "rotatable"),
        ("levels = 4", 'rows = "soda"', 'The name "soda" of these rows', "a name of its own"),
        ("seed = 20261125", "seed = -1", '"seed" is -1', "0 or more"),
        ("seed = 20261125", "seed = 99999999999", '"seed" is', "2147483647 or less"),
        ("replicates = 2", "replicates = true", "not a whole number", "2"),
        ('title = "Soda', 'title = "So\\u0000da', "control character U+0000", "plain text"),
        ('title = "Soda', 'title = "So\\u202Eda', "control character U+202E", "plain text"),
        ('title = "Soda amount against three acid sources"', 'title = " "', '"title" is empty', "plain text"),
        ("title = ", "title ", "not written in TOML", "key = value"),
        ("[design]", "[desing]", '"desing" is no key here', "design"),
        ("flour_per_bake_g = 300\n", "", "How much flour", "flour_per_bake_g"),
        ('kind = "category"', 'kind = "categroy"', '"kind" is "categroy"', "category"),
        (
            'neutralises = "baking soda"',
            "neutralises = 1.5\namounts = { yogurt = 3 }",
            "Both neutralises and amounts",
            "one of",
        ),
        (
            'neutralises = "baking soda"',
            "amounts = { yogurt = 3, kefir = 3 }",
            '"kefir" under amounts is no level',
            "yogurt",
        ),
        ('neutralises = "baking soda"', "amounts = { yogurt = 3 }", "leaves out lemon juice", "= 0"),
        ('neutralises = "baking soda"', 'ingredient = "yogurt"', "does not belong to a category", "levels"),
        ('ingredient = "baking soda"', 'neutralises = "yogurt"', "does not belong to an amount", "ingredient"),
        ('kind = "amount"', 'kind = "share"', "the only share", "makes up the rest"),
    ],
)
def test_a_contradiction_is_told_in_words_with_a_way_out(old, new, words, try_this):
    assert old in SODA
    error = problem(SODA.replace(old, new, 1))
    assert words in error.what
    assert try_this in error.what + error.try_this


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ('ingredient = "baking soda"      #', 'ingredient = "bakng soda"      #', 'no line "bakng soda"'),
        ("neutralises =", 'water_back = "milk"\nneutralises =', 'no line "milk"'),
        ("neutralises =", 'replaces = "lard"\nneutralises =', 'no line "lard"'),
        ('neutralises = "baking soda"', 'neutralises = "washing soda"', "not in the formula"),
        ('neutralises = "baking soda"', 'lines = { yogurt = "kefir" }', 'sets the line "lemon juice"'),
        ("bakers_percent = 100", "bakers_percent = 90", "add up to 90 %"),
        ("bakers_percent = 65", "bakers_percent = -1", '"bakers_percent" of "line", value 2, is -1'),
        ("bakers_percent = 65", "baker_percent = 65", '"baker_percent" is no key here'),
        ('ingredient = "water"', 'ingredient = "Wheat flour"', "two lines"),
    ],
)
def test_what_factors_and_formula_say_must_agree(old, new, words):
    assert old in inline()
    assert words in problem(inline().replace(old, new, 1)).what


def test_an_ingredient_that_no_line_has_yet_is_added_not_refused():
    plan = read_plan(inline().replace('ingredient = "baking soda"      #', 'ingredient = "xanthan"      #'))
    assert plan.factors[0].ingredient == "xanthan"


def test_a_stored_formula_is_checked_the_same_way():
    plan = read_plan(SODA)
    plan.check_against(("wheat flour", "baking soda"))
    with pytest.raises(InputError, match="bakng soda"):
        read_plan(SODA.replace('ingredient = "baking soda"', 'ingredient = "bakng soda"')).check_against(
            ("baking soda",)
        )


def test_all_problems_are_told_together_each_with_its_line():
    text = SODA.replace("low = 0.5", "low = 3").replace("block = ", "blok = ").replace('"score"', '"scor"')
    error = problem(text)
    assert error.what.startswith("The plan has 3 problems")
    lines = text.splitlines()
    for wrong in ("low = 3", "blok = ", 'scale = "scor"'):
        number = next(at for at, line in enumerate(lines, start=1) if line.startswith(wrong))
        assert f"line {number}:" in error.what


def test_a_lone_problem_says_where_it_stands():
    error = problem(SODA.replace("matters = 1\n", "matters = -1\n"))
    assert error.where == f"plan, response 2, line {SODA.splitlines().index('matters = 1') + 1}"


@pytest.mark.parametrize("table", ["factor", "response", "design"])
def test_a_missing_table_is_named(table):
    text = SODA.replace(f"[[{table}]]", f"[[{table}_]]").replace(f"[{table}]", f"[{table}_]")
    assert f"[{table}]" in problem(text).what


def test_no_plan_at_all():
    assert "title" in problem("\n").what
    assert "not a list of tables" in problem(SODA.replace("[[factor]]", "[factor]", 1).split("[[factor]]")[0]).what
    assert "no plan needs" in problem("a = " + "[" * 50_000).what
    assert "no plan needs" in problem("a = " + "9" * 5_000).what


def test_names_keep_one_spelling_and_single_spaces():
    plan = read_plan(SODA.replace('name = "soda"', 'name = " cre\\u0301me  soda "'))
    assert plan.factors[0].name == "créme soda"


def test_files_are_found_read_and_refused(tmp_path):
    path = tmp_path / "soda.toml"
    path.write_text("\ufeff" + SODA, encoding="utf-8")
    assert load_plan(path).title == load_plan(str(path)).title == load_plan(SODA).title
    with pytest.raises(NotFound) as caught:
        load_plan(tmp_path / "sode.toml")
    assert "soda.toml" in caught.value.try_this
    path.write_bytes(b"title = '\xff\xfe'")
    with pytest.raises(InputError, match="UTF-8"):
        load_plan(path)
    path.write_bytes(b"#" * 1_000_001)
    with pytest.raises(InputError, match="too large"):
        load_plan(path)
    with pytest.raises(InputError, match="cannot be read"):
        load_plan(tmp_path)


@given(st.text(max_size=300))
def test_any_text_is_a_plan_or_is_refused(text):
    with pytest.raises(InputError):
        read_plan(text)


@given(
    st.sampled_from([at for at, line in enumerate(SODA.splitlines()) if "=" in line]),
    st.sampled_from(
        ["0", "-1", "nan", '""', '"x"', "[]", "[[]]", "{}", "{a = 1}", "true", "1e400", "2026-01-01", "[1, 'a']"]
    ),
)
def test_any_value_in_any_place_is_kept_or_refused_in_words(at, value):
    lines = SODA.splitlines()
    lines[at] = f"{lines[at].split('=')[0]}= {value}"
    error = refusal("\n".join(lines))
    assert error is None or (error.what and error.try_this and "{in" not in error.what + error.try_this)


def refusal(text):
    try:
        read_plan(text)
    except InputError as error:
        return error
    return None
