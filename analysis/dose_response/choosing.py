"""Which shape, with days as chance, weights and unequal spread taken in?"""

from __future__ import annotations

from dataclasses import replace

from analysis.dose_response.compare import Choice, compare_shapes
from analysis.dose_response.layout import Layout
from analysis.dose_response.settling import settle
from analysis.dose_response.spread import SpreadChoice, choose_spread
from analysis.dose_response.variances import best_ratios, levels_of
from analysis.questions import Question

_ROUNDS = 3


def choose(layout: Layout, question: Question) -> tuple[Choice, SpreadChoice | None]:
    """The shapes compared under the errors the bakes speak for, and how the spread was taken."""
    if not layout.random and layout.weights is None and not question.unequal_spread:
        return compare_shapes(layout, question.shape), None
    errors = best_ratios(layout, *levels_of(layout), layout.weights, restricted=True)
    choice = compare_shapes(replace(layout, errors=errors), question.shape)
    spread = None
    for _ in range(_ROUNDS):
        name = choice.chosen.fit.shape.name
        if choice.chosen.fit.shape.free:  # held by the heights alone; the spread is that of the doses as levels
            break
        settled = settle(choice.chosen.fit, layout.weights)
        if settled is None:
            break
        if question.unequal_spread:
            spread = choose_spread(settled)
            settled = spread.used.fit
        choice = compare_shapes(settled.layout, question.shape, near=choice)
        if choice.chosen.fit.shape.name == name:
            break
    return choice, spread
