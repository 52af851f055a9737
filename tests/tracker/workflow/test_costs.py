"""Are prices kept, and is the cost of a treatment what its weights and prices say?"""

from __future__ import annotations

import json

import pytest
from sqlmodel import select

from tracker.commands import main
from tracker.errors import InputError
from tracker.fingerprints import content_hash
from tracker.models import Ingredient
from tracker.store import open_kitchen
from tracker.workflow.analysing import analyse_trial
from tracker.workflow.ingredients import keep_measured, list_measured
from tracker.workflow.options import Options
from tracker.workflow.planning import plan_trial
from tracker.workflow.prices import keep_price, list_prices
from tracker.workflow.recording import record_run
from tracker.workflow.reporting import report_trial
from tracker.workflow.trials import show_trial
from tracker.workflow.verify_report import verify_report

PLAN = """
title = "Butter and powder in a scone"
name = "scone"
flour_per_bake_g = 200

[formula]
name = "scone"
[[formula.line]]
ingredient = "wheat flour"
bakers_percent = 100
flour = true
[[formula.line]]
ingredient = "butter"
bakers_percent = 20
[[formula.line]]
ingredient = "water"
bakers_percent = 60

[[factor]]
name = "butter"
kind = "amount"
unit = "% flour"
low = 10
high = 30
ingredient = "butter"

[[factor]]
name = "powder"
kind = "amount"
unit = "% flour"
low = 2
high = 6
ingredient = "baking powder"

[[response]]
name = "rise"
unit = "mm"
goal = "maximise"
matters = 2
accept = [40, 60]
importance = 2

[[response]]
name = "firmness"
unit = "N"
goal = "minimise"
accept = [2, 8]

[design]
kind = "full factorial"
levels = 2
replicates = 2
seed = 5
"""
PRICES = {"wheat flour": 1.0, "butter": 9.0, "water": 0.0, "baking powder": 6.0}


def fill(store, plan: str = PLAN) -> None:
    planned = plan_trial(store, plan)
    for place, run in enumerate(planned.plan.runs):
        wobble = (place % 3 - 1) * 0.4
        rise = 30 + 4 * run.settings["powder"] + wobble
        firm = 9 - 0.2 * run.settings["butter"] - wobble / 2
        record_run(store, "scone", run.code, [f"rise={rise}", f"firmness={firm}"])


def goals(store, **options):
    (part,) = [part for part in analyse_trial(store, "scone", options=Options(**options)).analysis.parts]
    return part


def test_what_the_plan_accepts_is_what_the_analysis_takes(store):
    fill(store)
    part = goals(store)
    rise, firm = part.goals
    assert (rise.low, rise.full, rise.importance, rise.given) == (40.0, 60.0, 2.0, True)
    assert (firm.high, firm.full, firm.importance) == (8.0, 2.0, 1.0)
    assert part.best.settings == pytest.approx({"butter": 30.0, "powder": 6.0}, abs=1e-3)


@pytest.mark.parametrize("said", ["in the plan", "on the command line"])
def test_one_end_of_what_is_acceptable_is_enough(store, said):
    plan = PLAN.replace("accept = [40, 60]", "accept = { at_least = 40 }")
    plan = plan.replace("accept = [2, 8]", "accept = { at_most = 8.5 }")
    options = {}
    if said == "on the command line":
        plan = "\n".join(line for line in plan.splitlines() if not line.startswith("accept"))
        options = {"accepts": ("rise:40..", "firmness:..8.5")}
    fill(store, plan)
    rise, firm = goals(store, **options).goals
    assert (rise.low, firm.high) == (40.0, 8.5)
    # The other end is what was baked: 6 % of powder rises best, 30 % of butter is softest.
    assert rise.full == pytest.approx(54, abs=1)
    assert firm.full == pytest.approx(3, abs=1)
    stored = [one["accept"] for one in show_trial(store, "scone").to_json()["responses"]]
    assert stored == ([[40.0, None], [None, 8.5]] if said == "in the plan" else [None, None])


def test_the_cost_is_that_of_the_weights_and_moves_the_best(store):
    fill(store)
    for name, price in PRICES.items():
        keep_price(store, name, price)
    part = goals(store, goals=("cost:minimise",), accepts=("cost:1.0..2.5",))
    cost = part.goals[-1]
    assert (cost.response, cost.unit, cost.certain) == ("cost", "per kg", True)
    found = {name: float(value) for name, value in part.best.settings.items()}
    butter, powder = found["butter"], found["powder"]
    money = 100 * 1.0 + butter * 9.0 + powder * 6.0
    assert part.best.forecasts[-1].mean == pytest.approx(money / (160 + butter + powder), rel=2e-3)  # scales read 0.1 g
    assert part.best.forecasts[-1].low == part.best.forecasts[-1].mean
    assert butter < 29  # without the cost it was 30
    a_bake = goals(store, goals=("cost per bake:minimise",))
    settings = a_bake.best.settings
    money = 2 * (1.0 * 100 + 9 * settings["butter"] + 6 * settings["powder"]) / 1000
    assert a_bake.best.forecasts[-1].mean == pytest.approx(money, rel=2e-3)


def test_a_report_tells_the_prices_it_was_made_with_and_verifying_names_their_change(sqlite_kitchen, tmp_path):
    page = tmp_path / "scone.html"
    with open_kitchen(str(sqlite_kitchen)) as store:
        fill(store)
        for name, price in {**PRICES, "saffron": 9000.0}.items():
            keep_price(store, name, price)
        assert "prices_per_kg" not in analyse_trial(store, "scone").provenance
        content = content_hash(store, "scone")
        report_trial(store, "scone", page, options=Options(goals=("cost:minimise",)))
    # Those of the trial, as they were kept; what is not in it does not concern it.
    assert "wheat flour 1.0, butter 9.0, water 0.0, baking powder 6.0" in page.read_text(encoding="utf-8")
    assert "saffron" not in page.read_text(encoding="utf-8")
    assert verify_report(page, kitchen=str(sqlite_kitchen)).same
    with open_kitchen(str(sqlite_kitchen)) as store:
        keep_price(store, "butter", 12.0)
        assert content_hash(store, "scone") == content  # prices are the kitchen's, not the trial's
    (reason,) = verify_report(page, kitchen=str(sqlite_kitchen)).reasons
    assert reason.startswith("Prices changed: they were wheat flour 1.0, butter 9.0")
    assert "butter 12.0" in reason


def test_a_missing_price_is_named_with_the_way_to_record_it(store):
    fill(store)
    keep_price(store, "wheat flour", 1.0)
    with pytest.raises(InputError, match="price of butter, water, baking powder") as refused:
        goals(store, goals=("cost:minimise",))
    assert 'crumbwise formula price "butter"' in refused.value.try_this


def test_a_trial_without_a_formula_has_no_cost(store):
    head, _, rest = PLAN.partition("flour_per_bake_g = 200")
    tables = rest.partition("[[factor]]")[2]
    for line in ("butter", "baking powder"):
        tables = tables.replace(f'ingredient = "{line}"', "")
    plan_trial(store, head + "[[factor]]" + tables)
    for code in (run["code"] for run in _runs(store)):
        record_run(store, "scone", code, ["rise=40", "firmness=4"])
    with pytest.raises(InputError, match="no formula"):
        goals(store, goals=("cost:minimise",))


def _runs(store):
    from tracker.workflow.trials import show_trial

    return show_trial(store, "scone").to_json()["runs"]


def test_prices_and_measurements_of_one_ingredient_stand_in_one_row(store):
    keep_price(store, "our buttermilk", 1.1)
    keep_measured(store, "our buttermilk", neutralises_g=0.78, ph=4.4)
    keep_price(store, "Our buttermilk", 1.3)
    assert [each.per_kg for each in list_prices(store)] == [1.3]
    assert [each.neutralises_g for each in list_measured(store)] == [0.78]
    with store.read() as session:
        rows = session.exec(select(Ingredient)).all()
    assert [row.price_per_kg for row in sorted(rows, key=lambda row: row.id)] == [1.1, 1.1, 1.3]


@pytest.mark.parametrize("price", [-1.0, float("inf"), float("nan")])
def test_what_is_no_price_is_refused(store, price):
    with pytest.raises(InputError, match="no price"):
        keep_price(store, "butter", price)
    assert list_prices(store) == ()


def test_the_command_keeps_and_lists(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["formula", "price", "wheat flour", "1.20"]) == 0
    assert main(["formula", "price", "--json"]) == 0
    out = capsys.readouterr().out
    assert json.loads(out[out.index("{") :]) == {"prices": [{"name": "wheat flour", "price_per_kg": 1.2}]}
    assert main(["formula", "price", "butter"]) == 2
