"""How is a plan written down so that a newcomer can read and change it?

The text of a plan file with a comment for every key. Read back it asks for the same design.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from tracker.intake.numbers import number_text
from tracker.intake.plan_tables import ENDS, FactorTable, ResponseTable

if TYPE_CHECKING:
    from analysis.designs.requests import DesignRequest

HEAD = {
    "title": "what stands at the head of sheets and reports",
    "question": "what the trial shall answer",
    "formula": "the formula of the kitchen that is baked",
    "flour_per_bake_g": "all flour of one bake, in grams",
}
FACTOR = {
    "name": "what is changed on purpose",
    "kind": "amount: a number; category: one of several kinds; share: a part of a whole",
    "unit": "of the numbers below",
    "low": "the least",
    "high": "the most",
    "values": "the doses to bake",
    "levels": "the kinds to bake",
    "of": "the whole that it is a part of",
    "total": "what the shares add up to",
    "ingredient": "the line of the formula that it sets",
    "replaces": "the line of the formula that it takes the place of",
    "hard_to_change": "it cannot be set afresh for each bake",
}
RESPONSE = {
    "name": "what is measured",
    "unit": "of the readings",
    "scale": "measured, score, count or yes-no",
    "anchors": "the steps of the score, the worst first",
    "goal": "maximise, minimise, or target with target = ...",
    "target": "the value to hit",
    "matters": "the smallest difference worth acting on",
    "accept": "not good enough at all, and all one can wish for (or one of them); a target lies between",
    "importance": "how much the goal counts among the others",
    "spread": "standard deviation between bakes of the same thing",
    "plausible": "what lies outside is asked about, and kept",
    "possible": "what lies outside is refused",
}
DESIGN = {
    "kind": "how the bakes are chosen",
    "model": "what the bakes shall tell",
    "levels": "doses of each amount",
    "runs": "how many different bakes",
    "resolution": "how clear single effects stay",
    "replicates": "how often each is baked, mixed afresh each time",
    "centre_points": "extra bakes with everything in the middle",
    "axial": "how far out the star points lie",
    "inside": "low and high are the outermost doses",
    "degree": "2: halves of blends; 3: thirds",
    "rows": "what the rows of the square are",
    "columns": "what the columns of the square are",
    "whole_plots": "how often what is hard to change is set",
    "criterion": "D: effects as sure as can be; I: predictions",
    "starts": "how long is searched",
    "block": "what can differ from one set of bakes to the next",
    "block_size": "bakes in each, at most",
    "oven_holds": "bakes in one oven load",
    "seed": "the same number draws the same order again",
}


@dataclass(frozen=True, kw_only=True)
class Draft:
    """A plan before it is written.

    ``remarks`` are sentences for the head; ``notes``: (response, key) -> where its value is from.
    """

    title: str
    question: str
    factors: tuple[FactorTable, ...]
    responses: tuple[ResponseTable, ...]
    formula: str | None = None
    flour_per_bake_g: float | None = None
    remarks: tuple[str, ...] = ()
    notes: Mapping[tuple[str, str], str] | None = None


def plan_text(draft: Draft, request: DesignRequest) -> str:
    """The plan file. ``request`` is the design that was chosen for the draft's factors and responses."""
    parts = ["\n".join(_remarks(draft.remarks)), _keys(_head(draft), HEAD)]
    parts += ["[[factor]]\n" + _keys(_said(factor, FACTOR), FACTOR) for factor in draft.factors]
    for response in draft.responses:
        why = {key: (draft.notes or {}).get((response.name, key), words) for key, words in RESPONSE.items()}
        parts.append("[[response]]\n" + _keys(_said(response, RESPONSE), why))
    parts += [f"[[constraint]]\nsays = {_value(each)}" for each in request.constraints]
    parts.append("[design]\n" + _keys(_design(request), DESIGN))
    if draft.formula is None:
        parts.append(_FORMULA_TO_COME)
    return "\n\n".join(part for part in parts if part) + "\n"


_FORMULA_TO_COME = """\
# With a formula the bench sheet says what to weigh for each bake. Take the signs away, write your own lines
# (the flours add up to 100), put flour_per_bake_g = 300 below the title, and give each thing that is weighed
# its line, as in ingredient = "baking soda".
# [formula]
# name = "my loaf"
# [[formula.line]]
# ingredient = "wheat flour"
# bakers_percent = 100
# flour = true
# [[formula.line]]
# ingredient = "water"
# bakers_percent = 65"""


def _remarks(remarks: Sequence[str]) -> Iterator[str]:
    from textwrap import wrap

    for remark in remarks:
        yield from wrap(remark, 110, initial_indent="# ", subsequent_indent="# ", break_long_words=False)


def _head(draft: Draft) -> dict[str, Any]:
    return {
        "title": draft.title,
        "question": draft.question or None,
        "formula": draft.formula,
        "flour_per_bake_g": draft.flour_per_bake_g,
    }


def _said(table: FactorTable | ResponseTable, keys: Mapping[str, str]) -> dict[str, Any]:
    said = table.model_dump(exclude_defaults=True)
    unsaid = set(said) - set(keys)
    assert not unsaid, f"no words for {unsaid}"
    return {key: said.get(key) for key in keys}


def _design(request: DesignRequest) -> dict[str, Any]:
    """What differs from the usual; kind, replicates and seed always."""
    from analysis.designs.requests import DesignRequest

    usual = DesignRequest(kind="", factors=(), seed=-1, replicates=0)
    return {key: getattr(request, key) for key in DESIGN if getattr(request, key) != getattr(usual, key)}


def _keys(said: Mapping[str, Any], words: Mapping[str, str]) -> str:
    lines = [(f"{key} = {_value(value)}", words[key]) for key, value in said.items() if value is not None]
    width = min(max((len(line) for line, _ in lines), default=0), 40)
    return "\n".join(f"{line:<{width}}  # {why}" for line, why in lines)


def _value(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (list, tuple)) and None in value:  # a range that is open at one end
        return f"{{ {', '.join(f'{end} = {_value(v)}' for end, v in zip(ENDS, value, strict=True) if v is not None)} }}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(map(_value, value)) + "]"
    if isinstance(value, float):
        return number_text(value)
    return json.dumps(value, ensure_ascii=False)
