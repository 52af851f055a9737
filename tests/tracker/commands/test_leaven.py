"""Do the leaven commands answer in words and JSON, and refuse nonsense with a way out?"""

import json
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
        (["balance", "-5 g baking soda", "100 g water"], 3, "Try:"),
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
        (["strength", "salt", "1 g: 260 ml", "1 g: 260 ml"], 3, "no gas"),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_nonsense_is_refused_with_a_way_out(words, code, says, capsys):
    arguments = ["leaven", words[0], "--", *words[1:]] if words[1].startswith("-5") else ["leaven", *words]
    assert main(arguments) == code
    shown = capsys.readouterr()
    assert shown.out == ""
    assert says in shown.err
    assert "Try:" in shown.err
