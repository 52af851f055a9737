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
    record_run(store, "loaf", run.code, ["rise height=40"], weighed=["baking soda=0.6 g"])
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
    from tracker.workflow.analysing import report_trial

    planned = plan_trial(store, PLAN)
    for run in planned.plan.runs:
        rise = 30 + 30 * run.settings["soda"] + run.place_in_design % 3
        record_run(store, "loaf", run.code, [f"rise height={rise:.1f}"])
    page = report_trial(store, "loaf", tmp_path / "report.html").read_text(encoding="utf-8")
    assert "Gas, acid and pH" in page
    # 0.3 g of soda for 100 g of flour, all used up: 0.3 x 291.2 mL.
    assert "<td>87</td>" in page or ">87<" in page
