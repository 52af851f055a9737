"""Is the bake frame fit for a dose curve, and which bake stands where?

The door of this room: ``read_layout`` checks the frame once and turns it into arrays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd

from analysis.checks import require_columns
from analysis.dose_response.groupings import codes_of as _codes
from analysis.dose_response.groupings import read_groupings
from analysis.dose_response.whitening import Errors, Groups
from analysis.errors import NotPossible, TrialDataError
from analysis.questions import Question, Response

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
_HUGE = 1e100  # squares of larger numbers leave the range of a double


@dataclass(frozen=True, kw_only=True, eq=False)
class Part:
    """The bakes of one curve: ``rows`` into the layout, ``doses`` distinct and rising,
    ``which`` (per row) the index of its dose."""

    level: str | None
    rows: Ints
    doses: Array
    which: Ints

    @property
    def counts(self) -> Array:
        return np.bincount(self.which, minlength=self.doses.size).astype(float)


@dataclass(frozen=True, kw_only=True, eq=False)
class Layout:
    """One trial as arrays: n bakes, one curve per part, blocks as sum-to-zero columns.

    ``blocks`` (n, b) holds only columns that add something to the levels of ``by``;
    ``block_codes`` has, per block column of the frame, its name and level numbers.
    ``centre`` is the middle of the baked doses. ``random`` are groupings whose shifts are taken as
    drawn by chance: they stand in ``block_codes`` too, but not in ``blocks``. ``spent`` is how many
    degrees of freedom they take between bakes. ``weights`` (n,) are those that were given.
    ``errors`` is how bakes scatter together, once it is known (None: all alike).
    """

    dose_name: str
    by_name: str | None
    bakes: tuple[str, ...]
    order: tuple[int, ...]
    readings: tuple[int, ...]
    dose: Array
    y: Array
    parts: tuple[Part, ...]
    level_code: Ints
    blocks: Array
    block_codes: tuple[tuple[str, Ints], ...]
    block_labels: tuple[str | None, ...]
    centre: float
    reasons: dict[str, str]
    random: tuple[Groups, ...] = ()
    spent: int = 0
    weights: Array | None = None
    errors: Errors | None = None

    @property
    def coupled(self) -> bool:
        """Do bakes of different curves hang together, by blocks or by groups?"""
        return bool(self.blocks.shape[1] or self.random)

    def whiten(self, columns: Array) -> Array:
        """Columns (n,) or (n, m) in which least squares weighs every bake as it should."""
        return columns if self.errors is None else self.errors.apply(columns)

    @property
    def n(self) -> int:
        return self.y.size

    @property
    def doses(self) -> Array:
        """All distinct doses, rising."""
        return np.unique(self.dose)

    @property
    def low(self) -> float:
        return float(self.dose.min())

    @property
    def high(self) -> float:
        return float(self.dose.max())


def read_layout(bakes: pd.DataFrame, response: Response, question: Question, *, dose: str, by: str | None) -> Layout:
    """Arrays of the bake frame, or words about why there is no curve in it."""
    if by == dose or response.name in (dose, by):
        raise TrialDataError(
            "The dose, the response and the column that splits the curves have to be three different columns.",
            where=f'response "{response.name}"',
            try_this="name each of them once",
        )
    grouping = _grouping(question, dose, by)
    named = [dose, response.name, *grouping, *([by] if by else [])]
    require_columns(bakes, named, where=f'response "{response.name}"')
    x, y = _numbers(bakes, dose), _numbers(bakes, response.name)
    _enough(x, y, dose, response.name)
    level_code, levels = _codes(bakes[by]) if by else (np.zeros(y.size, dtype=np.int64), (None,))
    parts = tuple(_part(x, level_code, code, level) for code, level in enumerate(levels))
    for part in parts:
        if part.doses.size < 2:
            raise NotPossible(
                f'"{part.level}" was baked at one dose of {dose} only, so that it has no curve.',
                where=f'response "{response.name}", {by} "{part.level}"',
                try_this=f'bake "{part.level}" at more doses, or leave it out',
            )
    fixed, random, reasons = read_groupings(bakes, question)
    block_codes = (*fixed, *((group.name, group.codes) for group in random))
    dummies = np.eye(len(levels))[level_code]
    blocks, lost = _block_columns(block_codes, dummies)
    own = _block_columns(fixed, dummies)[0] if random else blocks
    if lost:
        reasons["blocks"] = f"the blocks cannot be told apart from {by or 'each other'} in full"
    if _explained(x, np.hstack([dummies, blocks])):
        raise NotPossible(
            f"{dose} was the same within each block, so that its effect cannot be told from the blocks.",
            where=f'response "{response.name}"',
            try_this=f"bake several doses in every block; if the rows of a {grouping[0]} share one baking, name it "
            "as the bake, so that its readings are averaged",
        )
    return Layout(
        dose_name=dose,
        by_name=by,
        bakes=tuple(str(b) for b in bakes["bake"]) if "bake" in bakes else tuple(str(i + 1) for i in range(y.size)),
        order=tuple(int(o) for o in bakes["order"]) if "order" in bakes else tuple(range(1, y.size + 1)),
        readings=tuple(int(r) for r in bakes["readings"]) if "readings" in bakes else (1,) * y.size,
        dose=x,
        y=y,
        parts=parts,
        level_code=level_code,
        blocks=own,
        block_codes=block_codes,
        block_labels=_block_labels(bakes, grouping),
        centre=float((x.min() + x.max()) / 2),
        reasons=reasons,
        random=random,
        spent=blocks.shape[1] - own.shape[1],
        weights=_weights(bakes, question),
    )


def _weights(bakes: pd.DataFrame, question: Question) -> Array | None:
    """Given weights (n,), scaled to a mean of 1."""
    if question.weights is None:
        return None
    require_columns(bakes, [question.weights], where="weights")
    values = _numbers(bakes, question.weights)
    if np.any(values <= 0):
        raise TrialDataError(
            f'A weight in "{question.weights}" is zero or negative.',
            where=f'column "{question.weights}", row {int(np.flatnonzero(values <= 0)[0]) + 1}',
            try_this="leave such rows out, or give every bake a weight above 0",
        )
    return np.asarray(values / values.mean())


def _grouping(question: Question, dose: str, by: str | None) -> tuple[str, ...]:
    """Columns that say which bakes share a block, a group or a strip."""
    crossed = [name for chain in question.crossed for name in chain]
    names = dict.fromkeys([*question.blocks, *question.group, *question.strips, *crossed])
    return tuple(name for name in names if name not in (dose, by))


def _numbers(bakes: pd.DataFrame, name: str) -> Array:
    values = pd.to_numeric(bakes[name], errors="coerce").to_numpy(dtype=float)
    bad = ~np.isfinite(values) | (np.abs(values) > _HUGE)
    if bad.any():
        raise TrialDataError(
            f'"{name}" holds {int(bad.sum())} values that are no usable numbers.',
            where=f'column "{name}", row {int(np.flatnonzero(bad)[0]) + 1}',
            try_this="correct or leave out these rows",
        )
    return values


def _enough(x: Array, y: Array, dose: str, response: str) -> None:
    where = f'response "{response}"'
    if y.size < 4:
        raise NotPossible(
            f"{y.size} bakes are too few for a curve.", where=where, try_this="bake at least 4, at 3 doses or more"
        )
    span, spread = x.max() - x.min(), y.max() - y.min()
    if span == 0:
        raise NotPossible(f"Every bake had the same {dose}.", where=where, try_this="bake at least 3 different doses")
    if span <= 1e-9 * np.abs(x).max():
        raise _too_close(dose, where)
    if span < 1e-100 or np.diff(np.unique(x)).min() < 1e-9 * span:
        raise NotPossible(
            f"Some doses of {dose} differ by less than a billionth of their range.",
            where=where,
            try_this="round the doses to what was weighed",
        )
    if 0 < spread <= 1e-12 * np.abs(y).max():
        raise _too_close(response, where)
    if spread < 1e-100:
        raise NotPossible(
            f'Every bake gave the same "{response}".',
            where=where,
            try_this="measure more finely, or look at another response",
        )


def _too_close(name: str, where: str) -> NotPossible:
    return NotPossible(
        f'The values of "{name}" differ only in the last digits that a number can hold.',
        where=where,
        try_this="take the common part off before recording",
    )


def _part(x: Array, level_code: Ints, code: int, level: str | None) -> Part:
    rows = np.flatnonzero(level_code == code)
    doses, which = np.unique(x[rows], return_inverse=True)
    return Part(level=level, rows=rows, doses=doses, which=which)


def _block_columns(codes: tuple[tuple[str, Ints], ...], dummies: Array) -> tuple[Array, bool]:
    """Sum-to-zero columns of the blocks that are independent of each other and of ``dummies``."""
    kept: list[Array] = []
    basis, lost = np.linalg.qr(dummies)[0], False
    for _, code in codes:
        count = int(code.max()) + 1
        coding = np.vstack([np.eye(count - 1), -np.ones(count - 1)]) if count > 1 else np.zeros((1, 0))
        for column in coding[code].T:
            rest = column - basis @ (basis.T @ column)
            rest -= basis @ (basis.T @ rest)
            size = np.linalg.norm(rest)
            if size <= 1e-8 * np.linalg.norm(column):
                lost = True
                continue
            kept.append(column)
            basis = np.column_stack([basis, rest / size])
    return (np.column_stack(kept) if kept else np.zeros((dummies.shape[0], 0))), lost


def _explained(x: Array, columns: Array) -> bool:
    centred = x - x.mean()
    q = np.linalg.qr(columns)[0]
    rest = centred - q @ (q.T @ centred)
    return bool(np.linalg.norm(rest) <= 1e-8 * np.linalg.norm(centred))


def _block_labels(bakes: pd.DataFrame, blocks: tuple[str, ...]) -> tuple[str | None, ...]:
    if not blocks:
        return (None,) * len(bakes)
    return tuple(" / ".join(str(v) for v in row) for row in bakes[list(blocks)].itertuples(index=False))
