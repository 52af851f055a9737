"""Does every command keep the rules that all of them share?"""

from __future__ import annotations

import importlib
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import typer

from tracker.commands import GROUPS


def leaves(command: Any, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any]]:
    below = getattr(command, "commands", None)
    if not below:
        yield path, command
        return
    for name, child in below.items():
        yield from leaves(child, (*path, name))


def all_commands() -> list[tuple[tuple[str, ...], Any]]:
    return [
        leaf
        for group, (module, _) in GROUPS.items()
        for leaf in leaves(typer.main.get_command(importlib.import_module(module).app), (group,))
    ]


COMMANDS = all_commands()
PATHS = [path for path, _ in COMMANDS]
# What writes CSV on stdout and nothing else.
WITHOUT_JSON: set[tuple[str, ...]] = set()


def test_the_walk_reaches_the_commands() -> None:
    assert {("trial", "record"), ("trial", "import"), ("analyse",), ("demo",), ("formula", "add")} <= set(PATHS)


@pytest.mark.parametrize("path", PATHS, ids=" ".join)
@pytest.mark.parametrize("option", ["-h", "--help"])
def test_help_has_an_example(crumbwise: Callable[..., Any], path: tuple[str, ...], option: str) -> None:
    ran = crumbwise(*path, option)
    assert ran.code == 0
    assert ran.out.startswith(f"Usage: crumbwise {' '.join(path)}")
    example = ran.out.partition("Example:")[2]
    assert "crumbwise" in example
    assert " ".join(path) in example
    assert ran.err == ""


@pytest.mark.parametrize("path", PATHS, ids=" ".join)
def test_an_unknown_option_is_a_usage_error(crumbwise: Callable[..., Any], path: tuple[str, ...]) -> None:
    ran = crumbwise(*path, "--no-such-option")
    assert ran.code == 2
    assert "--no-such-option" in ran.err or "Missing" in ran.err
    assert f"\nTry: crumbwise {' '.join(path)} --help" in ran.err
    assert ran.out == ""


@pytest.mark.parametrize("path", PATHS, ids=" ".join)
def test_with_json_an_error_is_one_document_too(crumbwise: Callable[..., Any], path: tuple[str, ...]) -> None:
    offered = {name for option in dict(COMMANDS)[path].params for name in option.opts}
    assert ("--json" in offered) == (path not in WITHOUT_JSON)
    if path in WITHOUT_JSON:
        return
    ran = crumbwise(*path, "--json", "--no-such-option")
    assert ran.code == 2
    assert ran.document["error"]["exit_code"] == 2
    assert set(ran.document["error"]) == {"what", "where", "try", "exit_code"}
    assert "Try:" in ran.err


MAKE_A_KITCHEN = {("batch", "product", "add")}  # with the first product
NEED_A_KITCHEN = [path for path in PATHS if path[0] in ("trial", "records", "batch") and path not in MAKE_A_KITCHEN]


@pytest.mark.parametrize("path", NEED_A_KITCHEN, ids=" ".join)
def test_without_a_kitchen_each_says_so_and_makes_none(
    crumbwise: Callable[..., Any], path: tuple[str, ...], tmp_path: Any
) -> None:
    arguments = {
        ("trial", "plan"): ["plan.toml"],
        ("trial", "record"): ["soda", "101", "rise=4"],
        ("trial", "note"): ["soda", "101", "soapy"],
        ("trial", "photo"): ["soda", "101", "crumb.jpg"],
        ("trial", "import"): ["soda", "a.csv"],
        ("trial", "reopen"): ["soda", "--reason", "x"],
        ("records", "restore"): ["backup.db", "new.db"],
        ("records", "erase-photo"): ["1", "--reason", "x", "--yes"],
        ("records", "people", "add"): ["Ada"],
        ("records", "people", "erase"): ["1"],
        ("records", "people", "close"): ["1", "--reason", "x"],
        ("batch", "log"): ["scones", "1"],
        ("batch", "show"): ["scones", "1"],
        ("batch", "correct"): ["scones", "1", "--oven", "upper", "--reason", "x"],
        ("batch", "verdict"): ["scones", "1"],
        ("batch", "answer"): ["scones", "1"],
        ("batch", "import"): ["scones", "a.csv"],
        ("batch", "lot", "add"): ["flour=F-1"],
        ("batch", "lot", "list"): [],
        ("batch", "product", "list"): [],
        ("batch", "product", "spec"): ["scones", "rise height:lower=40"],
        ("batch", "product", "response"): ["scones", "crumb pH"],
    }
    needs = ["soda"] if path[0] == "trial" and path[1:] != ("list",) else ["scones"] if path[0] == "batch" else []
    ran = crumbwise(*path, *arguments.get(path, needs))
    assert ran.code in (2, 3, 4), ran.err
    assert "\nTry: " in ran.err
    assert "foresee" not in ran.err
    assert not (tmp_path / "kitchen.db").exists()
