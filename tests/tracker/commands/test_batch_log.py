"""Can a technician log, judge, put right and decide from the command line, in words and as JSON?"""

from __future__ import annotations

import shutil

import pytest

from tracker.commands import main


@pytest.fixture(scope="module")
def logged(tmp_path_factory):
    """A kitchen with a product and six batches, logged one by one; each test works on a copy."""
    folder = tmp_path_factory.mktemp("log")
    here = ("--kitchen", str(folder / "kitchen.db"), "batch")
    spec = "rise height:lower=40,upper=48,target=44,unit=mm"
    assert main([*here, "product", "add", "scones", "--spec", spec]) == 0
    for place in range(1, 7):
        values = f"rise height={43 + 0.3 * (place % 3):.1f}, {42.6 + 0.2 * (place % 2):.1f}"
        said = ("--at", f"2026-03-0{place}", "--oven", "upper", "--lot", "flour=F-1", "--reading", values)
        assert main([*here, "log", "scones", str(place), *said]) == 0
    return folder


@pytest.fixture
def kitchen(logged, crumbwise, tmp_path):
    shutil.copytree(logged, tmp_path, dirs_exist_ok=True)
    return tmp_path


@pytest.mark.parametrize(
    "words",
    [
        ("scones", "--spec", "rise height:lower=48,upper=40"),
        ("scones", "--response", "rise height:stands-for=luck"),
        ("scones", "--trial", "soda"),
        ("scones", "--formula", "loaf"),
        (" ",),
    ],
)
def test_a_product_that_cannot_be_leaves_no_empty_kitchen(crumbwise, tmp_path, words):
    ran = crumbwise("batch", "product", "add", *words)
    assert ran.code in (3, 4)
    assert not (tmp_path / "kitchen.db").exists()


def test_one_step_logs_a_batch_and_says_what_it_is(kitchen, crumbwise):
    ran = crumbwise("batch", "log", "scones", "7", "--reading", "rise height=43.1, 42.8")
    assert ran.code == 0
    lines = ran.out.splitlines()
    assert lines[0].startswith('Batch 7 of "scones" is logged, baked at ')
    assert "is what this process does by itself" in lines[1]
    assert lines[2] == "  Every piece meets the specification (40 to 48 mm, target 44 mm)."


def test_json_holds_the_same(kitchen, crumbwise):
    ran = crumbwise("batch", "log", "scones", "7", "--reading", "rise height=33.1, 32.8", "--json")
    assert ran.code == 0
    (verdict,) = ran.document["verdicts"]
    assert verdict["as_expected"] is False
    assert verdict["specification"]["meets"] is False
    assert verdict["limits"]["provisional"] is True
    assert set(ran.document["alarms_raised"]) == set(verdict["alarms"]) != set()
    listed = crumbwise("batch", "alarms", "scones", "--open", "--json").document
    assert {alarm["alarm"] for alarm in listed["alarms"]} >= set(verdict["alarms"])


def test_the_story_of_an_alarm(kitchen, crumbwise):
    crumbwise("batch", "log", "scones", "7", "--reading", "rise height=33.1, 32.8")
    first = crumbwise("batch", "alarms", "scones", "--json").document["alarms"][0]["alarm"]
    seen = crumbwise("batch", "answer", "scones", str(first))
    assert "(seen, cause not known yet)" in seen.out
    answered = crumbwise("batch", "answer", "scones", str(first), "--cause", "cold oven", "--action", "waited")
    assert "cause: cold oven; action: waited" in answered.out
    assert crumbwise("batch", "causes", "scones").out.startswith(
        "● cold oven: 1 alarm at 1 batch, last 7  done: waited"
    )
    assert crumbwise("batch", "causes", "scones", "--json").document["causes"][0]["cause"] == "cold oven"
    assert crumbwise("batch", "answer", "scones", "999").code == 4
    assert crumbwise("batch", "answer", "scones", "x").code == 2


def test_limits_are_shown_and_frozen(kitchen, crumbwise):
    empty = crumbwise("batch", "limits", "scones")
    assert (empty.code, empty.out) == (0, "")
    assert "No limits are frozen yet. Try:" in empty.err
    assert crumbwise("batch", "limits", "scones", "--from", "2").code == 3  # without a reason
    frozen = crumbwise("batch", "limits", "scones", "--reason", "the first week", "--json")
    assert frozen.code == 0, frozen.err
    assert frozen.document["limits"]["provisional"] is True
    assert "frozen on" in crumbwise("batch", "limits", "scones").out
    assert len(crumbwise("batch", "limits", "scones", "--json").document["phases"]) == 1


def test_a_slip_is_put_right_and_a_batch_is_decided_about(kitchen, crumbwise):
    done = crumbwise("batch", "correct", "scones", "6", "--oven", "lower", "--reason", "typed wrong")
    assert 'oven "lower" (was "upper")' in done.out
    assert crumbwise("batch", "correct", "scones", "6", "--oven", "lower").code == 3
    assert crumbwise("batch", "correct", "scones", "6", "--void", "--unvoid", "--reason", "x").code == 2
    shown = crumbwise("batch", "show", "scones", "6")
    assert 'oven "lower": typed wrong' in shown.out
    assert crumbwise("batch", "show", "scones", "6", "--json").document["oven"] == "lower"
    story = crumbwise("batch", "verdict", "scones", "6")
    assert "Nobody has decided about it yet" in story.out
    held = crumbwise("batch", "verdict", "scones", "6", "--hold", "--reason", "waiting", "--json")
    assert held.document["decisions"][-1]["decision"] == "hold"
    assert crumbwise("batch", "verdict", "scones", "6", "--hold", "--accept", "--reason", "x").code == 2
    assert crumbwise("batch", "verdict", "scones", "6", "--hold").code == 3
    assert crumbwise("batch", "verdict", "scones", "6", "--reason", "x").code == 2
    taken = crumbwise("batch", "correct", "scones", "6", "--void", "--reason", "logged twice")
    assert taken.code == 0
    assert "6" not in [each["batch"] for each in crumbwise("batch", "list", "scones", "--json").document["batches"]]
    assert "(taken back)" in crumbwise("batch", "list", "scones", "--void").out


def test_lots_have_days(kitchen, crumbwise):
    made = crumbwise("batch", "lot", "add", "flour=F-1", "--received", "2026-02-20", "--opened", "1.3.2026")
    assert made.out == "flour F-1: received 2026-02-20, opened 2026-03-01; no batch yet\n"
    listed = crumbwise("batch", "lot", "list", "flour")
    assert "6 batches: 1 to 6" in listed.out
    assert crumbwise("batch", "lot", "list", "--json").document["lots"][0]["opened_on"] == "2026-03-01"
    assert "flour lot F-1, 2 days old" in crumbwise("batch", "show", "scones", "3").out


def test_products_are_listed_shown_and_specified(kitchen, crumbwise):
    assert crumbwise("batch", "product", "list").out == "scones  (6 batches)\n"
    assert "specification 40 to 48 mm, target 44 mm (version 1)" in crumbwise("batch", "product", "show", "scones").out
    wrong = crumbwise("batch", "product", "spec", "scones", "rise height:lower=50,upper=40", "--reason", "x")
    assert (wrong.code, wrong.err.splitlines()[-1]) == (
        3,
        'Try: "rise height:lower=40,upper=50" if they were swapped',
    )
    assert crumbwise("batch", "product", "spec", "scones", "rise height:lower=41,upper=48").code == 3
    again = crumbwise("batch", "product", "spec", "scones", "rise height:lower=41,upper=48", "--reason", "y", "--json")
    assert again.document["responses"][0]["specification"]["version"] == 2
    added = crumbwise("batch", "product", "response", "scones", "crumb pH")
    assert "Crumb pH is taken for pH" in added.err


def test_a_season_is_looked_at_imported_and_taken_back(kitchen, crumbwise):
    file = kitchen / "season.csv"
    file.write_text("batch,baked at,rise height\nS1,2026-04-01,43\nS2,2026-04-02,x\n", encoding="utf-8")
    dry = crumbwise("batch", "import", "scones", file, "--dry-run", "--json")
    assert dry.code == 3
    assert dry.document["errors"][0]["row"] == 3
    assert crumbwise("batch", "import", "scones", file).code == 3
    file.write_text("batch,baked at,rise height\nS1,2026-04-01,43\nS2,2026-04-02,44\n", encoding="utf-8")
    done = crumbwise("batch", "import", "scones", file)
    assert "2 batches with 2 readings were stored." in done.out
    assert crumbwise("batch", "import", "scones", file).code == 5
    assert crumbwise("batch", "import", "scones", file, "--undo", "--dry-run").code == 2
    gone = crumbwise("batch", "import", "scones", file, "--undo", "--reason", "another bakery", "--json")
    assert gone.document["batches_taken_back"] == ["S1", "S2"]


def test_the_history_of_a_batch_names_every_entry(kitchen, crumbwise):
    crumbwise("batch", "correct", "scones", "6", "--oven", "lower", "--reason", "typed wrong")
    told = crumbwise("records", "history", "--product", "scones", "--batch", "6", "--json").document["entries"]
    assert told[0]["new"]["detail"] == "oven"
    assert {"batch", "bake", "piece", "reading", "batch_lot", "batch_change"} <= {entry["table"] for entry in told}
    whole = crumbwise("records", "history", "--product", "scones", "--limit", "500", "--json").document["entries"]
    assert {"product", "specification", "logged_response"} <= {entry["table"] for entry in whole}
    assert crumbwise("records", "history", "--batch", "6").code == 2
    assert crumbwise("records", "history", "--product", "scone").code == 4
    assert crumbwise("records", "verify").code == 0


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("log", "scone", "7"), 4),
        (("log", "scones", "3"), 5),
        (("log", "scones", "7", "--reading", "rise=43"), 4),
        (("log", "scones", "7", "--reading", "rise height=high"), 3),
        (("log", "scones", "7", "--at", "soon"), 3),
        (("log", "scones", "7", "--more"), 2),
        (("show", "scones", "77"), 4),
        (("verdict", "scones", "77"), 4),
        (("limits", "scones", "--reason", "x", "--from", "77"), 4),
        (("limits", "scones", "--reason", "x", "--rule", "seven"), 3),
    ],
)
def test_what_is_wrong_has_its_exit_code_and_a_way_out(kitchen, crumbwise, words, code):
    ran = crumbwise("batch", *words, "--json")
    assert ran.code == code, ran.err
    assert ran.document["error"]["exit_code"] == code
    assert "\nTry: " in ran.err
