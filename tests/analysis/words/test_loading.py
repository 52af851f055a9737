"""Is every name of the catalogue found, and loaded only when it is asked for?"""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

import analysis.words as words


def names_for_the_type_checker() -> dict[str, str]:
    """Name -> module, as the block under ``TYPE_CHECKING`` has them."""
    tree = ast.parse(Path(words.__file__).read_text(encoding="utf-8"))
    block = next(node for node in tree.body if isinstance(node, ast.If))
    return {
        alias.name: str(node.module).rpartition(".")[2]
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }


def test_the_type_checker_and_the_run_find_the_same_names():
    assert names_for_the_type_checker() == words._MODULE_OF
    assert sorted(words.__all__) == sorted(words._MODULE_OF)
    for name in words.__all__:
        assert getattr(words, name) is getattr(sys.modules[f"analysis.words.{words._MODULE_OF[name]}"], name)


def test_no_module_hides_a_name():
    """A module named like one of its functions would be found in the function's place once it is loaded."""
    modules = {path.stem for path in Path(words.__file__).parent.glob("*.py")}
    assert modules & set(words.__all__) == set()


def test_a_name_that_is_not_there_is_an_attribute_error():
    with pytest.raises(AttributeError, match="say_nothing"):
        words.say_nothing  # noqa: B018  # asking is the test


def test_the_words_of_a_balance_do_not_load_those_of_a_trial():
    code = "import sys, analysis.words.leavening; print(*(n for n in sys.modules if n.startswith('analysis')))"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert set(ran.stdout.split()) == {
        "analysis",
        "analysis.words",
        "analysis.words.leavening",
        "analysis.words.numbers",
        "analysis.words.plurals",
    }
