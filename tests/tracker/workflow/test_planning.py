"""Does a plan file become a trial with its sheet, whole or not at all?"""

import json
import re

import pytest
from sqlmodel import select

from analysis.errors import PlanError
from reports.sheet import bench_sheet
from tracker.errors import Conflict, InputError, NotFound
from tracker.models import Factor, Response, Run, Trial
from tracker.workflow.planning import plan_trial, preview_plan, slug
from tracker.workflow.sheets import make_sheet
from tracker.workflow.trials import close_trial, list_trials, reopen_trial, show_trial

PLAN = """
title = "Soda amount against three acid sources"
question = "How much soda gives full rise, and does the acid source change it?"
flour_per_bake_g = 300

[formula]
name = "tea loaf"
[[formula.line]]
ingredient = "wheat flour"
bakers_percent = 100
flour = true
[[formula.line]]
ingredient = "water"
bakers_percent = 70
[[formula.line]]
ingredient = "baking soda"
bakers_percent = 1

[[factor]]
name = "soda"
kind = "amount"
unit = "% flour"
low = 0.25
high = 0.7
ingredient = "baking soda"

[[factor]]
name = "acid source"
kind = "category"
levels = ["lemon juice", "yogurt", "cream of tartar"]
neutralises = "baking soda"
water_back = true

[[factor]]
name = "oven temperature"
kind = "category"
levels = ["170 °C", "190 °C"]

[[response]]
name = "rise height"
unit = "mm"
goal = "maximise"
matters = 3.0
spread = 2.0
plausible = [10, 120]
pieces = 2

[design]
kind = "full factorial"
levels = 4
replicates = 1
block = "bake day"
block_size = 24
seed = 20261125
accept_few_df = true
"""


def test_a_plan_becomes_a_trial(store):
    planned = plan_trial(store, PLAN)
    assert planned.name == "soda-amount-against-three-acid-sources"
    with store.read() as session:
        trial = session.exec(select(Trial)).one()
        runs = session.exec(select(Run)).all()
        assert trial.plan == PLAN
        assert len(runs) == 24
        assert len({run.code for run in runs}) == 24
        assert [factor.name for factor in session.exec(select(Factor))] == ["soda", "acid source", "oven temperature"]
        assert session.exec(select(Response)).one().pieces == 2
    view = show_trial(store, planned.name)
    assert view.line.state == "planned"
    assert view.runs[0]["settings"]["soda"]["unit"] == "% flour"
    # Nothing in the words on the screen tells a taster which code is which treatment.
    assert not any("lemon" in line for line in view.summary().splitlines() if re.match(r"\s+\d+\. \d{3}", line))


def test_the_same_plan_and_seed_give_the_same_runs(store):
    planned = plan_trial(store, PLAN, name="one")
    again = preview_plan(PLAN)
    assert planned.plan == again.plan
    other = preview_plan(PLAN, seed=7)
    assert [run.code for run in other.plan.runs] != [run.code for run in again.plan.runs]


def test_a_plan_without_a_seed_stores_the_one_that_was_drawn(store):
    plan_trial(store, PLAN.replace("seed = 20261125\n", ""))
    with store.read() as session:
        trial = session.exec(select(Trial)).one()
    assert trial.seed is not None
    assert json.loads(trial.design)["seed"] == trial.seed


def test_a_name_is_never_taken_twice(store):
    plan_trial(store, PLAN, name="loaf")
    with pytest.raises(Conflict, match="already"):
        plan_trial(store, PLAN, name="loaf")
    assert len(list_trials(store)) == 1


def test_the_acid_is_weighed_to_neutralise_the_soda_of_its_run(store):
    planned = plan_trial(store, PLAN, name="loaf")
    sheet = make_sheet(store, "loaf")
    settings = {run.code: run.settings for run in planned.plan.runs}
    for day in sheet.days:
        for run in day.runs:
            grams = {line.ingredient: float(line.grams) for line in run.weights}
            soda = 300 * settings[run.code]["soda"] / 100
            assert grams["baking soda"] == pytest.approx(soda, abs=0.006)
            if settings[run.code]["acid source"] == "cream of tartar":
                # 188.176 g of cream of tartar neutralise 84.006 g of soda (stoichiometry).
                assert grams["cream of tartar"] == pytest.approx(soda * 188.176 / 84.006, abs=0.06)
            else:
                assert grams["water"] < 210  # the acid's own water was taken off
            # What is set at the oven stands on the sheet, what is weighed only as weights.
            assert [name for name, _ in run.settings] == ["oven temperature"]


def test_the_sheet_prints_every_run_with_its_code(store):
    plan_trial(store, PLAN, name="loaf")
    page = bench_sheet(make_sheet(store, "loaf"))
    with store.read() as session:
        for code in session.exec(select(Run.code)):
            assert code in page


def test_a_trial_is_closed_and_taken_up_again_for_a_reason(store):
    plan_trial(store, PLAN, name="loaf")
    assert close_trial(store, "loaf", reason="done").state == "closed"
    with pytest.raises(Conflict):
        close_trial(store, "loaf")
    with pytest.raises(InputError, match="reason"):
        reopen_trial(store, "loaf", reason=" ")
    assert reopen_trial(store, "loaf", reason="two runs were forgotten").state == "reopened"
    with pytest.raises(NotFound) as missed:
        show_trial(store, "laof")
    assert "loaf" in missed.value.try_this


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (("[formula]\nname", "[formulla]\nname"), "formula"),
        (('ingredient = "baking soda"\n\n[[factor]]', 'ingredient = "bakingsoda"\n\n[[factor]]'), "bakingsoda"),
        (("block_size = 24", "block_size = 7"), "block"),
        (('"yogurt", ', '"mystery juice", '), "mystery juice"),
        (("replicates = 1\n", "replicates = 0\n"), "replicates"),
    ],
)
def test_a_plan_that_cannot_be_is_refused_and_nothing_is_written(store, change, says):
    broken = PLAN.replace(*change)
    assert broken != PLAN
    with pytest.raises(Exception, match=r"(?i)" + says) as refused:
        plan_trial(store, broken)
    assert refused.value.try_this
    assert list_trials(store) == ()


def test_a_preview_needs_no_kitchen_and_says_so_when_it_does():
    assert preview_plan(PLAN).trial_id is None
    start, rest = PLAN.split("[formula]")
    named = start + 'formula = "tea loaf"\n' + rest[rest.index("[[factor]]") :]
    with pytest.raises(InputError, match="no kitchen"):
        preview_plan(named)


def test_a_stored_formula_is_found_by_name(store):
    plan_trial(store, PLAN, name="first")
    start, rest = PLAN.split("[formula]")
    named = start + 'formula = "tea loaf"\n' + rest[rest.index("[[factor]]") :]
    assert plan_trial(store, named, name="second").trial_id is not None
    with pytest.raises(NotFound, match="tee loaf"):
        plan_trial(store, named.replace('"tea loaf"', '"tee loaf"'), name="third")


@pytest.mark.parametrize(
    ("title", "name"), [("Soda, three acids!", "soda-three-acids"), ("Crème brûlée", "creme-brulee"), ("…", "trial")]
)
def test_a_title_becomes_a_name_to_type(title, name):
    assert slug(title) == name


def test_a_decimal_comma_among_the_doses_is_asked_about():
    """TOML reads [0,5, 1] as 0, 5 and 1."""
    plan = PLAN.replace("low = 0.25\nhigh = 0.7", "values = [0,5, 1]").replace("levels = 4\n", "")
    with_water = plan.replace("bakers_percent = 70", "bakers_percent = 700").replace(
        "block_size = 24", "block_size = 18"
    )
    said = " ".join(preview_plan(with_water).cautions)
    assert "values of soda do not rise (0, 5, 1)" in said


def test_the_sheet_says_how_each_run_is_made(store):
    plan_trial(
        store,
        PLAN.replace('name = "tea loaf"', 'name = "tea loaf"\nmethod = "Bake 40 minutes at 180 °C."'),
        name="loaf",
    )
    assert "Bake 40 minutes at 180 °C." in bench_sheet(make_sheet(store, "loaf"))


BLEND = """
title = "Which blend of flours"
flour_per_bake_g = 200

[formula]
name = "crispbread"
[[formula.line]]
ingredient = "wheat flour"
bakers_percent = 100
flour = true
[[formula.line]]
ingredient = "water"
bakers_percent = 60
{shares}
[[response]]
name = "spread ratio"

[design]
kind = "full factorial"
"""


def share(name, **keys):
    told = "".join(f"{key} = {json.dumps(value)}\n" for key, value in keys.items())
    return f'[[factor]]\nname = "{name}"\nkind = "share"\nunit = "% flour"\nof = "flour"\ningredient = "{name}"\n{told}'


def test_shares_of_a_whole_are_refused_a_factorial_with_the_reason():
    with pytest.raises(PlanError, match="when it goes up, others go down"):
        preview_plan(BLEND.format(shares=share("wheat flour") + share("rye flour")))


@pytest.mark.parametrize(
    ("shares", "match"),
    [
        (share("wheat flour"), "only share"),
        (share("wheat flour") + share("rye flour", total=90), "same whole"),
        (share("wheat flour") + share("rye flour").replace('of = "flour"', 'of = "fat"'), "another whole"),
        (share("wheat flour", low=60, high=50) + share("rye flour"), "not below"),
        (share("wheat flour", high=120) + share("rye flour"), "no share of 100"),
        (share("wheat flour", values=[1, 2]) + share("rye flour"), "does not belong to a share"),
    ],
)
def test_shares_that_make_no_whole_say_why(shares, match):
    with pytest.raises(InputError, match=match):
        preview_plan(BLEND.format(shares=shares))


def test_each_run_keeps_the_groups_it_stands_in(store):
    plan_trial(store, PLAN.replace("[design]", "[design]\noven_holds = 3"), name="loads")
    with store.read() as session:
        runs = session.exec(select(Run)).all()
    groups = [json.loads(run.groups) for run in runs]
    assert all(each["bake day"] == run.block for each, run in zip(groups, runs, strict=True))
    loads = {}
    for each in groups:
        loads.setdefault(each["oven load"], []).append(each)
    assert all(len({each["bake day"] for each in load}) == 1 for load in loads.values())
    assert all(len({each["oven place"] for each in load}) == len(load) <= 3 for load in loads.values())
