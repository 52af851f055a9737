"""Are words of a score taken in the right order, and is the order told?"""

from __future__ import annotations

import json

import pytest

from tracker.errors import InputError, UsageError
from tracker.intake.scales import read_scale, scores_of
from tracker.intake.spreadsheet import read_spreadsheet


@pytest.fixture
def sheet(tmp_path):
    def make(*cells):
        path = tmp_path / "scores.csv"
        path.write_text("crumb,oven\n" + "".join(f"{cell},deck\n" for cell in cells))
        return read_spreadsheet(path)

    return make


def test_scales_are_read_with_and_without_a_name_and_an_order():
    assert read_scale("score").name == ""
    said = read_scale("Sat:score(Low<Medium<High)")
    assert (said.name, said.scale, said.words) == ("Sat", "score", ("Low", "Medium", "High"))
    assert read_scale("score(dry < moist)").words == ("dry", "moist")
    assert read_scale("rise (mm):measured").name == "rise (mm)"
    with pytest.raises(UsageError, match="once, lowest first"):
        read_scale("Sat:score(Low<Low)")
    with pytest.raises(UsageError, match="Only scores"):
        read_scale("Sat:count(Low<High)")
    with pytest.raises(UsageError, match="none of"):
        read_scale("Sat:scoer")


def test_a_known_ladder_of_words_is_climbed_whatever_comes_first(sheet):
    numbers, words, remark = scores_of(sheet("High", "Low", "", "Medium"), "crumb", ())
    assert numbers == [3.0, 1.0, None, 2.0]
    assert words == ("Low", "Medium", "High")
    assert "Low < Medium < High" in remark


def test_other_words_keep_their_order_and_say_so(sheet):
    numbers, words, remark = scores_of(sheet("gummy", "airy", "gummy"), "crumb", ())
    assert numbers == [1.0, 2.0, 1.0]
    assert "as they appear" in remark
    assert 'crumb:score(gummy<airy)"' in remark
    assert words == ("gummy", "airy")


def test_an_order_that_was_told_is_kept_and_strange_words_are_refused(sheet):
    numbers, _, remark = scores_of(sheet("gummy", "AIRY"), "crumb", ("airy", "gummy"))
    assert numbers == [2.0, 1.0]
    assert remark == ""
    with pytest.raises(InputError, match="none of the scores") as caught:
        scores_of(sheet("gumy"), "crumb", ("airy", "gummy"))
    assert "gummy" in caught.value.try_this


def test_numbers_stay_numbers(sheet):
    assert scores_of(sheet("1", "3"), "crumb", ()) == ([1.0, 3.0], (), "")


def test_words_reach_the_answer(tmp_path, capsys):
    from tracker.commands import main

    path = tmp_path / "taste.csv"
    rows = [f"{oven},{word}" for oven, words in (("deck", "poor fair fair good"), ("fan", "good fair excellent good"))
            for word in words.split() * 3]  # fmt: skip
    path.write_text("oven,crumb\n" + "\n".join(rows) + "\n")
    assert main(["analyse", str(path), "--kind", "score", "--response", "crumb", "--json"]) == 0
    document = json.loads(capsys.readouterr().out)
    answer = document["responses"][0]
    assert [one["between"] for one in answer["thresholds"]] == ["poor|fair", "fair|good", "good|excellent"]
    assert any("poor < fair < good < excellent" in remark for remark in document["remarks"])
    assert main(["analyse", str(path), "--response", "crumb", "--scale", "crumb:score", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["responses"][0]["model"]["kind"] != "cumulative link"
