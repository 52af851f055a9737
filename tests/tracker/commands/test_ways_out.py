"""Does every refusal of a wish name its option, and a way out that works?"""

from __future__ import annotations

import re
import shlex

import pytest

from tracker.commands import main

ROWS = "\n".join(
    f"{day},{acid},{soda},{40 + 6 * soda + (acid == 'lemon juice') + 0.3 * ((day * soda * 7) % 3)}"
    for day in (1, 2, 3)
    for acid in ("yogurt", "lemon juice", "cream of tartar")
    for soda in (0.5, 1, 1.5, 2)
)
PLAIN = ("--response", "rise", "--factor", "acid:category")


@pytest.fixture
def rise(tmp_path):
    path = tmp_path / "rise.csv"
    path.write_text(f"day,acid,soda,rise\n{ROWS}\n", encoding="utf-8")
    return path


MENDED = "acid: yogurt = 1, lemon juice = -1"


@pytest.mark.parametrize(
    ("asked", "where", "way", "then"),
    [
        ("--slope soda:day", "--slope", '--factor "soda:amount"', "--slope soda:day --factor soda:amount"),
        (
            "--contrast 'acid: yogurt = 1, lemn juice = -1'",
            "--contrast",
            f'--contrast "{MENDED}"',
            f"--contrast '{MENDED}'",
        ),
        ("--factor soda:amount --robust", "--robust", "--kind factors", "--factor soda:amount --robust --kind factors"),
        ("--dose soda --transform log", "--transform", "--kind factors without --dose",
         "--factor soda:amount --transform log --kind factors"),
        ("--effective 0.9", "--effective", "--kind dose", "--effective 0.9 --kind dose --dose soda"),
    ],
)  # fmt: skip
def test_the_way_out_of_a_refused_wish_works(crumbwise, rise, asked, where, way, then):
    refused = crumbwise("analyse", rise, *PLAIN, *shlex.split(asked))
    assert refused.code in (3, 7)
    assert f"Where: {where}" in refused.err
    assert f"Try: {way}" in refused.err
    assert crumbwise("analyse", rise, *PLAIN, *shlex.split(then)).code == 0


def test_a_level_nobody_meant_gets_an_example(crumbwise, rise):
    refused = crumbwise("analyse", rise, *PLAIN, "--contrast", "acid: water = 1, oil = -1")
    assert re.search(r'Try: --contrast "acid: yogurt = 1, cream of tartar = -1"', refused.err)


def test_a_spreadsheet_has_no_price(crumbwise, rise):
    refused = crumbwise("analyse", rise, *PLAIN, "--goal", "cost:minimise")
    assert refused.code == 3
    assert "A spreadsheet has no formula" in refused.err
    assert 'trial analyse NAME --goal "cost:minimise"' in refused.err


def test_an_interaction_of_something_else_names_its_option(crumbwise, rise):
    assert "Where: --interaction" in crumbwise("analyse", rise, *PLAIN, "--interaction", "acid:soda").err


def test_two_different_wishes_for_one_response_are_refused():
    from tracker.errors import UsageError
    from tracker.workflow.wanted import by_response

    with pytest.raises(UsageError, match="both maximise and minimise"):
        by_response(["rise:maximise", "rise:minimise"], ["rise"], "--goal")


def test_so_are_they_for_a_spreadsheet(tmp_path, capsys):
    path = tmp_path / "rise.csv"
    path.write_text("acid,rise\n" + "yogurt,40\nlemon,44\n" * 4, encoding="utf-8")
    asked = ["analyse", str(path), "--response", "rise", "--factor", "acid:category"]
    assert main([*asked, "--goal", "rise:maximise", "--goal", "rise:minimise"]) == 2
    assert "both maximise and minimise" in capsys.readouterr().err


@pytest.mark.parametrize("option", ["--goal", "--matters", "--accept", "--importance", "--margin"])
@pytest.mark.parametrize("typed", ["rise height", "Rise_Height", "rise height (mm)", "pH", "rise hight"])
def test_every_option_finds_a_response_alike(crumbwise, tmp_path, option, typed):
    path = tmp_path / "wide.csv"
    path.write_text(f"day,acid,soda,rise height (mm),pH\n{_with_ph()}\n", encoding="utf-8")
    value = {"--goal": "maximise", "--accept": "40.."}.get(option, "2")
    known = ["--response", "rise height", "--factor", "acid:category", "--goal", "rise height:maximise"]
    ran = crumbwise("analyse", path, *known, option, f"{typed}:{value}")
    if typed == "pH":
        assert (ran.code, 'Try: --response "pH"' in ran.err) == (2, True)
    elif typed == "rise hight":
        assert (ran.code, f'Try: {option} "rise height:{value}"' in ran.err) == (2, True)
    else:
        assert ran.code == 0, ran.err


def _with_ph() -> str:
    return "\n".join(f"{row},{7 + at % 3 / 10}" for at, row in enumerate(ROWS.split("\n")))
