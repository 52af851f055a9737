"""Which terms of a blending model can the bakes tell?

Scheffé's polynomials have no constant, since the shares add up to one (Scheffé 1958, J. Royal
Statistical Society B 20:344). Fitted is the same model with a constant in place of one share, so
that blocks, whole plots and checks are those of any linear model; ``family`` gives the coefficients
back in Scheffé's form.

Factors beside the blend (process variables) may act differently on each ingredient: their products with
the blend's terms are fitted where the bakes can tell them (Cornell 2002, Experiments with Mixtures, ch. 7).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.blends.shares import Blends, blends_of
from analysis.errors import NotPossible
from analysis.linear.coding import Term, Variable, make_term, number_label, variables_of
from analysis.linear.ground import Ground, flat
from analysis.linear.grouping import lay_ground
from analysis.linear.selection import FEWEST_DF, Selection, Selector
from analysis.questions import Question

Floats = NDArray[np.float64]

DEGREES = {"mixture linear": 1, "mixture quadratic": 2, "mixture special cubic": 3}


@dataclass(frozen=True, eq=False, kw_only=True)
class BlendDesign:
    """``variables`` are blocks, other factors, then the shares, the first of them at ``first``.

    ``base`` is the position of the share that the constant stands for.
    """

    blends: Blends
    ground: Ground
    variables: tuple[Variable, ...]
    first: int
    base: int
    selection: Selection

    @property
    def shares(self) -> range:
        """Positions of the shares among the variables."""
        return range(self.first, len(self.variables))

    @property
    def others(self) -> list[int]:
        """Positions of the factors beside the blend."""
        return [at for at in range(self.first) if not self.variables[at].block]

    def is_share(self, term: Term) -> bool:
        """A term of the blend alone."""
        return term.members[0] >= self.first

    def is_product(self, term: Term) -> bool:
        """A factor beside the blend times a term of the blend."""
        return term.members[0] < self.first <= term.members[-1]

    def in_blend(self, term: Term) -> tuple[int, ...]:
        """The shares of a term."""
        return tuple(at for at in term.members if at >= self.first)

    def beside_blend(self, term: Term) -> tuple[int, ...]:
        """What else is in a term."""
        return tuple(at for at in term.members if at < self.first)


def blend_design(bakes: pd.DataFrame, question: Question, y: Floats) -> BlendDesign:
    """``y`` are the readings less a constant. Raises TrialDataError for shares that make no whole,
    NotPossible when nothing was varied or the bakes are too few."""
    blends = blends_of(bakes, [factor for factor in question.factors if factor.kind == "share"])
    others = [factor for factor in question.factors if factor.kind != "share" and bakes[factor.name].nunique() > 1]
    blocks = [name for name in question.blocks if bakes[name].nunique() > 1]
    measured = [name for name in question.covariates if bakes[name].nunique() > 1]
    beside_blend = variables_of(bakes, others, blocks, measured)
    if question.weights:  # the door has refused groups
        ground, beside = flat(y, bakes[question.weights].to_numpy(dtype=np.float64)), list(beside_blend)
    else:
        ground, beside = lay_ground(bakes, question, beside_blend, y)
    variables = (*beside, *(_share(blends, at) for at in range(len(blends.names))))
    selector = _BlendSelector(variables, len(beside), ground, DEGREES.get(question.model or "", 2))
    # A plan names its model and promises what it can tell; unless a mixture is asked for outright it is kept to that.
    selector.crossed = question.model is None or question.kind == "mixture"
    selection = selector.run()
    _require_error(selection, ground, len(blends.names) + sum(variable.width for variable in beside))
    return BlendDesign(
        blends=blends,
        ground=ground,
        variables=variables,
        first=len(beside),
        base=selector.base,
        selection=selection,
    )


def _share(blends: Blends, at: int) -> Variable:
    """A share as it enters: its part of the whole, so that a coefficient belongs to the whole of it."""
    values, codes = np.unique(blends.parts[:, at], return_inverse=True)
    return Variable(
        name=blends.names[at],
        block=False,
        amount=True,
        unit=blends.factors[at].unit,
        codes=codes.astype(np.int64),
        levels=tuple(number_label(round(value * blends.total, 6)) for value in values),
        coded=values[:, None],
        values=values,
    )


class _BlendSelector(Selector):
    """Single shares first, then blends of two and of three: each degree stays whole or goes whole."""

    def __init__(self, variables: Sequence[Variable], first: int, ground: Ground, degree: int) -> None:
        super().__init__(variables, degree, ground, bends=False, screening=False)
        self.regular, self.selection = False, Selection()
        self.shares = range(first, len(variables))
        self.crossed = True
        last = len(ground.rows) - 1
        moving = [at for at in self.shares if ground.place(variables[at].columns)[0] == last]
        self.base = (moving or list(self.shares))[-1]

    def run(self) -> Selection:
        self.bases[0].adds(self.ground.constant())
        for at in range(self.shares[0]):
            self.enter(make_term(self.variables, (at,)))
        for at in self.shares:
            if at != self.base and not self.enter(make_term(self.variables, (at,))):
                name = self.variables[at].name
                raise NotPossible(
                    f"The shares moved together, so that {name} cannot be told from the others.",
                    where=name,
                    try_this="bake blends in which each share changes by itself",
                )
        for size in range(2, self.order + 1):
            if self.selection.partial:
                break
            self.enter_together(list(combinations(self.shares, size)))
        self.leave_error()
        for size in (1, 2) if self.crossed else ():
            for at in range(self.shares[0]):
                self._enter_products(at, size)
        return self.selection

    def _enter_products(self, at: int, size: int) -> None:
        """A factor beside the blend times all its terms of one degree: all of them, or none.

        None where fewer error degrees of freedom than ``FEWEST_DF`` would be left.
        """
        variable = self.variables[at]
        of = [term for term in self.selection.columns if len(term.members) == size and term.members[0] in self.shares]
        if variable.block or not of or make_term(self.variables, (at,)) not in self.selection.columns:
            return
        if size > 1 and not any(term.members[0] == at and len(term.members) == size for term in self.selection.columns):
            return
        before = [basis.columns for basis in self.bases]
        products = [self._product(at, term) for term in of]
        entered = [term for term in products if self.enter(term)]
        place = max((self.selection.columns[term][0] for term in entered), default=0)
        if len(entered) == len(products) and self._error_df(place, self.ground.rows[place]) >= FEWEST_DF:
            return
        for basis, columns in zip(self.bases, before, strict=True):
            basis.columns = columns
        for term in products:
            self.selection.columns.pop(term, None)
            self.selection.entangled.pop(term, None)
        if len(entered) == len(products):
            self.selection.for_error += tuple(products)
        else:
            self.selection.partial += tuple(products)

    def _product(self, at: int, term: Term) -> Term:
        return Term(name=f"{term.name}:{self.variables[at].name}", members=(at, *term.members))

    def offer(self, term: Term) -> bool:
        """A blend that nobody baked, or whose parts are not in the model, is not fitted."""
        together = np.prod([self.variables[at].columns[:, 0] for at in term.members], axis=0)
        if not together.any():
            self.selection.empty[term] = ()
            return False
        parts = [part for size in range(2, term.order) for part in combinations(term.members, size)]
        if self.is_alias(term) or any(part in self.selection.refused for part in parts):
            return False
        return self.enter(term)


def _require_error(selection: Selection, ground: Ground, needed: int) -> None:
    used = sum(columns.shape[1] for at, columns in selection.columns.values() if at == len(ground.rows) - 1)
    left = ground.rows[-1] - ground.absorbed[-1] - used - (len(ground.rows) == 1)
    if left < 1:
        count = ground.rows[-1]
        raise NotPossible(
            f"{count} bakes are too few to tell {needed} shares, blocks and factors and an error to judge them by.",
            where="bakes",
            try_this=f"bake at least {1 - left} more, such as some blends again",
        )
