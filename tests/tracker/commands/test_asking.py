"""Are the options of an analysis the same wherever they are asked for?"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable
from typing import Any

import pytest

from tracker.commands.analyse import analyse as analyse_file
from tracker.commands.asking import SHAPE_FAMILIES, SHAPES, asks_how, options_of
from tracker.commands.grouped import HEADINGS
from tracker.commands.trial_answers import analyse
from tracker.commands.trial_report import report
from tracker.errors import UsageError
from tracker.workflow.options import Options

ASKED = tuple(inspect.signature(options_of).parameters)


def options_in(command: Callable[..., None]) -> dict[str, inspect.Parameter]:
    parameters = inspect.signature(command).parameters
    assert "options" not in parameters
    return {name: parameters[name] for name in ASKED if name in parameters}


def shown(command: Callable[..., None]) -> dict[str, tuple[Any, ...]]:
    """Option -> its type, default, help and placeholder."""
    found = {}
    for name, each in options_in(command).items():
        option = each.annotation.__metadata__[0]
        found[name] = (each.annotation.__origin__, each.default, option.help, option.metavar)
    return found


def test_a_trial_its_report_and_a_spreadsheet_ask_alike():
    trial, spreadsheet = shown(analyse), shown(analyse_file)
    assert tuple(trial) == ASKED
    assert trial == shown(report)
    # A spreadsheet has no formula to follow.
    assert trial == {**spreadsheet, "follow": trial["follow"]}
    assert "follow" not in spreadsheet
    assert all(words for _, _, words, _ in trial.values())


def test_the_defaults_are_those_of_the_workflow():
    assert options_of() == Options()


def test_what_is_said_reaches_the_command_as_options():
    given: list[Any] = []

    @asks_how(without=("seed",))
    def command(name: str, *, options: Options, loud: bool = False) -> None:
        given.append((name, options, loud))

    first, *_, last = inspect.signature(command).parameters
    assert (first, last) == ("name", "loud")
    said = {name: each.default for name, each in options_in(command).items()}
    command(name="soda", loud=True, **{**said, "dose": "soda", "reference": ["milk"]})
    assert given == [("soda", Options(dose="soda", references=("milk",)), True)]


def test_an_unknown_kind_is_refused_with_the_nearest():
    with pytest.raises(UsageError) as refused:
        options_of(kind="dos")
    assert "--kind dose" in refused.value.try_this


def test_every_option_of_an_analysis_stands_under_one_heading():
    headed = [name for names in HEADINGS.values() for name in names]
    assert len(headed) == len(set(headed))
    assert set(ASKED) == set(headed)


@pytest.mark.parametrize("words", [("analyse",), ("trial", "analyse"), ("trial", "report")])
def test_the_help_shows_each_option_once_under_its_heading(crumbwise, words):
    said = crumbwise(*words, "--help").out
    headings = [f"{heading}:" for heading in ("Arguments", "Options", *HEADINGS)]
    assert [line for line in said.splitlines() if line in headings] == headings
    listed = re.findall(r"^  (--[a-z-]+)", said, flags=re.MULTILINE)
    assert len(listed) == len(set(listed))
    assert said.index("What bakes share:") < said.index("--slope") < said.index("What else to allow for:")


def test_the_shapes_of_the_help_are_those_of_the_engine():
    from analysis.dose_response.free_shapes import FREE
    from analysis.dose_response.shapes import FAMILIES
    from analysis.dose_response.shapes import SHAPES as KNOWN

    assert (*KNOWN, *FREE) == SHAPES
    assert tuple(FAMILIES) == SHAPE_FAMILIES
    help_ = options_in(analyse)["shape"].annotation.__metadata__[0].help
    said = set(re.findall(r"[a-z]+(?:-[a-z0-9]+)*", help_))
    assert {*SHAPES, *SHAPE_FAMILIES} <= said


@pytest.mark.parametrize(
    ("said", "way"),
    [
        ({"slope": ["soda"]}, '--slope "AMOUNT:GROUP"'),
        ({"interaction": ["soda"]}, '--interaction "A:B"'),
        ({"contrast": ["garbage"]}, '--contrast "acid: yogurt = 1, lemon juice = -1"'),
    ],
)
def test_what_needs_a_colon_and_has_none_is_an_error_of_usage(said, way):
    with pytest.raises(UsageError) as refused:
        options_of(**said)
    assert refused.value.try_this == way
