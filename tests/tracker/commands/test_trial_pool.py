"""Are trials of a kitchen pooled from the command line, and what does not belong together refused?"""

from __future__ import annotations

import contextlib
import json
import shutil
from pathlib import Path

import numpy as np
import pytest

from tracker.commands import main

PLAN = """
title = "Powder {name}"
name = "{name}"
flour_per_bake_g = 200

[formula]
name = "{formula}"
[[formula.line]]
ingredient = "wheat flour"
bakers_percent = 100
flour = true
[[formula.line]]
ingredient = "milk"
bakers_percent = 60

[[factor]]
name = "powder"
kind = "amount"
unit = "% flour"
low = 1
high = 4
ingredient = "baking powder"

[[factor]]
name = "rest"
kind = "category"
levels = ["none", "20 min"]

[[response]]
name = "{response}"
unit = "{unit}"
goal = "maximise"
matters = 3

[design]
kind = "full factorial"
levels = 2
replicates = 3
seed = {seed}
"""


def bake(name: str, seed: int, *, formula="scone", unit="mm", response="rise height", replicates=3) -> None:
    from tracker.store import open_kitchen
    from tracker.workflow.planning import plan_trial
    from tracker.workflow.recording import record_run

    chance = np.random.Generator(np.random.PCG64(seed))
    with open_kitchen("kitchen.db", create=not Path("kitchen.db").exists(), name="kitchen") as store:
        plan = PLAN.format(name=name, formula=formula, unit=unit, seed=seed, response=response)
        planned = plan_trial(store, plan.replace("replicates = 3", f"replicates = {replicates}"))
        slope = 3 + 0.3 * chance.standard_normal()
        for run in planned.plan.runs:
            rise = 30 + slope * run.settings["powder"] + chance.standard_normal()
            record_run(store, name, run.code, [f"{response}={rise:.2f}"])


@pytest.fixture(scope="module")
def baked(tmp_path_factory):
    """Three trials, baked once; each test works on a copy."""
    folder = tmp_path_factory.mktemp("pool")
    with contextlib.chdir(folder):
        for at, name in enumerate(("spring", "summer", "autumn")):
            bake(name, at + 1)
    return folder


@pytest.fixture
def kitchen(baked, tmp_path, monkeypatch):
    shutil.copytree(baked, tmp_path, dirs_exist_ok=True)
    monkeypatch.chdir(tmp_path)


def test_text_json_and_report_say_the_same(kitchen, capsys):
    from jsonschema import validate

    from analysis.pooling.serialise import schema

    words = ["trial", "pool", "autumn", "spring", "summer"]
    assert main(words) == 0
    text = capsys.readouterr().out
    assert text.startswith("Pooled: spring, summer and autumn.")
    assert "powder from 1 to 4 % flour comes to +" in " ".join(text.split())
    assert main([*words, "--json", "--report", "pooled.html"]) == 0
    document = json.loads(capsys.readouterr().out)
    validate(document, schema())
    powder = next(one for one in document["effects"] if one["factor"] == "powder")
    assert powder["estimate"] == pytest.approx(9, abs=2)
    assert powder["matters"] == "yes"
    assert powder["matters_size"] == 3
    page = Path("pooled.html").read_text(encoding="utf-8")
    assert page.count("<svg") == 2 * len(document["effects"])
    assert "a next trial" in page
    assert "<script" not in page


def test_the_page_answers_first_then_shows_it_and_says_what_differs(kitchen, capsys):
    import re

    bake("winter", 12, replicates=4)
    words = ["trial", "pool", "spring", "summer", "winter", "--report", "pooled.html"]
    assert main(words) == 0
    page = Path("pooled.html").read_text(encoding="utf-8")
    keys = re.findall(r'<h2 id="([\w-]+)"', page)
    assert keys[:3] == ["answer", "effect-1", "unlike"]
    assert keys[-2:] == ["made", "provenance"]
    lead = r'<p class="lead">Over 3 trials, powder from 1 to 4\s%\sflour comes to \+'  # no line ends before "%"
    assert re.search(lead, page)
    assert "They differ in planned runs, and are alike in formula, flour" in page
    assert re.search(r"planned runs</th><td>12</td><td>12</td><td>16<", page)
    assert main(words) == 0
    assert Path("pooled.html").read_text(encoding="utf-8") == page


def test_one_response_and_factor_can_be_picked(kitchen, capsys):
    words = ["trial", "pool", "spring", "autumn", "--factor", "powder", "--response", "rise height", "--json"]
    assert main(words) == 0
    document = json.loads(capsys.readouterr().out)
    assert [one["factor"] for one in document["effects"]] == ["powder"]
    assert document["effects"][0]["next_low"] is None
    assert "--factor powder" in document["provenance"]["command"]


def test_other_products_need_a_word_and_other_units_are_refused(kitchen, capsys):
    bake("muffins", 9, formula="muffin")
    bake("inches", 10, unit="inch")
    assert main(["trial", "pool", "spring", "muffins"]) == 2
    refused = capsys.readouterr().err
    assert 'spring is a trial of "scone", muffins of "muffin"' in refused
    assert "--anyway" in refused
    assert main(["trial", "pool", "spring", "muffins", "--anyway"]) == 0
    assert "pooled as one product because that was asked for" in " ".join(capsys.readouterr().out.split())
    assert main(["trial", "pool", "spring", "inches"]) == 3
    assert "in mm" in capsys.readouterr().err


def test_anyway_is_offered_only_where_it_leads_somewhere(kitchen, capsys):
    bake("biscuits", 11, formula="biscuit", response="spread", unit="mm")
    for way in ([], ["--anyway"]):
        assert main(["trial", "pool", "spring", "biscuits", *way]) == 7
        refused = capsys.readouterr().err
        assert "no factor and response in common" in refused
        assert "--anyway" not in refused


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (["spring"], 2),
        (["spring", "spring"], 2),
        (["spring", "sprung"], 4),
        (["spring", "summer", "--factor", "heat"], 3),
        (["spring", "summer", "--confidence", "95"], 2),
    ],
)
def test_what_cannot_be_pooled_is_refused(kitchen, capsys, words, code):
    assert main(["trial", "pool", *words]) == code
    assert "Try:" in capsys.readouterr().err


def test_an_interval_that_is_cut_at_the_edge_says_so(kitchen):
    from dataclasses import replace

    from reports.figures.pooled import draw_pooled
    from tracker.store import open_kitchen
    from tracker.workflow.pooling import pool_trials

    with open_kitchen("kitchen.db") as store:
        (effect,) = pool_trials(store, ["spring", "summer"], factors=["powder"]).pooling.effects
    whole, cut = draw_pooled(effect, key="f"), draw_pooled(replace(effect, low=-900.0, high=900.0), key="f")
    assert "go on beyond the picture" not in whole.caption
    assert "go on beyond the picture" in cut.caption
    assert cut.svg != whole.svg
    assert "900" in cut.table.rows[-1][3]


def test_an_interval_of_nothing_but_zero_is_no_news(kitchen, capsys):
    assert main(["trial", "pool", "spring", "summer", "autumn"]) == 0
    text = capsys.readouterr().out
    assert "hardly known" in text
    assert "from 0 to 0 would fit" not in text
