"""Which words of a page stand outside the catalogue? None: another language needs other words, not other code.

The syntax trees of ``reports`` are walked. A text is taken for words when it holds two words, or is glued to
something (begins or ends with a space), or is one word where a reader looks: a title, a caption, a column,
the name of an axis. What is never read is left out: docstrings, keys, errors, patterns, what is compared.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

REPORTS = Path(__file__).parents[2] / "reports"
_WORD = re.compile(r"[^\W\d_]{2,}")
READ_NAMES = {"title", "caption", "text", "alt", "description", "columns", "sentence"}
READ_CALLS = {"set_xlabel", "set_ylabel", "set_title", "supxlabel", "supylabel", "write", "short_alt", "annotate"}
# What is looked up and not read: keys of findings, checks and verdicts, and words of the drawing library.
KEYS = {
    "best dose", "recommended dose", "cannot tell", "do not rely", "look here", "odd bakes", "lack of fit",
    "not yet baked", "oven load", "oven place", "difference that matters", "DejaVu Sans", "offset points",
    "axes fraction", "lower right", "lower left", "upper left", "people differ", "nothing seen", "odd reading",
    "standard deviation", "moving range", "several responses", "measured_ph", "beside own",
}  # fmt: skip
LOOKED_UP_BY = {"get", "removeprefix", "removesuffix", "replace", "split", "partition", "startswith", "endswith"}
# Their words are markup, what goes wrong (said where it does), and a font's answer.
NOT_PAGES = ("formats/", "html.py", "codes.py", "figures/svg.py", "figures/picture.py")


def words_of(source: str) -> list[tuple[int, str]]:
    """(line, text) of every text in a module that a reader would see."""
    tree = ast.parse(source)
    parents = {child: node for node in ast.walk(tree) for child in ast.iter_child_nodes(node)}
    read = set(_read(tree))
    return [
        (node.lineno, node.value)
        for node in ast.walk(tree)
        if isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and _seen(node.value, id(node) in read)
        and not _kept_from_readers(node, parents)
    ]


def _read(tree: ast.AST) -> Iterator[int]:
    """Texts that are given where a reader looks."""
    for node in ast.walk(tree):
        given: list[ast.AST] = []
        if isinstance(node, ast.Call):
            called = node.func.attr if isinstance(node.func, ast.Attribute) else getattr(node.func, "id", "")
            given = [keyword.value for keyword in node.keywords if keyword.arg in READ_NAMES]
            given += node.args if called in READ_CALLS else []
        elif isinstance(node, ast.Assign) and any(getattr(one, "id", "") in READ_NAMES for one in node.targets):
            given = [node.value]
        for one in given:
            yield from (id(inside) for inside in _not_called(one))


def _not_called(node: ast.AST) -> Iterator[ast.AST]:
    """``node`` and what it is made of, without the arguments of other calls: those are read where they are made."""
    yield node
    for child in ast.iter_child_nodes(node):
        if not isinstance(child, ast.Call):
            yield from _not_called(child)


def _seen(text: str, where_read: bool) -> bool:
    found = _WORD.findall(text)
    if not found or text in KEYS:
        return False
    return where_read or text != text.strip() or (len(found) > 1 and " " in text)


def _kept_from_readers(node: ast.AST, parents: dict[ast.AST, ast.AST]) -> bool:
    parent = parents.get(node)
    while isinstance(parent, (ast.JoinedStr, ast.Tuple)) and isinstance(parents.get(parent), (ast.Call, ast.Compare)):
        node, parent = parent, parents.get(parent)
    if isinstance(parent, (ast.Compare, ast.Subscript, ast.Expr)):  # an expression alone is a docstring
        return True
    if isinstance(parent, ast.Dict) and node in parent.keys:
        return True
    if isinstance(parent, ast.Call) and isinstance(parent.func, ast.Attribute) and parent.func.attr in LOOKED_UP_BY:
        return True
    while parent is not None:
        if isinstance(parent, ast.Raise):
            return True
        parent = parents.get(parent)
    return False


def test_no_module_of_the_reports_holds_words_of_its_own():
    found = {
        f"{path.relative_to(REPORTS)}:{line}": text
        for path in sorted(REPORTS.rglob("*.py"))
        if not path.relative_to(REPORTS).as_posix().startswith(NOT_PAGES)
        for line, text in words_of(path.read_text(encoding="utf-8"))
    }
    assert found == {}


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ('caption = "Shaded"', ["Shaded"]),
        ('Grid(caption=f"Tests of {name}")', ["Tests of "]),
        ('Table(columns=("term", "df", f"low{unit}"), rows=rows)', ["term", "df", "low"]),
        ('axes.set_xlabel("soda")', ["soda"]),
        ('said = "more bakes are needed"', ["more bakes are needed"]),
        ('said = f"{low} to {high}"', [" to "]),
        ('draw(key="figure one", verdict="yes", color="blue")', ["figure one"]),
        ('"""What is this about, in a docstring?"""', []),
        ('raise ValueError("a style sheet must not hold a closing tag")', []),
        ('{"best dose": 1, "some other key": 2}["some other key"]', []),
        ('same = kind == "two words"', []),
        ('Words(text=say.nothing_moves(plain("soda")))', []),
    ],
)
def test_words_are_found_and_keys_are_not(line, found):
    assert [text for _, text in words_of(line)] == found
