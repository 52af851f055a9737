"""Does a trial go on behind what was baked, and does the analysis read all of it?"""

from __future__ import annotations

import json
from importlib.resources import files

import jsonschema
import pytest
from sqlmodel import select

from analysis.designs.further import Further
from analysis.errors import PlanError
from tracker.errors import Conflict, UsageError
from tracker.models import Extension, Run
from tracker.store import Store
from tracker.workflow.analysing import analyse_trial
from tracker.workflow.extending import extend_trial, preview_extension
from tracker.workflow.planning import plan_trial
from tracker.workflow.recording import record_run
from tracker.workflow.sheets import make_sheet
from tracker.workflow.trials import close_trial, show_trial
from tracker.workflow.verifying import verify_record
from tracker.workflow.ways_on import chosen_way, proposed

PLAN = """
title = "Sugar and fat in a drop cookie"
name = "cookie"

[[factor]]
name = "sugar"
kind = "amount"
unit = "% flour"
low = 40
high = 60

[[factor]]
name = "fat"
kind = "amount"
unit = "% flour"
low = 30
high = 50

[[response]]
name = "spread ratio"
matters = 0.5
spread = 0.3

[design]
kind = "full factorial"
replicates = 2
seed = 11
{more}
"""


def planned(store: Store, more: str = "") -> list[Run]:
    plan_trial(store, PLAN.format(more=more))
    return runs(store)


def runs(store: Store) -> list[Run]:
    with store.read() as session:
        return list(session.exec(select(Run).order_by(Run.bake_order)))  # type: ignore[arg-type]


def bake_all(store: Store) -> None:
    """What would be read: 6, plus 0.1 a % of sugar, less 0.05 a % of fat, 0.4 more in the second stage."""
    for number, run in enumerate(runs(store)):
        settings, groups = json.loads(run.settings), json.loads(run.groups)
        truth = 6 + 0.1 * settings["sugar"] - 0.05 * settings["fat"] + 0.4 * (groups.get("stage") == "2")
        noise = (0.05, -0.07, 0.02, 0.08, -0.04)[number % 5]
        record_run(store, "cookie", run.code, [f"spread ratio={truth + noise:.3f}"], reason="typed", correct=False)


def test_added_runs_come_last_and_nothing_before_them_changes(store: Store) -> None:
    before = [run.model_dump() for run in planned(store)]
    head = verify_record(store).head
    seen = preview_extension(store, "cookie", Further(way="replicates"), seed=3)
    assert not seen.stored
    assert verify_record(store).head == head
    added = extend_trial(store, "cookie", Further(way="replicates"), reason="too wide still", seed=3)
    assert seen.extended == added.extended
    after = runs(store)
    assert [run.model_dump() for run in after[:8]] == before
    assert [run.bake_order for run in after[8:]] == [9, 10, 11, 12]
    assert {json.loads(run.groups)["stage"] for run in after[8:]} == {"2"}
    assert verify_record(store, expect=head).head != head
    with store.read() as session:
        kept = session.exec(select(Extension)).one()
    assert (kept.number, kept.kind, kept.reason, kept.seed) == (1, "replicates", "too wide still", 3)
    assert len({run.code for run in after}) == 12


def test_the_analysis_takes_the_stages_apart_and_keeps_the_promised_df(store: Store) -> None:
    planned(store)
    added = extend_trial(store, "cookie", Further(way="replicates"), seed=3)
    bake_all(store)
    answer = analyse_trial(store, "cookie").analysis.responses[0]
    assert answer.family.residual.df == added.extended.design.judgement.df_error == 12 - 5
    assert "stage" in answer.family.model.terms
    sugar = next(finding for finding in answer.findings if finding.variables == ("sugar",))
    assert sugar.size == pytest.approx(2.0, abs=0.15)


def test_a_failed_run_is_baked_again_in_its_own_block(store: Store) -> None:
    first = planned(store, 'block = "bake day"')[0]
    record_run(store, "cookie", first.code, [], outcome="failed", reason="oven tripped")
    added = extend_trial(store, "cookie", Further(way="again", codes=(first.code,)), reason="oven mended")
    again = runs(store)[-1]
    assert (again.settings, again.block, again.stands_for_id) == (first.settings, first.block, first.id)
    document = added.to_json()
    jsonschema.validate(document, json.loads(files("analysis").joinpath("schema/plan.schema.json").read_text()))
    assert document["runs"][0]["stands_for"] == first.code
    with pytest.raises(Conflict, match="baked again already"):
        extend_trial(store, "cookie", Further(way="again", codes=(first.code,)))
    with pytest.raises(PlanError, match="No run failed"):
        extend_trial(store, "cookie", Further(way="again"))


def test_the_sheet_and_the_view_show_what_was_added(store: Store) -> None:
    planned(store, 'block = "bake day"')
    extend_trial(store, "cookie", Further(way="replicates"), seed=3)
    sheet = make_sheet(store, "cookie")
    assert [day.block for day in sheet.days] == ["bake day 1", "bake day 2", "bake day 3"]
    view = show_trial(store, "cookie")
    assert view.line.runs == 12
    assert view.to_json()["design"]["n_runs"] == 12


def test_a_closed_trial_is_not_extended(store: Store) -> None:
    planned(store)
    close_trial(store, "cookie")
    with pytest.raises(Conflict, match="closed"):
        extend_trial(store, "cookie", Further(way="replicates"))


@pytest.mark.parametrize(
    ("said", "match"),
    [
        ({}, "How shall"),
        ({"replicates": 1, "best": 6}, "Both"),
        ({"replicates": 1, "factor": "sugar"}, "fold-over"),
        ({"replicates": 1, "model": "quadratic"}, "best"),
        ({"best": 4, "model": "quadratik"}, "no model"),
    ],
)
def test_one_way_is_named_at_a_time(said: dict[str, object], match: str) -> None:
    with pytest.raises(UsageError, match=match) as caught:
        chosen_way(**said)  # type: ignore[arg-type]
    assert caught.value.try_this


def test_star_points_bring_their_centre_points() -> None:
    assert chosen_way(axial=1.0) == Further(way="axial runs", axial=1.0, count=2)
    assert chosen_way(axial=1.2, centre_points=4) == Further(way="axial runs", axial=1.2, count=4)
    assert chosen_way(again=("all",)) == Further(way="again")
    assert chosen_way(what_is_proposed=True) is None


def test_treatments_are_named_or_taken_from_what_is_proposed(store: Store) -> None:
    planned(store)
    bake_all(store)
    further = chosen_way(bakes=("sugar=50, fat=40.5",), times=2)
    assert further is not None
    assert further == Further(way="chosen", count=2, treatments=({"sugar": 50.0, "fat": 40.5},))
    added = extend_trial(store, "cookie", further, seed=5)
    assert [json.loads(run.settings) for run in runs(store)[8:]] == [{"sugar": 50.0, "fat": 40.5}] * 2
    assert added.way == "chosen"
    following = proposed(store, "cookie")
    assert following.treatments
    assert all(set(treatment) == {"sugar", "fat"} for treatment in following.treatments)
    extend_trial(store, "cookie", following, seed=6)
    assert {json.loads(run.groups)["stage"] for run in runs(store)[10:]} == {"3"}


@pytest.mark.parametrize(
    ("text", "match"),
    [("sugar", "what is set to what"), ("sugar=50", "does not say"), ("sugar=50, fat=40, egg=2", "No factor"),
     ("sugar=much, fat=40", "no amount")],
)  # fmt: skip
def test_a_treatment_that_does_not_fit_says_why(store: Store, text: str, match: str) -> None:
    planned(store)
    with pytest.raises((UsageError, PlanError), match=match):
        extend_trial(store, "cookie", chosen_way(bakes=(text,)))  # type: ignore[arg-type]


def test_one_treatment_alone_on_its_day_tells_nothing_and_beside_a_known_one_it_does(store: Store) -> None:
    planned(store)
    bake_all(store)
    before = analyse_trial(store, "cookie").analysis.responses[0].family.residual.df
    high, low = {"sugar": 60.0, "fat": 50.0}, {"sugar": 40.0, "fat": 30.0}
    for times in (1, 2):
        alone = preview_extension(store, "cookie", Further(way="chosen", treatments=(high,), count=times), seed=3)
        assert [said for said in alone.cautions if "cannot be told from what that stage does" in said]
    assert (
        preview_extension(
            store, "cookie", Further(way="chosen", treatments=(high,)), seed=3
        ).extended.design.judgement.df_error
        == before
    )  # its one reading goes to its day
    both = extend_trial(store, "cookie", Further(way="chosen", treatments=(high, low)), seed=3)
    assert not [said for said in both.cautions if "cannot be told" in said]
    for run in runs(store)[8:]:
        truth = 12.0 if json.loads(run.settings) == high else 8.0
        record_run(store, "cookie", run.code, [f"spread ratio={truth}"], reason="typed")
    residual = analyse_trial(store, "cookie").analysis.responses[0].family.residual
    assert residual.df == both.extended.design.judgement.df_error == before + 1
