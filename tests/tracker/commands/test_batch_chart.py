"""Does ``crumbwise batch chart`` say what a file or a product's log holds, and what is wrong with it?"""

from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from analysis.control.serialise import schema
from tracker.workflow.batches import batch_table, list_batches
from tracker.workflow.kitchens import opened

PUBLISHED = Path(__file__).parents[2] / "published" / "control_charts"


@pytest.fixture
def log(tmp_path):
    """40 batches of three pieces; the last two stand far too high. Written by rows, in order of baking."""
    random = np.random.Generator(np.random.PCG64(27))
    rows = ["batch,baked_at,rise height (mm),cracked,oven"]
    for number in range(1, 41):
        level = 43 + random.standard_normal() + (12 if number > 38 else 0)
        day = f"2026-0{1 + number // 28}-{1 + number % 28:02d}T06:00:00Z"
        for oven in ("lower", "upper", "upper"):
            height, cracked = level + random.normal(), int(random.uniform() < 0.1)
            rows.append(f"B-{number},{day},{height:.1f},{cracked},{oven}")
    path = tmp_path / "log.csv"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def write(path, *rows):
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    return path


def test_a_file_is_told_in_sentences(crumbwise, log):
    ran = crumbwise("batch", "chart", log, "--response", "rise height")
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("Rise height is not stable over 40 batches, B-1 to B-40: ")
    assert "B-39 to B-40: " in ran.out
    assert "mm are above the upper limit of" in ran.out
    assert "false alarm on the level about once in 153 batches" in " ".join(ran.out.split())
    assert "nan" not in ran.out.casefold()
    assert ran.out.endswith('Next: crumbwise batch why "log.csv" --response "rise height"\n')


def test_the_document_follows_its_schema_and_the_contract(crumbwise, log):
    ran = crumbwise("batch", "chart", log, "--response", "rise height", "--json")
    assert ran.code == 0
    jsonschema.validate(ran.document, schema())
    assert [chart["kind"] for chart in ran.document["charts"]] == ["batch mean", "moving range", "standard deviation"]
    level = ran.document["charts"][0]
    assert set(level["limits"]) >= {"lower", "centre", "upper", "provisional"}
    assert set(level["points"][0]) >= {"batch", "value", "alarms", "phase", "lower", "upper"}
    assert [alarm["batch"] for alarm in level["alarms"] if alarm["rule"] == "outside the limits"] == ["B-39", "B-40"]
    assert all(alarm["words"].startswith(alarm["batch"]) for alarm in level["alarms"])
    assert (level["unit"], ran.document["responses"][0]["stable"]) == ("mm", False)
    assert ran.document["rows"] == {"read": 120, "used": 120, "left_out": []}
    assert ran.document["false_alarms"]["run_length"] == pytest.approx(152.73, abs=0.01)  # Champ and Woodall 1987


def test_a_published_case_goes_through_the_command(crumbwise):
    case = json.loads((PUBLISHED / "nist_imr_flow.json").read_text(encoding="utf-8"))["expected"]
    ran = crumbwise("batch", "chart", PUBLISHED / "nist_imr_flow.csv", "--response", "flow", "--json")
    limits = ran.document["charts"][0]["limits"]
    assert limits["upper"] == pytest.approx(case["ucl_exact"], rel=1e-12)
    assert limits["lower"] == pytest.approx(case["lcl_exact"], rel=1e-12)
    assert limits["provisional"]
    assert ran.document["responses"][0]["stable"]


def test_two_files_one_after_the_other_say_what_one_says(crumbwise, log, tmp_path):
    head, *rows = log.read_text(encoding="utf-8").splitlines()
    write(tmp_path / "spring.csv", head, *rows[:60])
    write(tmp_path / "summer.csv", head, *rows[60:])
    joined = [
        *(tmp_path / "spring.csv").read_text().splitlines(),
        *(tmp_path / "summer.csv").read_text().splitlines()[1:],
    ]
    write(tmp_path / "both.csv", *joined)
    whole, both = (
        crumbwise("batch", "chart", path, "--response", "rise height", "--json").document
        for path in (log, tmp_path / "both.csv")
    )
    assert {**whole, "source": ""} == {**both, "source": ""}


def test_a_workbook_and_an_export_are_read_alike(crumbwise, log, tmp_path):
    import pandas as pd

    table = pd.read_csv(log)
    table.to_excel(tmp_path / "log.xlsx", index=False)
    long = table.assign(response="rise height", value=table["rise height (mm)"])[["batch", "response", "value"]]
    other = long.assign(response="pH", value=6.9)
    pd.concat([long, other]).sort_values("batch", key=lambda b: b.str[2:].astype(int), kind="stable").to_csv(
        tmp_path / "long.csv", index=False
    )
    charts = [
        crumbwise("batch", "chart", path, "--response", "rise height", "--json").document["charts"][0]
        for path in (log, tmp_path / "log.xlsx", tmp_path / "long.csv")
    ]
    assert charts[0]["points"] == charts[1]["points"] == charts[2]["points"]


def test_rows_that_cannot_be_used_are_left_out_and_said(crumbwise, tmp_path):
    rows = [f"B-{n},{40 + n % 5}" for n in range(1, 25)]
    path = write(tmp_path / "gaps.csv", "batch,rise", *rows[:10], ",44.0", "B-99,", *rows[10:])
    ran = crumbwise("batch", "chart", path, "--response", "rise", "--json")
    assert ran.code == 0
    assert ran.document["rows"]["used"] == 24
    assert [(out["row"], out["why"].split(":")[0]) for out in ran.document["rows"]["left_out"]] == [
        (11, "no batch"),
        (12, "no reading of rise"),
    ]
    assert "Row 11 left out: no batch" in ran.err
    assert "Row 12 left out: no reading of rise." in ran.err
    assert "B-99" not in {point["batch"] for point in ran.document["charts"][0]["points"]}


@pytest.mark.parametrize(
    ("rows", "words", "code", "says", "way_out"),
    [
        (["batch,rise"], (), 3, "no rows", ""),
        (["lot,rise", "1,40", "2,41"], (), 3, 'no column "batch"', 'head the column that numbers the batches "batch"'),
        (["batch,rise", "1,40", "2,41", "1,42"], (), 3, "Batch 1 comes back after batch 2", "number of its own"),
        (["batch,rise", "1,40", "2,nan", "3,42"], (), 3, "cannot be read as numbers", "leave the cell empty"),
        (["batch,rise", "1,40"], (), 7, "One batch of rise has no spread", "log more batches"),
        (["batch,rise", "1,", "2,"], (), 7, "no batch with readings of rise", "how the response is spelt"),
        (["batch,rise", "1,40", "2,41"], ("--response", "height"), 3, 'no column "height"', ""),
        (["batch,rise", "1,40", "2,41"], ("--response", "batch"), 3, "numbers the batches", '--response "rise"'),
        (["batch,at,rise", "1,2026-02-02,40", "2,2026-02-01,41"], (), 3, "The clock goes back", "sort the rows"),
        (["batch,rise", "1,40", "2,41"], ("--lower-spec", "5", "--upper-spec", "4"), 2, "wrong way round", "lower 4"),
        (["batch,rise", "1,40", "2,41"], ("--lower-spec", "nan"), 2, "not a number", ""),
        (["batch,rise", "1,40", "2,41"], ("--target", "50", "--upper-spec", "40"), 2, "target 50 lies outside", ""),
        (["batch,rise", "1,40", "2,41"], ("--kind", "rang"), 2, "no kind of chart", "--kind range"),
        (["batch,rise", "1,40", "2,41"], ("--kind", "range"), 7, "one reading of rise", "--kind individuals"),
        (["batch,rise", "1,40", "2,41"], ("--rule", "eight on a side"), 2, "no rule", '--rule "eight on one side"'),
        (["batch,rise", "1,40", "2,41"], ("--setting", "weight=1"), 2, "no setting", "first, last, without"),
        (["batch,rise", "1,40", "2,41"], ("--setting", "last=9"), 3, "no batch 9", "from 1 to 2"),
        (["batch,bad", "1,4", "2,1"], ("--response", "bad", "--kind", "counts"), 2, "out of how many", "--size"),
        (["batch,rise", "1,40", "2,41"], ("--of", "loaves"), 2, "no kind of count", "pieces"),
        (["batch,rise", "1,40", "2,41"], ("--size", "tray"), 3, 'no column "tray"', "--size"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_said_with_the_way_out(crumbwise, tmp_path, rows, words, code, says, way_out):
    path = write(tmp_path / "bad.csv", *rows)
    words = words if "--response" in words else ("--response", "rise", *words)
    ran = crumbwise("batch", "chart", path, *words)
    assert ran.code == code, ran.err
    assert says in ran.err
    assert way_out in ran.err.partition("Try: ")[2]
    assert "Traceback" not in ran.err


def test_a_constant_series_is_said_to_have_no_limits(crumbwise, tmp_path):
    path = write(tmp_path / "same.csv", "batch,rise", *(f"{n},43" for n in range(30)))
    ran = crumbwise("batch", "chart", path, "--response", "rise")
    assert ran.code == 0
    assert "cannot be said without limits" in ran.out
    assert "no spread to make limits from" in ran.out
    document = crumbwise("batch", "chart", path, "--response", "rise", "--json").document
    jsonschema.validate(document, schema())
    assert document["responses"][0]["stable"] is None
    assert document["charts"][0]["limits"]["upper"] is None


def test_a_response_that_was_not_named_is_offered(crumbwise, log):
    ran = crumbwise("batch", "chart", log)
    assert ran.code == 2
    assert 'Try: --response "rise height (mm)"' in ran.err


def test_limits_may_come_from_some_batches_and_judge_all(crumbwise, log):
    words = ("--response", "rise height", "--kind", "individuals")
    plain = crumbwise("batch", "chart", log, *words, "--json").document["charts"][0]
    base = crumbwise("batch", "chart", log, *words, "--setting", "last=B-38", "--json").document["charts"][0]
    spared = crumbwise("batch", "chart", log, *words, "--setting", "without=B-39,B-40", "--json").document["charts"][0]
    assert base["limits"]["batches"] == 38
    assert base["points"] == spared["points"]
    assert len(base["points"]) == 40
    assert base["limits"]["upper"] < plain["limits"]["upper"]


def test_a_specification_asks_how_the_batches_stand_to_it(crumbwise, log):
    words = ("batch", "chart", log, "--response", "rise height", "--lower-spec", "38", "--upper-spec", "48")
    ran = crumbwise(*words, "--target", "43", "--json")
    assert ran.code == 0, ran.err
    jsonschema.validate(ran.document, schema())
    (meets,) = ran.document["specifications"]
    assert (meets["lower"], meets["upper"], meets["target"], meets["unit"]) == (38, 48, 43, "mm")
    found = {each["index"]: each for each in ran.document["capability"]}
    assert any(index.startswith("Ppk") for index in found)  # not stable, so performance only
    assert not any(index.startswith("Cp") for index in found)
    assert all(each["low"] <= each["value"] <= each["high"] for each in found.values())
    assert "is not stable, so what it can do is not known" in " ".join(crumbwise(*words).out.split())
    # The specification is no limit of the chart: what is inside the one may be outside the other.
    plain = crumbwise("batch", "chart", log, "--response", "rise height", "--json").document
    assert plain["charts"] == ran.document["charts"]
    assert plain["capability"] == plain["specifications"] == []


def test_a_stable_process_is_told_its_capability(crumbwise, log):
    rows = log.read_text(encoding="utf-8").splitlines()
    write(log, *rows[: 1 + 3 * 38])
    words = ("batch", "chart", log, "--response", "rise height", "--lower-spec", "30")
    document = crumbwise(*words, "--json").document
    assert document["responses"][0]["stable"]
    assert any(each["index"].startswith("Cp") for each in document["capability"])
    said = crumbwise(*words).out
    assert "keeps its specification with room to spare" in " ".join(said.split())
    assert "Next:" not in said


def test_a_stable_process_that_misses_its_specification_has_another_next_step(crumbwise, log):
    rows = log.read_text(encoding="utf-8").splitlines()
    write(log, *rows[: 1 + 3 * 38])
    words = ("batch", "chart", log, "--response", "rise height", "--lower-spec", "42")
    document = crumbwise(*words, "--json").document
    assert document["responses"][0]["stable"]
    assert document["responses"][0]["next_step"].startswith("Look at the batches named above. Waiting will not")
    ran = crumbwise(*words, "--report", "page.html")
    assert "does not keep its specification well enough" in " ".join(ran.out.split())
    assert "Waiting will not mend it" in ran.out
    assert "Waiting will not mend it" in Path("page.html").read_text(encoding="utf-8")


@pytest.mark.parametrize("kind", ["dependent", "skewed"])
def test_limits_that_were_frozen_without_what_a_kind_needs_are_not_mixed_in(crumbwise, kind):
    _log({f"B-{n}": [43 + (n * 7 % 11) / 5, 42.5 + (n % 3) / 10] for n in range(1, 41)})
    froze = crumbwise("batch", "limits", "soda bread", "--response", "rise height", "--to", "B-20", "--reason", "calm")
    assert froze.code == 0, froze.err
    ran = crumbwise("batch", "chart", "soda bread", "--response", "rise height", "--kind", kind, "--json")
    assert ran.code == 0, ran.err
    limits = ran.document["charts"][0]["limits"]
    assert (limits["frozen"], limits["batches"], limits["last_batch"]) == (False, 40, "B-40")
    assert "frozen for another kind of chart" in ran.document["remarks"][0]


def test_too_few_batches_for_capability_are_said(crumbwise, tmp_path):
    path = write(tmp_path / "two.csv", "batch,rise", "1,40", "2,41")
    ran = crumbwise("batch", "chart", path, "--response", "rise", "--lower-spec", "30")
    assert ran.code == 0
    assert "it takes 3" in ran.out


def test_rules_are_chosen_by_name_and_their_price_is_told(crumbwise, log):
    ran = crumbwise("batch", "chart", log, "--response", "rise height", "--rule", "Outside the limits", "--json")
    assert [rule["rule"] for rule in ran.document["rules"]] == ["outside the limits"]
    assert ran.document["false_alarms"]["run_length"] == pytest.approx(370.40, abs=0.01)
    every = crumbwise("batch", "chart", log, "--response", "rise height", "--rule", "all", "--json").document
    assert len(every["rules"]) == 8
    assert every["false_alarms"]["run_length"] < 80


def test_the_rules_are_listed_with_their_price(crumbwise):
    listed = {line["rule"]: line for line in crumbwise("batch", "chart", "--list-rules", "--json").document["rules"]}
    assert len(listed) == 8
    assert [rule for rule, line in listed.items() if line["usual"]] == ["outside the limits", "eight on one side"]
    # Champ and Woodall 1987, Technometrics 29:393 (figures from memory): 370.40 alone; 152.73 for the usual two.
    assert listed["outside the limits"]["alone"] == pytest.approx(370.40, abs=0.01)
    assert listed["outside the limits"]["beside"] == pytest.approx(152.73, abs=0.01)
    assert all(line["beside"] <= line["alone"] for line in listed.values())
    said = crumbwise("batch", "chart", "--list-rules").out
    assert "fifteen close in" in said
    assert "963 batches by itself" in said
    nothing = crumbwise("batch", "chart")
    assert nothing.code == 2
    assert "Neither a product nor a file" in nothing.err


def test_yes_and_no_are_counted_out_of_the_pieces_of_a_batch(crumbwise, log):
    ran = crumbwise("batch", "chart", log, "--response", "cracked", "--kind", "counts", "--json")
    assert ran.code == 0, ran.err
    jsonschema.validate(ran.document, schema())
    level = ran.document["charts"][0]
    assert level["kind"] == "share"
    assert {round(3 * point["value"], 9) for point in level["points"]} <= {0, 1, 2, 3}


def test_a_product_is_charted_from_its_log(crumbwise, log):
    logged = crumbwise("batch", "chart", "soda bread", "--response", "rise", "--json")
    assert logged.code == 4
    rows = log.read_text(encoding="utf-8").splitlines()[1:]
    values: dict[str, list[float]] = {}
    for row in rows:
        batch, _, value, *_ = row.split(",")
        values.setdefault(batch, []).append(float(value))
    _log(values)
    by_log = crumbwise("batch", "chart", "soda bread", "--response", "rise height", "--json")
    assert by_log.code == 0, by_log.err
    by_file = crumbwise("batch", "chart", log, "--response", "rise height", "--json").document
    for one, two in zip(by_log.document["charts"], by_file["charts"], strict=True):
        assert one["points"] == two["points"]
    other = crumbwise("batch", "chart", "soda bread", "--response", "weight")
    assert other.code == 4
    assert "rise height" in other.err


def test_the_export_of_a_product_is_charted_as_the_product_is(crumbwise, log, tmp_path):
    _log({f"B-{n}": [43 + (n * 7 % 11) / 5, 42.5] for n in range(1, 31)})
    with opened("kitchen.db") as store:
        table = batch_table("soda bread", list_batches(store, "soda bread"))
    (tmp_path / "export.csv").write_text(table.csv(), encoding="utf-8")
    by_log = crumbwise("batch", "chart", "soda bread", "--response", "rise height", "--json").document
    by_file = crumbwise("batch", "chart", "export.csv", "--response", "rise height", "--json").document
    assert [chart["points"] for chart in by_log["charts"]] == [chart["points"] for chart in by_file["charts"]]


def _log(values):
    from tracker.workflow.logging_batches import BatchEntry, log_batches

    with opened("kitchen.db", create=True) as store:
        entries = [
            BatchEntry(
                number=batch,
                baked_at=f"2026-0{1 + at // 28}-{1 + at % 28:02d}T06:00:00Z",
                lots={},
                readings={"rise height": readings},
            )
            for at, (batch, readings) in enumerate(values.items())
        ]
        log_batches(store, "soda bread", entries)


def test_the_schema_is_shipped():
    assert json.loads(files("analysis").joinpath("schema/chart.schema.json").read_text(encoding="utf-8")) == schema()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--response", "flow"), "Flow is stable over 10 batches"),
        (("--response", "flow", "--kind", "weighted", "--decimal", "comma"), "weighted mean of the batches so far"),
        (("--response", "flow", "--lower-spec", "40", "--upper-spec", "60"), "specification"),
    ],
)
def test_a_chart_leaves_as_a_page_that_tells_how_to_make_it_again(crumbwise, tmp_path, words, said):
    flow = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)  # NIST e-Handbook 6.3.2.2
    lines = ["batch,flow", *(f"{at},{value}" for at, value in enumerate(flow, 1))]
    (tmp_path / "flow.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    ran = crumbwise("batch", "chart", "flow.csv", *words, "--report", "page.html")
    assert ran.code == 0, ran.err
    page = (tmp_path / "page.html").read_text(encoding="utf-8")
    assert said in page
    assert "crumbwise batch chart flow.csv --response flow" in page
    assert page.count("<svg") >= 1
    again = crumbwise("batch", "chart", "flow.csv", *words, "--report", "again.html")
    assert again.code == 0
    assert (tmp_path / "again.html").read_bytes() == (tmp_path / "page.html").read_bytes()


def test_a_page_of_another_kind_is_refused_before_anything_is_drawn(crumbwise, tmp_path):
    ran = crumbwise("batch", "chart", "flow.csv", "--response", "flow", "--report", "page.txt")
    assert ran.code == 2
    assert "--report" in ran.err
    assert not (tmp_path / "page.txt").exists()
