"""Does ``crumbwise batch why`` name what batches changed with, of a file and of a product, and say what is wrong?"""

from __future__ import annotations

import json

import jsonschema
import numpy as np
import pytest

from analysis.control.why_json import why_schema
from tracker.workflow.kitchens import opened

HEAD = "batch,baked_at,rise height (mm),flour lot,lot of baking powder,oven,shift,crumb pH,gas (ml/g)"


def rows(*, step=-3.0, n=60, pieces=3, seed=11):
    """F-2 (batches 21 to 40) bakes ``step`` mm off; pH in every second batch, gas in every third."""
    chance = np.random.Generator(np.random.PCG64(seed))
    for at in range(n):
        flour = "F-1" if at < 20 else "F-2" if at < 40 else "F-3"
        level = 43 + (step if flour == "F-2" else 0) + chance.normal(0, 0.7)
        acid = f"{7.1 + chance.normal(0, 0.03):.2f}" if at % 2 == 0 else ""
        gas = f"{68 + chance.normal(0, 1.2):.1f}" if at % 3 == 0 else ""
        oven, powder = ("upper", "lower")[int(chance.integers(2))], "P-1" if at < 33 else "P-2"
        for piece in range(pieces):
            beside = f"{acid},{gas}" if piece == 0 else ","
            height = f"{level + chance.normal(0, 0.8):.1f}"
            yield f"{at + 1},2026-03-{1 + at // 2:02d}T06:00:00Z,{height},{flour},{powder},{oven},early,{beside}"


@pytest.fixture
def log(tmp_path):
    return write(tmp_path / "log.csv", HEAD, *rows())


def write(path, *lines):
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def test_a_file_says_which_lot_it_was(crumbwise, log):
    ran = crumbwise("batch", "why", log, "--response", "rise height")
    assert (ran.code, ran.err) == (0, "")
    text = " ".join(ran.out.split())
    assert text.startswith("1 change in 60 batches of rise height: flour lot F-2.")
    assert "From batch 21 to 40 rise height was" in text
    assert "mm lower (95 % interval" in text
    assert "it began with flour lot F-2 (batch 21" in text
    assert "crumb pH stayed" in text or "Crumb pH stayed" in text
    assert "Next: bake the same dough twice on one day, once with flour lot F-2" in text
    assert "Shift never changed, so nothing can go with it." in text
    assert "nan" not in text.casefold()


def test_the_document_follows_its_schema(crumbwise, log):
    ran = crumbwise("batch", "why", log, "--json")
    assert ran.code == 0
    jsonschema.validate(ran.document, why_schema())
    (change,) = ran.document["changes"]
    assert (change["cause"]["column"], change["cause"]["lot"]) == ("flour", "F-2")
    assert change["low"] < -3 < change["high"]
    assert change["chemistry"]["missing"] == ["oven temperature"]
    assert {each["role"] for each in change["chemistry"]["measured"]} == {"pH", "gas"}
    assert ran.document["asked"] == ["flour lot", "baking powder lot", "oven", "weekday"]
    assert ran.document["unit"] == "mm"


def test_the_same_seed_gives_the_same_document_and_an_export_in_rows_the_same_answer(crumbwise, log, tmp_path):
    import pandas as pd

    first = crumbwise("batch", "why", log, "--json").document
    assert crumbwise("batch", "why", log, "--json").document == first
    table = pd.read_csv(log)
    kept = ["batch", "baked_at", "flour lot", "lot of baking powder", "oven", "shift"]
    long = table[kept].assign(response="rise height", value=table["rise height (mm)"])
    acid = table[kept].assign(response="crumb pH", value=table["crumb pH"]).dropna()
    both = pd.concat([long, acid]).sort_values("batch", kind="stable")
    both.to_csv(tmp_path / "long.csv", index=False)
    other = crumbwise("batch", "why", tmp_path / "long.csv", "--response", "rise height", "--json").document
    assert other["changes"][0]["cause"] == first["changes"][0]["cause"]
    assert other["changes"][0]["size"] == pytest.approx(first["changes"][0]["size"])
    assert [each["name"] for each in other["changes"][0]["chemistry"]["measured"]] == ["crumb pH"]


def test_nothing_changed_is_said_as_such(crumbwise, tmp_path):
    ran = crumbwise("batch", "why", write(tmp_path / "still.csv", HEAD, *rows(step=0.0, seed=5)))
    assert ran.code == 0
    assert ran.out.startswith("No change of level shows in 60 batches of rise height: chance alone shows as much")
    assert "causes" not in ran.out


def test_a_batch_that_names_two_lots_has_none_and_that_is_said(crumbwise, tmp_path):
    lines = list(rows())
    first = next(at for at, line in enumerate(lines) if line.startswith("21,"))
    lines[first] = lines[first].replace("F-2", "F-1")
    ran = crumbwise("batch", "why", write(tmp_path / "mixed.csv", HEAD, *lines))
    assert ran.code == 0
    assert "flour lot: batch 21 named more than one, so none is taken" in ran.err


def test_pieces_of_one_batch_in_two_ovens_leave_the_column_out(crumbwise, tmp_path):
    lines = [f"{at},{43 + at % 5 * 0.3 + piece},{'AB'[piece]}" for at in range(1, 31) for piece in (0, 1)]
    ran = crumbwise("batch", "why", write(tmp_path / "two.csv", "batch,rise,oven", *lines), "--json")
    assert ran.code == 0
    assert ran.document["asked"] == ran.document["left_out"] == []
    assert "oven: batches 1, 2, 3, 4, 5 and others named more than one" in ran.err


@pytest.mark.parametrize(
    ("lines", "words", "code", "says", "way_out"),
    [
        (["batch,rise", "1,40"], (), 7, "1 batch tells too little", "log more batches"),
        (["batch,rise", *(f"{n},43.0" for n in range(20))], (), 7, "Every batch has the same rise", "copied"),
        (["batch,rise,pH", *(f"{n},,7.0" for n in range(20))], ("--response", "rise"), 7, "0 batches", "log more"),
        (["lot,rise", "1,40"], ("--response", "rise"), 3, 'no column "batch"', "head the column"),
        (["batch,rise,width", "1,40,3"], (), 2, "Which column was measured is not said", '--response "rise"'),
        (["batch,rise", "1,40"], ("--response", "rize"), 3, 'no column "rize"', "rise"),
        (["batch,rise", "1,40", "2,41", "1,42"], (), 3, "Batch 1 comes back", "number of its own"),
    ],
)
def test_what_is_wrong_is_said_with_the_way_out(crumbwise, tmp_path, lines, words, code, says, way_out):
    ran = crumbwise("batch", "why", write(tmp_path / "bad.csv", *lines), *words)
    assert ran.code == code
    assert says in ran.err
    assert way_out in ran.err.partition("Try:")[2]
    assert ran.out == ""


def test_no_columns_of_causes_and_gaps_still_answer(crumbwise, tmp_path):
    chance = np.random.Generator(np.random.PCG64(2))
    lines = [f"{n},{43 - 3 * (n > 25) + chance.normal(0, 0.8):.1f}," if n % 7 else f"{n},,7.1" for n in range(1, 61)]
    ran = crumbwise("batch", "why", write(tmp_path / "bare.csv", "batch,rise,pH", *lines), "--response", "rise")
    assert ran.code == 0
    text = " ".join(ran.out.split())
    assert "1 change in 52 batches of rise; the log names no lots, ovens or shifts it may have gone with." in text
    assert "nothing in the log changed with it" not in text
    assert "8 batches without rise left out." in text
    assert "Next: look up what happened around batches" in text


def test_a_product_and_what_it_does_not_know(crumbwise, sqlite_kitchen):
    from tracker.workflow.logging_batches import BatchEntry, log_batches

    chance = np.random.Generator(np.random.PCG64(4))
    entries = [
        BatchEntry(
            number=f"B{n}",
            baked_at=f"2026-03-{n:02d}T06:00:00Z",
            oven="upper" if n < 16 else "lower",
            lots={"flour": "F-1"},
            readings={"rise height": tuple(43 - 4 * (n >= 16) + chance.normal(0, 0.5, 2))} if n != 9 else {},
        )
        for n in range(1, 31)
    ]
    with opened(str(sqlite_kitchen)) as store:
        log_batches(store, "scones", entries, units={"rise height": "mm"})
    kitchen = ("--kitchen", sqlite_kitchen)
    ran = crumbwise(*kitchen, "batch", "why", "scones")
    text = " ".join(ran.out.split())
    assert ran.code == 0
    assert "oven" in text.split(".")[0]
    assert "1 batch without rise height left out." in text
    assert json.loads(crumbwise(*kitchen, "batch", "why", "scones", "--json").out)["batches"]["left_out"] == 1
    unknown = crumbwise(*kitchen, "batch", "why", "scone")
    assert unknown.code == 4
    assert '"scones"' in unknown.err
    other = crumbwise(*kitchen, "batch", "why", "scones", "--response", "rise")
    assert other.code == 4
    assert '--response "rise height"' in other.err
