"""How much do just these levels differ, and how steep is the trend?

A chosen contrast reads "acid: yogurt = 1, lemon juice = -1"; the weights add up to zero. "time:
linear" (quadratic, cubic) weighs levels that are numbers by orthogonal polynomials of length 1;
"soda: slope" is the change of the response per unit of an amount, at each level of what changes it.
Chosen before baking, a contrast needs no allowance for others; so none is made, and the words say so.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from analysis.checks import did_you_mean, nearest
from analysis.errors import TrialDataError
from analysis.linear.coding import Term
from analysis.linear.distributions import t_tails
from analysis.linear.polynomials import orthogonal_polynomials
from analysis.linear.stratum import Model
from analysis.parts import ChosenContrast

Floats = NDArray[np.float64]

TRENDS = {"linear": 1, "quadratic": 2, "cubic": 3}
SLOPE = "slope"
WHERE = "--contrast"
EVEN = 1e-9  # how far weights may miss adding up to zero


class Named(Protocol):
    """What a contrast has to know of a variable, in any family."""

    @property
    def name(self) -> str: ...
    @property
    def levels(self) -> tuple[str, ...]: ...
    @property
    def amount(self) -> bool: ...
    @property
    def block(self) -> bool: ...


@dataclass(frozen=True)
class Read:
    """One contrast as asked: a variable with a weight for each level, or its slope (weights None)."""

    name: str
    variable: int
    weights: Floats | None


def chosen_contrasts(model: Model, texts: Sequence[str], confidence: float) -> tuple[ChosenContrast, ...]:
    """Every contrast that was asked for, averaged over the rest and at each level of what interacts with it.

    Raises TrialDataError for a factor, level or weight that is not there.
    """
    return tuple(
        found for text in texts for found in _answered(model, read_contrast(model.variables, text), confidence)
    )


def weights_of(model: Model, text: str) -> Floats | None:
    """The weight of each level in a contrast as asked; None for a slope."""
    return read_contrast(model.variables, text).weights


def read_contrast(variables: Sequence[Named], text: str) -> Read:
    """Which variable, by its place, with which weights. Raises TrialDataError for what is not there."""
    names = {v.name: i for i, v in enumerate(variables) if not v.block}
    name = next((n for n in sorted(names, key=len, reverse=True) if text.strip().startswith(f"{n}:")), None)
    if name is None:
        said = text.partition(":")[0].strip()
        raise TrialDataError(
            f'The contrast "{text}" does not begin with a factor of the model.',
            where=WHERE,
            try_this=did_you_mean(said, names),
        )
    variable, body = variables[names[name]], text.strip()[len(name) + 1 :].strip()
    if body == SLOPE:
        return _slope_of(names[name], variable)
    if body in TRENDS:
        return Read(text, names[name], _trend(variable, body))
    return Read(text, names[name], _weights(variable, body))


def _slope_of(position: int, variable: Named) -> Read:
    if not variable.amount:
        raise TrialDataError(
            f'"{variable.name}" is a category and has no slope.',
            where=WHERE,
            try_this=f'--contrast "{variable.name}: {variable.levels[0]} = 1, {variable.levels[-1]} = -1"',
        )
    return Read(f"{variable.name}: {SLOPE}", position, None)


def _trend(variable: Named, word: str) -> Floats:
    try:
        values = np.array([float(level.replace(",", ".")) for level in variable.levels])
    except ValueError:
        raise TrialDataError(
            f'The levels of "{variable.name}" are no numbers, so that they have no {word} trend.',
            where=WHERE,
            try_this=f'--contrast "{variable.name}: {variable.levels[0]} = 1, {variable.levels[-1]} = -1"',
        ) from None
    degree = TRENDS[word]
    if len(values) <= degree:
        raise TrialDataError(
            f'A {word} trend needs {degree + 1} levels or more; "{variable.name}" has {len(values)}.',
            where=WHERE,
            try_this=f'--contrast "{variable.name}: linear"',
        )
    weights = orthogonal_polynomials(values, degree)[:, degree - 1]
    # Upwards at the highest level, as an effect is said from low to high.
    weights = weights * np.sign(weights[int(np.argmax(values))])
    return np.asarray(weights / np.linalg.norm(weights))


def _weights(variable: Named, body: str) -> Floats:
    weights = np.zeros(len(variable.levels))
    for part in body.split(","):
        level, equals, number = (piece.strip() for piece in part.rpartition("="))
        if not equals or level not in variable.levels:
            raise TrialDataError(
                f'"{part.strip()}" gives no level of "{variable.name}" a weight.',
                where=WHERE,
                try_this=f'--contrast "{variable.name}: {_mended(variable, body)}"',
            )
        weights[variable.levels.index(level)] += _number(number)
    if abs(weights.sum()) > EVEN * max(1.0, float(np.abs(weights).max())) or not np.any(weights):
        raise TrialDataError(
            f"The weights of a contrast add up to 0; these add up to {weights.sum():g}.",
            where=WHERE,
            try_this=f'--contrast "{variable.name}: {variable.levels[0]} = 1, {variable.levels[-1]} = -1"',
        )
    return weights


def _mended(variable: Named, body: str) -> str:
    """The contrast with the nearest level in the place of each that is none, else an example."""
    parts = [tuple(piece.strip() for piece in part.rpartition("=")) for part in body.split(",")]
    near = [nearest(level, variable.levels) for level, _, _ in parts]
    if len(set(near)) < len(near) or None in near or not all(equals for _, equals, _ in parts):
        return f"{variable.levels[0]} = 1, {variable.levels[-1]} = -1"
    return ", ".join(f"{level} = {number}" for level, (_, _, number) in zip(near, parts, strict=True))


def _number(text: str) -> float:
    top, slash, bottom = text.partition("/")
    try:
        value = float(top) / float(bottom) if slash else float(text)
    except (ValueError, ZeroDivisionError):
        value = float("nan")
    if not np.isfinite(value):
        raise TrialDataError(f'"{text}" is no weight.', where=WHERE, try_this="Give numbers such as 1, -0.5 or 1/3.")
    return value


def _answered(model: Model, read: Read, confidence: float) -> Iterator[ChosenContrast]:
    for at in ({}, *_slices(model, read.variable)):
        row = _row(model, read, at)
        contrast = model.contrast(row)
        low, high = contrast.interval(confidence)
        t = contrast.estimate / contrast.se if contrast.se else None
        yield ChosenContrast(
            name=read.name,
            factor=model.variables[read.variable].name,
            estimate=contrast.estimate,
            se=contrast.se,
            low=low,
            high=high,
            df=contrast.df,
            t=t,
            p=None if t is None or contrast.df is None else t_tails(t, contrast.df),
            at={model.variables[v].name: model.variables[v].levels[level] for v, level in at.items()},
        )


def _row(model: Model, read: Read, at: dict[int, int]) -> Floats:
    if read.weights is not None:
        return sum(
            (weight * model.row({**at, read.variable: level}) for level, weight in enumerate(read.weights)),
            0 * model.row(at),
        )
    # The tangent at the middle of the range: bends add nothing there, products keep their own weight.
    variable = model.variables[read.variable]
    last = len(variable.levels) - 1
    bend = model.find(read.variable, read.variable)
    row = model.row({**at, read.variable: last}) - model.row({**at, read.variable: 0})
    if bend is not None:
        row = row - _part(model, bend, row)
    assert variable.values is not None
    return np.asarray(row / (variable.values[-1] - variable.values[0]))


def _part(model: Model, term: Term, row: Floats) -> Floats:
    """What of a row stands in the columns of one term."""
    return row * model.only(term, np.ones(1))


def _slices(model: Model, variable: int) -> Iterator[dict[int, int]]:
    """Each level of each category that the model lets change this variable's effect."""
    for term in model.terms:
        if term.order == 2 and variable in term.members and not term.square:
            other = next(member for member in term.members if member != variable)
            if not model.variables[other].amount:
                yield from ({other: level} for level in range(len(model.variables[other].levels)))
