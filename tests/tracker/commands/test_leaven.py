"""Do the leaven commands answer in words and JSON, and refuse nonsense with a way out?"""

import json
import subprocess
import sys
from importlib.resources import files

import pytest
from jsonschema import Draft202012Validator

from tracker.commands import main

ASKED = [
    ["balance", "5 g baking soda", "240 g buttermilk"],
    ["curve", "100 g vinegar"],
    ["neutral", "245 g buttermilk"],
    ["swap", "240 g buttermilk", "cream of tartar"],
    ["swap", "5 g baking soda", "potassium bicarbonate"],
    ["swap", "10 g baking powder", "cream of tartar", "--parts"],
    ["powder", "30 g baking soda", "67 g cream of tartar", "20 g starch"],
    ["powder", "--acid", "cream of tartar", "--available", "12"],
    ["release", "5 g baking powder"],
    ["altitude", "1600"],
    ["strength", "baking soda", "1 g: 260 ml", "1 g: 271 ml"],
    ["acids"],
]


@pytest.mark.parametrize("words", ASKED, ids=" ".join)
def test_answers_in_words_and_json(words, capsys):
    assert main(["leaven", *words]) == 0
    said = capsys.readouterr().out
    assert len(said.splitlines()) >= 1
    assert "nan" not in said.casefold().split()
    assert main(["leaven", *words, "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["schema_version"] == 1 or words[0] == "strength"


@pytest.mark.parametrize(
    "amounts",
    [
        ["5 g baking soda", "240 g buttermilk"],
        ["1 tsp baking powder", "1 cup milk"],
        ["2 g ammonium bicarbonate", "50 g water"],
        ["100 g lemon juice"],
        ["1 g alum baking powder", "20 g water"],
    ],
    ids=" + ".join,
)
def test_the_balance_document_follows_its_schema(amounts, capsys):
    main(["leaven", "balance", *amounts, "--json"])
    found = json.loads(capsys.readouterr().out)
    schema = json.loads(files("analysis").joinpath("schema/balance.schema.json").read_text(encoding="utf-8"))
    assert [error.message for error in Draft202012Validator(schema).iter_errors(found)] == []
    assert found["ph"]["low"] <= min(found["ph"][state] for state in ("mixed_closed", "mixed_open", "baked"))


def test_balance_json_holds_what_is_promised(capsys):
    main(["leaven", "balance", "5 g baking soda", "240 g buttermilk", "--json"])
    found = json.loads(capsys.readouterr().out)
    assert found["co2"]["available_g"] == pytest.approx(found["co2"]["available_mmol"] * 44.009 / 1000)
    assert found["soda_g"] == pytest.approx(5.0)
    # 240 g of buttermilk at 0.8 % lactic neutralise 1.79 g of soda.
    assert found["neutral_soda"]["by_equivalence_g"] == pytest.approx(1.79, abs=0.01)
    assert found["soda_left_g"] == pytest.approx(5.0 - found["neutral_soda"]["by_equivalence_g"])
    ph = found["ph"]
    assert ph["low"] <= ph["mixed_closed"] <= ph["mixed_open"] <= ph["baked"] <= ph["high"]
    assert [line["ingredient"] for line in found["lines"]] == ["baking soda", "buttermilk"]
    assert any("soapy" in caution for caution in found["cautions"])


@pytest.mark.parametrize(
    ("words", "code", "says"),
    [
        (["balance", "5 g baking sodda", "100 g water"], 3, "baking soda"),
        (["balance", "--", "-5 g baking soda", "100 g water"], 3, "amount"),
        (["balance", "-5 g baking soda", "100 g water"], 2, "option"),
        (["balance", "five soda"], 3, "Try:"),
        (["balance", "5 g baking soda"], 3, "water"),
        (["balance", "1 tsp adipic acid", "100 g water"], 3, "spoonful"),
        (["balance", "5 g baking soda", "100 g water", "--celsius", "150"], 3, "temperature"),
        (["balance", "5 g baking soda", "100 g water", "--altitude", "20000"], 3, "height"),
        (["neutral", "245 g buttermilk", "--target-ph", "12"], 3, "target"),
        (["powder", "30 g starch"], 3, "soda"),
        (["powder", "--acid", "dicalcium phosphate", "--available", "40"], 3, "weigh more"),
        (["swap", "100 g water", "cream of tartar"], 3, "no acid"),
        (["strength", "baking soda", "1 g: 260 ml"], 7, "interval"),
        (["balance", "5 g baking soda", "100 g water", "--portions", "inf"], 3, "portions"),
        (["balance", "5 g baking soda", "100 g water", "--portions", "0"], 3, "portions"),
        (["balance", "1000000 kg baking soda", "100 g vinegar"], 7, "more water"),
        (["balance", "5 g baking soda", "9 g x", "--own", "x: acidity=9 pH=9"], 3, "pH 9 has none"),
        (["balance", "5 g baking soda", "9 ml x", "--own", "x: acidity=9 pH=4 density=0"], 3, "impossible"),
        (["powder"], 3, "cream of tartar"),
        (["powder", "--acid", "cream of tartar=nan"], 3, "acid"),
        (["powder", "--acid", "cream of tartar", "--available", "nan"], 3, "cannot be"),
        (["swap", "5 g baking soda", "baking powder"], 3, "its own acid"),
        (["altitude", "-500"], 2, '"--"'),
        (["strength", "salt", "1 g: 260 ml", "1 g: 260 ml"], 3, "no gas"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_nonsense_is_refused_with_a_way_out(words, code, says, capsys):
    assert main(["leaven", *words]) == code
    shown = capsys.readouterr()
    assert shown.out == ""
    assert says in shown.err
    assert "Warning" not in shown.err
    assert "Try:" in shown.err


def test_what_comes_on_the_bench_is_a_table_over_time(capsys):
    main(["leaven", "release", "10 g baking powder", "--json"])
    found = json.loads(capsys.readouterr().out)
    curve = found["bench_curve"]
    assert [point["minutes"] for point in curve] == [0, 1, 2, 5, 10, 12]
    shares = [point["share"] for point in curve]
    assert shares[0] == 0
    assert shares == sorted(shares)
    assert shares[2] == pytest.approx(found["mixing"], abs=0.02)
    assert shares[-1] == pytest.approx(found["mixing"] + found["bench"], abs=1e-6)
    main(["leaven", "release", "10 g baking powder"])
    assert capsys.readouterr().out.count("\n") >= len(curve) + 3


def test_an_alum_and_ammonium_bicarbonate_wait_for_the_oven(capsys):
    for mix in (["3 g sodium aluminium sulfate", "3 g baking soda"], ["3 g ammonium bicarbonate"]):
        main(["leaven", "release", *mix, "--json"])
        assert [point["share"] for point in json.loads(capsys.readouterr().out)["bench_curve"]] == [0] * 6


def test_ammonium_bicarbonate_gives_all_of_its_gas_and_soda_alone_half(capsys):
    # 84.006 g soda and 79.055 g ammonium bicarbonate hold a mole each: half against one, all in the oven;
    # with a mole of tartaric protons first, acid frees the soda's mole before.
    main(
        [
            "leaven",
            "release",
            "84.006 g baking soda",
            "188.176 g cream of tartar",
            "79.055 g ammonium bicarbonate",
            "--json",
        ]
    )
    assert json.loads(capsys.readouterr().out)["oven"] == pytest.approx(0.5)


@pytest.mark.parametrize("celsius", ["0", "100"])
@pytest.mark.parametrize(
    "amounts",
    [
        ["5 g citric acid", "100 g water"],
        ["0 g baking soda", "100 g buttermilk"],
        ["½ tsp baking soda", "1 cup buttermilk"],
        ["2 g ammonium bicarbonate", "2 tsp alum baking powder", "3 g potassium bicarbonate", "100 g milk"],
        ["0,001 mg baking soda", "1 kg lemon juice"],
    ],
    ids=" + ".join,
)
def test_odd_mixtures_still_give_a_sound_document(amounts, celsius, capsys):
    words = ["balance", *amounts, "--celsius", celsius, "--altitude", "4000", "--json"]
    assert main(["leaven", *words]) == 0
    shown = capsys.readouterr()
    found = json.loads(shown.out, parse_constant=pytest.fail)
    schema = json.loads(files("analysis").joinpath("schema/balance.schema.json").read_text(encoding="utf-8"))
    assert [error.message for error in Draft202012Validator(schema).iter_errors(found)] == []
    assert shown.err == ""


def test_a_balance_loads_no_more_than_it_needs(tmp_path, monkeypatch):
    """Half of its time is loading, so what it does without must stay outside."""
    monkeypatch.delenv("CRUMBWISE_KITCHEN", raising=False)
    monkeypatch.delenv("OPENBLAS_NUM_THREADS", raising=False)
    code = (
        "import sys; from tracker.commands import main; "
        "main(['leaven', 'balance', '5 g baking soda', '240 g buttermilk']); "
        "import os; there = os.path.isdir('/proc/self/task'); "
        "print('THREADS', len(os.listdir('/proc/self/task')) if there else 1); print('LOADED', *sys.modules)"
    )
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=tmp_path)
    loaded = set(ran.stdout.partition("LOADED ")[2].split())
    assert "THREADS 1\n" in ran.stdout  # no thread waits for a matrix product that never comes
    assert {"numpy", "analysis.leavening.balance", "analysis.words.leavening"} <= loaded
    aside = {f"analysis.leavening.{name}" for name in ("curve", "powder", "swap", "strength", "altitude", "runs")}
    heavy = {"numpy.ma", "pandas", "scipy", "sqlalchemy", "matplotlib", "analysis.results", "analysis.words.findings"}
    assert loaded & (aside | heavy) == set()


def test_a_balance_leaves_as_a_page_that_can_be_made_again(tmp_path, capsys):
    page = tmp_path / "balance.html"
    main(["leaven", "balance", "5 g baking soda", "240 g buttermilk", "--celsius", "30", "--report", str(page)])
    first = page.read_bytes()
    assert b"3.21 g of soda is left over" in first
    assert b"--celsius 30" in first
    assert "Report:" in capsys.readouterr().err
    main(["leaven", "balance", "5 g baking soda", "240 g buttermilk", "--celsius", "30", "--report", str(page)])
    assert page.read_bytes() == first


def test_a_balance_is_written_as_its_reader_writes(tmp_path, capsys):
    page = tmp_path / "balance.html"
    words = ["leaven", "balance", "5 g baking soda", "240 g buttermilk", "--report", str(page)]
    assert main([*words, "--decimal", "comma", "--temperature", "F"]) == 0
    text = page.read_text(encoding="utf-8")
    assert "3,21 g of soda is left over" in text
    assert "25\u00a0°C (77\u00a0°F) and 101,3 kPa" in text
    assert "Gas free at 95\u00a0°C (203\u00a0°F)" in text
    assert "--decimal comma --temperature F" in text  # the command that makes it again
    assert "3.21" in capsys.readouterr().out  # the words for a terminal stay as they are
    assert main([*words, "--decimal", "dot"]) == 2
    assert "Try:" in capsys.readouterr().err


def test_a_balance_leaves_as_a_pdf_and_as_nothing_else(tmp_path, capsys):
    words = ["leaven", "balance", "5 g baking soda", "240 g buttermilk", "--report"]
    assert main([*words, str(tmp_path / "balance.txt")]) == 2
    assert not (tmp_path / "balance.txt").exists()
    pytest.importorskip("weasyprint", exc_type=(ImportError, OSError))
    for paper in ("A4", "Letter"):
        assert main([*words, str(tmp_path / f"{paper}.pdf"), "--paper", paper]) == 0
    a4, letter = ((tmp_path / f"{paper}.pdf").read_bytes() for paper in ("A4", "Letter"))
    assert a4.startswith(b"%PDF")
    assert letter.startswith(b"%PDF")
    assert a4 != letter


def test_a_page_that_cannot_be_written_is_said(tmp_path, capsys):
    (tmp_path / "file").write_text("x", encoding="utf-8")
    code = main(["leaven", "balance", "5 g baking soda", "240 g milk", "--report", str(tmp_path / "file" / "b.html")])
    assert code == 3
    assert "Try:" in capsys.readouterr().err
