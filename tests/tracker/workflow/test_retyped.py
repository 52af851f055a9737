"""Is every wish that a report tells read back as it was?"""

from __future__ import annotations

import shlex
from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tracker.errors import InputError
from tracker.workflow.asking import Columns
from tracker.workflow.options import Options
from tracker.workflow.reporting import Look
from tracker.workflow.retyped import read_command

TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("Cs", "Cc")), min_size=1).filter(str.strip)
PLAIN = TEXT.filter(lambda text: ":" not in text)


def value_of(name: str, default: object) -> st.SearchStrategy:
    if name == "effective":
        return st.lists(st.floats(0.01, 0.99), min_size=1).map(tuple)
    if name == "models":
        return st.lists(TEXT.map(lambda text: f"rise:{text}"), min_size=1).map(tuple)
    if default is False:
        return st.just(True)
    if isinstance(default, tuple):
        return st.lists(TEXT, min_size=1).map(tuple)
    if isinstance(default, int):
        return st.integers(0, 10**9)
    if isinstance(default, float):
        return st.floats(0.5, 0.999)
    return PLAIN if name == "model" else TEXT


OPTIONS = st.fixed_dictionaries(
    {}, optional={each.name: value_of(each.name, each.default) for each in fields(Options)}
).map(lambda said: Options(**said))
LOOKS = st.builds(
    Look,
    reader=st.sampled_from(["kitchen", "class"]),
    decimal=st.sampled_from(["point", "comma"]),
    temperature=st.sampled_from(["C", "F"]),
)
MANY = st.lists(TEXT, max_size=3).map(tuple)


@given(trial=TEXT, responses=MANY, options=OPTIONS, look=LOOKS)
def test_a_trials_command_is_read_back(trial, responses, options, look):
    said = [word for name in responses for word in ("--response", name)]
    typed = read_command(shlex.join(["crumbwise", "trial", "report", trial, *said, *options.said(), *look.said()]))
    assert (typed.about, typed.responses, typed.options, typed.look) == (trial, responses, options, look)
    assert typed.columns is None


@given(
    columns=st.builds(Columns, **dict.fromkeys(("responses", "factors", "blocks", "matters", "scales"), MANY)),
    sheet=st.none() | TEXT,
    look=LOOKS,
)
def test_a_spreadsheets_command_is_read_back(columns, sheet, look):
    words = ["crumbwise", "analyse", "rise.csv", *columns.said(), *Options(robust=True).said()]
    words += ["--sheet", sheet] if sheet is not None else []
    typed = read_command(shlex.join([*words, *look.said(), "--report", "report.html"]))
    assert (typed.about, typed.columns, typed.sheet, typed.look) == ("rise.csv", columns, sheet, look)
    assert typed.options == Options(robust=True)


@pytest.mark.parametrize(
    "command",
    [
        "",
        "rm -r kitchen.db",
        "crumbwise trial report",
        "crumbwise trial record soda",
        "crumbwise trial report soda --no-such x",
        "crumbwise trial report soda --seed",
        "crumbwise trial report soda --seed seven",
        "crumbwise trial report soda --decimal dot",
        "crumbwise trial report soda more",
        "crumbwise trial report 'soda",
        "crumbwise trial report soda --sheet x",
    ],
)
def test_what_no_report_holds_is_refused(command):
    with pytest.raises(InputError):
        read_command(command)
