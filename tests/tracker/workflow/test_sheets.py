"""Does a bench sheet, printed again later, still say the same?"""

from __future__ import annotations

from pathlib import Path

import pytest

from reports.sheet import bench_sheet
from tracker.errors import UsageError
from tracker.store import Store
from tracker.workflow.ingredients import keep_measured, own_values
from tracker.workflow.lookup import find_trial
from tracker.workflow.planning import plan_trial
from tracker.workflow.reporting import Look
from tracker.workflow.run_chemistry import trial_chemistry
from tracker.workflow.sheets import Papers, make_sheet, run_link, write_papers, write_sheet

PLAN = """
title = "Soda with plum juice"
flour_per_bake_g = 200
[[factor]]
name = "soda"
kind = "amount"
unit = "% flour"
values = [0.5, 1]
ingredient = "baking soda"
[[factor]]
name = "acid source"
kind = "category"
levels = ["plum juice", "cream of tartar"]
neutralises = "baking soda"
[[response]]
name = "rise height"
unit = "mm"
[design]
kind = "full factorial"
replicates = 2
block = "bake day"
seed = 5
[formula]
name = "tea loaf"
[[formula.line]]
ingredient = "wheat flour"
bakers_percent = 100
[[formula.line]]
ingredient = "water"
bakers_percent = 70
[[formula.line]]
ingredient = "baking soda"
bakers_percent = 1
"""


def juice(sheet):
    lines = [line for day in sheet.days for run in day.runs for line in run.weights]
    return sorted({float(line.grams) for line in lines if line.ingredient == "plum juice"})


def test_a_measurement_after_planning_does_not_change_the_treatments(store):
    keep_measured(store, "plum juice", neutralises_g=2.0, ph=3.2, water_share=0.85)
    plan_trial(store, PLAN, name="plums")
    before = make_sheet(store, "plums")
    assert juice(before) == [50.0, 100.0]  # 1 and 2 g of soda at 2 g for 100 g
    gas = {code: account.acid_left_meq for code, account in trial_chemistry(store, "plums").items()}
    keep_measured(store, "plum juice", neutralises_g=4.0, ph=3.2, water_share=0.85)
    after = make_sheet(store, "plums")
    assert after.days == before.days
    assert after.plan_hash == before.plan_hash
    # What the same bakes did is judged by what is known now: the juice had acid to spare.
    now = {code: account.acid_left_meq for code, account in trial_chemistry(store, "plums").items()}
    assert sum(now[code] > gas[code] + 1 for code in now) == 4
    # A trial planned now weighs by the new value.
    plan_trial(store, PLAN, name="more plums")
    assert juice(make_sheet(store, "more plums")) == [25.0, 50.0]
    with store.read() as session:
        then = own_values(session, when_planned=find_trial(session, "plums"))
    assert round(then["plum juice"].neutralising_value.typical, 9) == 2.0


def test_the_same_record_prints_the_same_bytes(store, tmp_path):
    keep_measured(store, "plum juice", neutralises_g=2.0, ph=3.2, water_share=0.85)
    plan_trial(store, PLAN, name="plums")
    path = write_sheet(store, "plums", tmp_path / "deep" / "sheet.html")
    assert path.read_text(encoding="utf-8") == bench_sheet(make_sheet(store, "plums"))
    assert [each.name for each in path.parent.iterdir()] == ["sheet.html"]


def test_labels_lists_and_codes_are_written_beside_the_sheet(store: Store, tmp_path: Path) -> None:
    plan_trial(store, SPLIT)
    papers = Papers(sheet=tmp_path / "s.html", labels=tmp_path / "l.html", weighing=tmp_path / "w.html")
    written = write_papers(store, "heat", papers, address="http://192.168.1.20:8000/")
    assert set(written) == {"sheet", "labels", "weighing"}
    page = (tmp_path / "s.html").read_text()
    assert page.count("Set once for the runs that follow: <span>oven <b>") == 6
    assert "http://192.168.1.20:8000/run/heat/" in page
    labels = (tmp_path / "l.html").read_text()
    assert not any(word in labels for word in ("hot", "mild", "yogurt"))
    assert run_link("a b", "417") == "crumbwise run a b 417"
    assert run_link("a b", "417", "http://x") == "http://x/run/a%20b/417"
    with pytest.raises(UsageError, match="no sense"):
        write_papers(store, "heat", papers, spare_percent=-1)


SPLIT = """
title = "Heat"
name = "heat"
[[factor]]
name = "oven"
kind = "category"
levels = ["hot", "mild"]
hard_to_change = true
[[factor]]
name = "acid"
kind = "category"
levels = ["yogurt", "lemon"]
[[response]]
name = "rise"
[design]
kind = "split-plot"
whole_plots = 6
seed = 4
accept_few_df = true
"""


OVEN = """
title = "Which oven"
[[factor]]
name = "oven"
kind = "amount"
unit = "°C"
values = [170, 177.5]
[[response]]
name = "rise height"
unit = "mm"
[design]
kind = "full factorial"
replicates = 4
seed = 5
"""


def test_an_oven_in_fahrenheit_says_so_and_changes_nothing_in_the_record(store: Store, tmp_path: Path) -> None:
    plan_trial(store, OVEN, name="oven", person=1)
    before = write_sheet(store, "oven", tmp_path / "before.html").read_text(encoding="utf-8")
    look = Look(decimal="comma", temperature="F")
    with look.writing():
        page = write_sheet(store, "oven", tmp_path / "sheet.html").read_text(encoding="utf-8")
    assert "338 °F" in page  # 170 °C
    assert "351,5 °F" in page  # 177.5 °C
    assert "converted from °C" in page
    after = write_sheet(store, "oven", tmp_path / "after.html").read_text(encoding="utf-8")
    assert after == before
    assert "177.5 °C" in after
    assert "°F" not in after
