"""Does each run carry its chemistry, at what was really weighed, and is nonsense warned of before baking?"""

import pytest

from tracker.errors import NotFound
from tracker.formulas import FormulaLine, checked
from tracker.workflow.formulas import add_formula
from tracker.workflow.planning import plan_trial, preview_plan
from tracker.workflow.recording import record_run
from tracker.workflow.run_chemistry import formula_balance, trial_chemistry

PLAN = """
title = "Soda in a buttermilk loaf"
name = "loaf"
flour_per_bake_g = 300

[formula]
name = "buttermilk loaf"
[[formula.line]]
ingredient = "wheat flour"
bakers_percent = 100
flour = true
[[formula.line]]
ingredient = "buttermilk"
bakers_percent = 80

[[factor]]
name = "soda"
kind = "amount"
unit = "% flour"
values = [0.3, 0.5, 0.7]
ingredient = "baking soda"

[[response]]
name = "rise height"
unit = "mm"

[design]
kind = "dose ladder"
replicates = 2
seed = 11
"""


def test_each_run_has_gas_soda_left_and_ph(store):
    planned = plan_trial(store, PLAN)
    accounts = trial_chemistry(store, "loaf")
    for run in planned.plan.runs:
        found = accounts[run.code]
        # 80 g of buttermilk (0.8 % lactic) in 100 g of flour use up 0.597 g of soda; 1 g gives 291.2 mL at 25 °C.
        assert found.gas_ml == pytest.approx(291.2 * min(run.settings["soda"], 0.597), rel=0.01)
        assert found.soda_left_g == pytest.approx(max(run.settings["soda"] - 0.597, 0), abs=0.005)
    by_soda = sorted((run.settings["soda"], accounts[run.code].predicted_ph) for run in planned.plan.runs)
    assert [ph for _, ph in by_soda] == sorted(ph for _, ph in by_soda)


def test_what_was_really_weighed_counts(store):
    planned = plan_trial(store, PLAN)
    run = next(run for run in planned.plan.runs if run.settings["soda"] == 0.5)
    record_run(store, "loaf", run.code, ["rise height=40"], weighed=["baking soda=0.6 g"], reason="all there was")
    found = trial_chemistry(store, "loaf")[run.code]
    assert found.gas_ml == pytest.approx(291.2 * 0.2, rel=0.01)


def test_soda_far_beyond_its_acid_is_warned_of_with_a_range_that_makes_sense():
    assert not [said for said in preview_plan(PLAN).cautions if "treatments" in said]
    cautions = preview_plan(PLAN.replace("[0.3, 0.5, 0.7]", "[0.3, 0.5, 2.5]")).cautions
    said = " ".join(cautions)
    assert "1 of 3 treatments" in said
    assert "soda 2.5" in said
    assert "0.597 % of flour" in said


def test_a_stored_formula_has_a_balance(store):
    lines = [("wheat flour", 100.0, True), ("buttermilk", 80.0, False), ("baking soda", 1.2, False)]
    add_formula(
        store,
        checked("loaf", [FormulaLine(ingredient=i, bakers_percent=p, flour=f) for i, p, f in lines]),
    )
    answer = formula_balance(store, "loaf")
    assert answer.document["soda_left_g"] == pytest.approx(1.2 - 0.597, abs=0.005)
    assert answer.document["left_out"] == ["wheat flour"]
    assert "wheat flour" in answer.text
    with pytest.raises(NotFound):
        formula_balance(store, "laof")


def test_the_report_shows_the_account_beside_the_findings(store, tmp_path):
    from tracker.workflow.reporting import report_trial

    planned = plan_trial(store, PLAN)
    for run in planned.plan.runs:
        rise = 30 + 30 * run.settings["soda"] + run.place_in_design % 3
        record_run(store, "loaf", run.code, [f"rise height={rise:.1f}"])
    page = report_trial(store, "loaf", tmp_path / "report.html").report.read_text(encoding="utf-8")
    assert "Gas, acid and pH" in page
    # 0.3 g of soda for 100 g of flour, all used up: 0.3 x 291.2 mL.
    assert "<td>87</td>" in page or ">87<" in page


def test_what_the_kitchen_measured_comes_before_the_tables(store):
    from tracker.workflow.ingredients import keep_measured, list_measured

    keep_measured(store, "Buttermilk", neutralises_g=0.5, ph=4.6)
    keep_measured(store, "buttermilk", neutralises_g=0.9, ph=4.4, source="titrated 3 times")
    (kept,) = list_measured(store)
    assert (kept.neutralises_g, kept.source) == (0.9, "titrated 3 times")
    planned = plan_trial(store, PLAN)
    run = next(run for run in planned.plan.runs if run.settings["soda"] == 0.7)
    # 80 g of it use up 0.72 g of soda: nothing of 0.7 g is left over.
    assert trial_chemistry(store, "loaf")[run.code].soda_left_g == pytest.approx(0, abs=1e-9)


def test_a_measured_acid_weighs_the_runs(store):
    from tracker.workflow.ingredients import keep_measured
    from tracker.workflow.sheets import make_sheet

    plan = PLAN.replace(
        "[[response]]",
        '[[factor]]\nname = "acid"\nkind = "category"\nlevels = ["plum juice", "cream of tartar"]\n'
        'neutralises = "baking soda"\n\n[[response]]',
    ).replace('kind = "dose ladder"', 'kind = "full factorial"')
    with pytest.raises(Exception, match="plum juice"):
        plan_trial(store, plan)
    keep_measured(store, "plum juice", neutralises_g=2.0, ph=3.2, water_share=0.85)
    planned = plan_trial(store, plan)
    settings = {run.code: run.settings for run in planned.plan.runs}
    for day in make_sheet(store, "loaf").days:
        for run in day.runs:
            grams = {line.ingredient: float(line.grams) for line in run.weights}
            if settings[run.code]["acid"] == "plum juice":
                # 100 g use up 2 g: 50 g for each gram of soda.
                assert grams["plum juice"] == pytest.approx(50 * 3 * settings[run.code]["soda"], abs=0.06)


@pytest.mark.parametrize(("key", "value"), [("neutralises_g", -1.0), ("ph", 15.0), ("water_share", 1.2)])
def test_impossible_measurements_are_refused(store, key, value):
    from tracker.errors import InputError
    from tracker.workflow.ingredients import keep_measured, list_measured

    with pytest.raises(InputError, match="impossible"):
        keep_measured(store, "plum juice", **{"neutralises_g": 1.0, key: value})
    assert list_measured(store) == ()


def test_a_trial_can_be_asked_to_follow_the_gas(store):
    from analysis.errors import AnalysisError
    from tracker.errors import InputError
    from tracker.workflow.analysing import analyse_trial
    from tracker.workflow.options import Options

    planned = plan_trial(store, PLAN.replace("[0.3, 0.5, 0.7]", "[0.2, 0.3, 0.4, 0.5]"))
    for run in planned.plan.runs:
        # Rise follows gas: 0.2 mm for each mL in 100 g of flour, and a little scatter.
        rise = 30 + 0.2 * 291.2 * run.settings["soda"] + (run.place_in_design % 3 - 1) * 0.4
        record_run(store, "loaf", run.code, [f"rise height={rise:.2f}"])
    answer = analyse_trial(store, "loaf", options=Options(follow=("gas",), shape="line"))
    (result,) = answer.analysis.responses
    assert result.family.dose.dose == "gas"
    assert result.family.dose.curves[0].parameters["slope"].estimate == pytest.approx(0.2, rel=0.1)
    with pytest.raises(InputError, match="no chemistry called"):
        analyse_trial(store, "loaf", options=Options(follow=("gaz",)))
    with pytest.raises(AnalysisError):  # no run leaves soda over, so there is nothing to follow
        analyse_trial(store, "loaf", options=Options(follow=("soda left",)))


def test_the_account_of_every_run_is_a_table_and_a_document(store):
    from tracker.errors import InputError
    from tracker.workflow.run_chemistry import trial_balance

    planned = plan_trial(store, PLAN)
    answer = trial_balance(store, "loaf")
    assert [run["run"] for run in answer.document["runs"]] == [run.code for run in planned.plan.runs]
    assert answer.document["runs"][0]["co2_available_ml_per_100g_flour"] > 0
    assert planned.plan.runs[0].code in answer.text
    assert "baked and cooled" in answer.text
    bare = PLAN[: PLAN.index("flour_per_bake_g")] + PLAN[PLAN.index("[[factor]]") :].replace(
        'ingredient = "baking soda"\n', ""
    )
    plan_trial(store, bare, name="bare")
    with pytest.raises(InputError, match="no formula"):
        trial_balance(store, "bare")
