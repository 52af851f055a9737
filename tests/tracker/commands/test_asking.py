"""Are the options of an analysis the same wherever they are asked for?"""

from __future__ import annotations

import inspect
from collections.abc import Callable
from typing import Any

import pytest

from tracker.commands.analyse import analyse as analyse_file
from tracker.commands.asking import asks_how, options_of
from tracker.commands.trial_answers import analyse, report
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
    # A spreadsheet has no formula to follow, and goals of its own.
    assert trial == {**spreadsheet, "follow": trial["follow"], "goal": trial["goal"]}
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
