"""Are formulas kept, shown, weighed and balanced from the command line?"""

import json

import pytest

from tracker.commands import main

LINES = ["--line", "wheat flour=100", "--line", "buttermilk=80", "--line", "baking soda=1.2"]


@pytest.fixture
def kitchen(tmp_path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("CRUMBWISE_KITCHEN", raising=False)
    assert main(["formula", "add", "loaf", *LINES]) == 0
    capsys.readouterr()


def answered(capsys, *words):
    assert main([*words, "--json"]) == 0
    return json.loads(capsys.readouterr().out)


def test_weights_follow_the_flour(kitchen, capsys):
    found = answered(capsys, "formula", "weigh", "loaf", "--flour-g", "300")
    assert {line["ingredient"]: line["grams"] for line in found["lines"]} == {
        "wheat flour": 300.0,
        "buttermilk": 240.0,
        "baking soda": pytest.approx(3.6),
    }


def test_the_same_name_makes_the_next_version_and_keeps_the_old(kitchen, capsys):
    assert main(["formula", "add", "loaf", "--line", "wheat flour=100", "--line", "milk=70"]) == 0
    capsys.readouterr()
    assert answered(capsys, "formula", "show", "loaf")["version"] == 2
    old = answered(capsys, "formula", "show", "loaf", "--formula-version", "1")
    assert "buttermilk" in [line["ingredient"] for line in old["lines"]]
    assert len(answered(capsys, "formula", "list")["formulas"]) == 1


def test_weights_in_grams_become_percent(kitchen, capsys):
    assert main(["formula", "add", "bun", "--line", "500 g wheat flour", "--line", "325 g water"]) == 0
    capsys.readouterr()
    lines = answered(capsys, "formula", "show", "bun")["lines"]
    assert [line["bakers_percent"] for line in lines] == [100.0, 65.0]


def test_the_balance_of_a_formula(kitchen, capsys):
    found = answered(capsys, "formula", "balance", "loaf")
    # 80 g of buttermilk at 0.8 % lactic use up 0.597 g of soda.
    assert found["soda_left_g"] == pytest.approx(1.2 - 0.597, abs=0.005)
    assert main(["leaven", "measured", "buttermilk", "--neutralises", "1.5"]) == 0
    capsys.readouterr()
    assert answered(capsys, "formula", "balance", "loaf")["soda_left_g"] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["formula", "show", "laof"], 4),
        (["formula", "show", "loaf", "--formula-version", "7"], 4),
        (["formula", "add", "x", "--line", "water=60"], 3),
        (["formula", "add", "x", "--line", "wheat flour=90"], 3),
        (["formula", "add", "x", "--line", "wheat flour=100", "--line", "200 g water"], 3),
        (["formula", "add", "x"], 3),
        (["formula", "weigh", "loaf", "--flour-g", "-3"], 3),
        (["formula", "weigh", "loaf", "--flour-g", "many"], 3),
        (["leaven", "measured", "juice"], 2),
        (["leaven", "measured", "juice", "--neutralises", "-1"], 3),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else None,
)
def test_what_cannot_be_is_refused(kitchen, capsys, words, code):
    assert main(words) == code
    assert "Try:" in capsys.readouterr().err


def test_the_balance_of_a_formula_leaves_as_a_page(kitchen, capsys, tmp_path):
    page = tmp_path / "balance.html"
    left = answered(capsys, "formula", "balance", "loaf", "--report", str(page))["left_out"]
    text = page.read_text(encoding="utf-8")
    assert "loaf, version" in text
    assert all(name in text for name in left)


def test_the_balance_of_a_formula_is_written_as_its_reader_writes(kitchen, capsys, tmp_path):
    page = tmp_path / "balance.html"
    words = ("--flour-g", "250.5", "--decimal", "comma", "--temperature", "F")
    answered(capsys, "formula", "balance", "loaf", *words, "--report", str(page))
    text = page.read_text(encoding="utf-8")
    assert "for 250,5 g of flour" in text
    assert "--flour-g 250.5 --formula-version 1 --decimal comma --temperature F" in text
    assert "(77\u00a0°F)" in text
