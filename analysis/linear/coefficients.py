"""What is the equation, in the units the baker used?

An amount's coefficient is the change of the response per unit, with other amounts at
the middle of their range and categories averaged; a category's is each level's
deviation from the average of the levels. "intercept" is the response at the middle;
"intercept at zero" stands beside it when amounts enter without interactions.
"""

from __future__ import annotations

from itertools import product

import numpy as np
from numpy.typing import NDArray

from analysis.estimates import Coefficient
from analysis.linear.coding import Term
from analysis.linear.distributions import t_tails
from analysis.linear.stratum import Model

Floats = NDArray[np.float64]


def coefficients(model: Model, confidence: float) -> list[Coefficient]:
    """Intercept, then every fitted term; all levels of a category are listed."""
    names, rows, offsets = ["intercept"], [_middle(model)], [model.offset]
    zero = _at_zero(model)
    if zero is not None:
        names.append("intercept at zero")
        rows.append(zero)
        offsets.append(model.offset)
    for term in model.terms:
        for name, values in parts_of(model, term):
            names.append(name)
            rows.append(model.only(term, values))
            offsets.append(0.0)
    found = []
    for name, contrast, offset in zip(names, model.contrasts(np.array(rows)), offsets, strict=True):
        low, high = contrast.interval(confidence)
        t = (contrast.estimate + offset) / contrast.se if contrast.se else None
        found.append(
            Coefficient(
                term=name,
                estimate=contrast.estimate + offset,
                se=contrast.se,
                low=None if low is None else low + offset,
                high=None if high is None else high + offset,
                df=contrast.df,
                t=t,
                p=None if t is None or contrast.df is None else t_tails(t, contrast.df),
            )
        )
    return found


def _middle(model: Model) -> Floats:
    """Only the constant: every coded column is zero at the middle."""
    parts = []
    for stratum in model.strata:
        row = np.zeros(stratum.fit.x.shape[1])
        if stratum.constant:
            row[0] = 1.0
        parts.append(row)
    return np.concatenate(parts)


def _at_zero(model: Model) -> Floats | None:
    """The row of all amounts at 0, when that is a sum of single terms."""
    amounts = [term for term in model.terms if any(model.variables[i].amount for i in term.members)]
    if not amounts or any(term.order > 1 for term in amounts):
        return None
    row = _middle(model)
    for term in amounts:
        variable = model.variables[term.members[0]]
        row = row + model.only(term, np.array([-variable.middle / variable.half]))
    return row


def parts_of(model: Model, term: Term) -> list[tuple[str, Floats]]:
    """(name, values in the term's columns) of each reported coefficient of a term."""
    choices: list[list[tuple[str, Floats]]] = []
    for member in term.members:
        variable = model.variables[member]
        if variable.amount:
            choices.append([(variable.name, np.array([1 / variable.half]))])
        else:
            labels = [f"{variable.name}[{level}]" for level in variable.levels]
            choices.append(list(zip(labels, variable.coded, strict=True)))
    found = []
    for choice in product(*choices):
        values = np.ones(1)
        for _, part in choice:
            values = np.outer(values, part).ravel()
        found.append((term.name if term.square else ":".join(label for label, _ in choice), values))
    return found
