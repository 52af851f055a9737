"""Do the tables hold what stands, named, typed and in order?"""

from __future__ import annotations

import json
from typing import Any

import pandas as pd
import pytest

from tracker.errors import InputError, NotFound
from tracker.frames import audit_head, batch_table, content_hash, trial_tables
from tracker.models import (
    Bake,
    Batch,
    BatchLot,
    Factor,
    Lot,
    Outcome,
    Piece,
    Product,
    Reading,
    Response,
    Run,
    TasteNote,
    Trial,
    Weighing,
)
from tracker.store import Store, open_kitchen

AT = "2026-11-25T09:00:00Z"
SOURCES = ["yogurt", "lemon juice", "cream of tartar"]  # stored order, not alphabetical


def plan(store: Store, name: str = "soda", *, block: str = "bake day", soda: str = "soda") -> dict[str, int]:
    """A small blocked trial: six runs, two responses; returns code -> number of its run."""
    with store.write(person=1, action="plan") as deed:
        trial = deed.add(
            Trial(
                name=name,
                title="Soda",
                flour_per_bake_g=300.0,
                seed=7,
                design=json.dumps({"block": block}),
                made_at=deed.at,
            )
        )
        amount = {"trial_id": trial.id, "kind": "amount"}
        deed.add_many(
            [
                Factor(**amount, position=1, name=soda, unit="% flour", ingredient="baking soda"),
                Factor(trial_id=trial.id, position=2, name="acid source", kind="category", levels=json.dumps(SOURCES)),
                Factor(**amount, position=3, name="oven heat", unit="°C"),
            ]
        )
        deed.add_many(
            [
                Response(trial_id=trial.id, position=1, name="rise height", unit="mm"),
                Response(trial_id=trial.id, position=2, name="crumb score", scale="score"),
            ]
        )
        runs = deed.add_many(
            [
                Run(
                    trial_id=trial.id,
                    place_in_design=i + 1,
                    bake_order=6 - i,
                    block="monday" if i >= 3 else "friday",
                    code=f"{100 + i}",
                    settings=json.dumps({soda: 1 + i / 2, "acid source": SOURCES[i % 3], "oven heat": 180}),
                )
                for i in range(6)
            ]
        )
    return {run.code: run.id or 0 for run in runs}


def bake(store: Store, runs: dict[str, int]) -> None:
    """Record four of the six runs: one with everything, one corrected, one failed, one without a score."""
    person: dict[str, Any] = {"person_id": 1, "at": AT}
    with store.write(person=1, action="record") as deed:
        bakes = {code: deed.add(Bake(run_id=runs[code], made_at=AT)).id or 0 for code in ("100", "101", "102", "103")}
        piece = deed.add(Piece(bake_id=bakes["100"], number=2))
        deed.add_many(
            [
                Outcome(bake_id=bakes["100"], state="done", oven_temperature_c=187.5, **person),
                Outcome(bake_id=bakes["101"], state="done", **person),
                Outcome(bake_id=bakes["102"], state="failed", reason="oven went out", **person),
                Weighing(bake_id=bakes["100"], ingredient="Baking Soda", grams=3.9, **person),
                Weighing(bake_id=bakes["101"], ingredient="baking soda", grams=4.5, **person),  # as planned
                TasteNote(bake_id=bakes["101"], words="soapy", tags='["soap","back of mouth"]', **person),
            ]
        )
        old = deed.add(reading(bakes["101"], "rise height", 14.0))
        deed.add_many(
            [
                reading(bakes["100"], "rise height", 40.0),
                reading(bakes["100"], "rise height", 41.0, piece_id=piece.id),
                reading(bakes["100"], "crumb score", 4),
                reading(bakes["101"], "rise height", 41.5, replaces_id=old.id, reason="digits swapped"),
                reading(bakes["102"], "rise height", 5.0),
                reading(bakes["103"], "rise height", 38.0),
            ]
        )
        wrong = deed.add(reading(bakes["101"], "crumb score", 1))
        deed.add(reading(bakes["101"], "crumb score", None, void=True, replaces_id=wrong.id, reason="wrong loaf"))


def reading(bake: int, response: str, value: float | None, **more: Any) -> Reading:
    return Reading(bake_id=bake, response=response, value=value, person_id=1, at=AT, **more)


def test_tables_have_one_row_per_standing_reading(store: Store) -> None:
    bake(store, plan(store))
    made = trial_tables(store, "soda")
    rise = made.tables["rise height"]
    assert list(rise.columns) == [
        "bake", "bake_order", "bake day", "soda", "acid source", "oven heat", "piece", "repeat", "rise height",
    ]  # fmt: skip
    assert rise["bake"].tolist() == ["103", "101", "100", "100"]  # in order of baking
    assert rise["rise height"].tolist() == [38.0, 41.5, 40.0, 41.0]
    assert rise["piece"].isna().tolist() == [True, True, True, False]
    assert rise["piece"].iloc[3] == 2
    assert rise["bake day"].tolist() == ["monday", "friday", "friday", "friday"]
    assert rise["bake day"].cat.categories.tolist() == ["monday", "friday"]  # as baked
    assert rise["acid source"].cat.categories.tolist() == SOURCES
    assert rise["acid source"].cat.ordered
    assert [str(rise[name].dtype) for name in ("soda", "rise height", "repeat", "piece")] == [
        "float64", "float64", "int64", "Int64",
    ]  # fmt: skip
    assert made.tables["crumb score"]["crumb score"].tolist() == [4.0]  # the void one does not stand
    assert made.block == "bake day"
    assert [response.name for response in made.responses] == ["rise height", "crumb score"]


def test_what_was_measured_at_the_bench_is_analysed(store: Store) -> None:
    bake(store, plan(store))
    made = trial_tables(store, "soda")
    hundred = made.tables["rise height"].query("bake == '100'").iloc[0]
    assert hundred["soda"] == pytest.approx(1.3)  # 3.9 g on 300 g of flour
    assert hundred["oven heat"] == 187.5
    assert [(each.code, each.factor, each.planned, round(each.used, 9)) for each in made.replaced] == [
        ("100", "soda", 1.0, 1.3),
        ("100", "oven heat", 180.0, 187.5),
    ]
    assert made.tables["rise height"].query("bake == '101'")["soda"].tolist() == [1.5]


def test_what_is_left_out_says_why(store: Store) -> None:
    bake(store, plan(store))
    assert sorted(trial_tables(store, "soda").left_out, key=str) == [
        ("101", "no reading", "crumb score"),
        ("102", "failed: oven went out", None),
        ("103", "no reading", "crumb score"),
        ("104", "not yet baked", None),
        ("105", "not yet baked", None),
    ]


def test_notes_and_runs_come_along(store: Store) -> None:
    bake(store, plan(store))
    made = trial_tables(store, "soda")
    assert len(made.notes) == 1
    note = made.notes.iloc[0]
    assert (note["bake"], note["words"], note["tags"], note["soda"]) == ("101", "soapy", ["soap", "back of mouth"], 1.5)
    states = dict(zip(made.runs["bake"], made.runs["state"], strict=True))
    assert states == {"100": "done", "101": "done", "102": "failed", "103": "", "104": "", "105": ""}


def test_a_trial_without_bakes_gives_empty_typed_tables(store: Store) -> None:
    plan(store)
    rise = trial_tables(store, "soda").tables["rise height"]
    assert len(rise) == 0
    assert rise["acid source"].cat.categories.tolist() == SOURCES
    assert str(rise["soda"].dtype) == "float64"


def test_two_columns_of_one_name_are_refused(store: Store) -> None:
    plan(store, soda="piece")
    with pytest.raises(InputError, match='"piece"'):
        trial_tables(store, "soda")


def test_an_unknown_trial_names_the_nearest(store: Store) -> None:
    plan(store)
    with pytest.raises(NotFound) as error:
        trial_tables(store, "sodda")
    assert error.value.try_this == '"soda"'


def test_the_content_hash_follows_the_content_only(store: Store, tmp_path: Any) -> None:
    with open_kitchen(str(tmp_path / "other.db"), create=True) as other:
        plan(other, "first")  # so that every number in the database differs
        bake(other, plan(other))
        bake(store, plan(store))
        assert content_hash(store, "soda") == content_hash(other, "soda")
        assert audit_head(store) != audit_head(other)
        before = content_hash(store, "soda")
        with store.write(person=1, action="note") as deed:
            deed.add(TasteNote(bake_id=1, words="flat", person_id=1, at=AT))
        assert content_hash(store, "soda") != before


def test_the_content_hash_stays_as_it_is(store: Store) -> None:
    # Not an outside figure: it guards against a change of form that would orphan printed hashes.
    bake(store, plan(store))
    assert content_hash(store, "soda") == "68fdbaf865ead710d6c48c8327d715ebb7477e0bc145a678c5c57bb537edca2b"


def test_the_audit_head_counts_every_entry(store: Store) -> None:
    count, head = audit_head(store)
    assert count == 2  # the kitchen and person 1
    assert len(head) == 64
    plan(store)
    assert audit_head(store)[0] == count + 1 + 3 + 2 + 6


def test_batches_come_in_order_of_baking(store: Store) -> None:
    with store.write(person=1, action="log") as deed:
        product = deed.add(Product(name="soda loaf", made_at=AT))
        lot = deed.add(Lot(ingredient="baking soda", code="L7"))
        for number, day in (("B2", "2026-11-02T05:00:00Z"), ("B1", "2026-11-01T05:00:00Z")):
            batch = deed.add(
                Batch(product_id=product.id, number=number, baked_at=day, line="1", oven="deck", shift="early")
            )
            deed.add(BatchLot(batch_id=batch.id, lot_id=lot.id))
            its = deed.add(Bake(batch_id=batch.id, made_at=day))
            deed.add_many([reading(its.id or 0, "rise height", 40.0 + i, repeat=i + 1) for i in range(2)])
    table = batch_table(store, "soda loaf")
    assert table["batch"].tolist() == ["B1", "B1", "B2", "B2"]
    assert table["value"].tolist() == [40.0, 41.0, 40.0, 41.0]
    assert table["lots"].tolist() == [{"baking soda": "L7"}] * 4
    assert table["oven"].unique().tolist() == ["deck"]
    assert isinstance(table, pd.DataFrame)
    with pytest.raises(NotFound) as error:
        batch_table(store, "soda loa")
    assert error.value.try_this == '"soda loaf"'


def test_scores_are_held_by_the_number_of_who_gave_them(tmp_path):
    from tracker.workflow.people import add_person
    from tracker.workflow.recording import record_run

    with open_kitchen(str(tmp_path / "k.db"), create=True, name="k") as store:
        plan(store)
        code = trial_tables(store, "soda").runs["bake"].iloc[0]
        add_person(store, "Somebody")
        record_run(store, "soda", code, ["crumb score=4", "rise height=40"], person=1)
        record_run(store, "soda", code, ["crumb score=2"], person=2, again=True)
        found = trial_tables(store, "soda").assessed
    assert found[["bake", "response", "score", "person"]].to_numpy().tolist() == [
        [code, "crumb score", 4.0, 1],
        [code, "crumb score", 2.0, 2],
    ]
    assert {"soda", "acid source"} <= set(found)
    assert "Somebody" not in found.to_string()
