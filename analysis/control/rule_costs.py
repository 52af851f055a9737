"""What does a rule cost in false alarms, and how soon does it see a shift?

For independent normal batches with known limits. Rules that only ask in which zone a point lies
(beyond, close, away) are a chain of states, one for each history that still matters, and their
mean run length is exact; rules that compare neighbours (trend, alternating) are simulated from a
fixed seed, and the answer says how sure it is.

Source: Champ and Woodall 1987, Technometrics 29:393, for the chain.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from analysis.control.rules import LONGEST, Rule, completed, require_rules
from analysis.errors import TrialDataError

CHARTS = 20_000  # simulated, where a rule compares neighbours
SEED = 20_260_207  # fixed: the cost beside a switch is the same every time
LARGEST_SHIFT = 10.0
A_MONTH = 25  # batches, one a baking day
_BLOCK = 256
_OF_NEIGHBOURS = ("trend", "alternating")

State = tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class RuleCost:
    """How often the rules, taken together, give an alarm.

    ``per_100`` alarms in 100 batches (each alarm starts a new chart), ``run_length`` mean batches to
    the first alarm, ``within_25`` the share of charts of 25 batches with at least one. ``half_width``
    of the 95 % interval of ``run_length``: 0 where it is exact.
    """

    rules: tuple[str, ...]
    shift: float
    run_length: float
    per_100: float
    within_25: float
    half_width: float = 0.0

    @property
    def exact(self) -> bool:
        return self.half_width == 0


def cost_of(rules: Iterable[str], *, shift: float = 0.0) -> RuleCost:
    """The cost of these rules together; ``shift``: the mean has moved by so many SDs of a point.

    Raises TrialDataError for an unknown rule, none at all, or a shift beyond ten.
    """
    asked = require_rules(rules)
    if not asked:
        raise TrialDataError("Without a rule there is no alarm to count.", where="rules", try_this="name one rule")
    if not abs(shift) <= LARGEST_SHIFT:
        raise TrialDataError(
            f"A shift of {shift:g} standard deviations needs no chart.", where="shift", try_this="from -10 to 10"
        )
    return _cost(asked, float(shift))


def costs_beside(rules: Iterable[str], *, among: Iterable[str]) -> dict[str, RuleCost]:
    """For each rule ``among``: the cost of the chosen ``rules`` with this one switched on."""
    chosen = tuple(rules)
    return {key: cost_of((*chosen, key)) for key in among}


@lru_cache(maxsize=512)
def _cost(rules: tuple[Rule, ...], shift: float) -> RuleCost:
    if any(rule.pattern in _OF_NEIGHBOURS for rule in rules):
        lengths = _simulated(rules, shift)
        length = float(lengths.mean())
        within = float(np.mean(lengths <= A_MONTH))
        half = 1.96 * float(lengths.std(ddof=1)) / math.sqrt(len(lengths))
    else:
        length, within = _chain(rules, shift)
        half = 0.0
    return RuleCost(
        rules=tuple(rule.key for rule in rules),
        shift=shift,
        run_length=length,
        per_100=100 / length,
        within_25=within,
        half_width=half,
    )


def _chain(rules: Sequence[Rule], shift: float) -> tuple[float, float]:
    """Exact mean run length, and the share of charts with an alarm within 25 batches."""
    from scipy.sparse import csr_array, identity
    from scipy.sparse.linalg import spsolve

    points, chances = _zones(rules, shift)
    number, moves = _reachable(rules, points)
    row, column, zone = (np.array(part, dtype=np.intp) for part in zip(*moves, strict=True))
    step = csr_array((chances[zone], (row, column)), shape=(len(number), len(number)))
    alive = np.ones(len(number))
    lengths = np.atleast_1d(spsolve((identity(len(number)) - step).tocsc(), alive))
    for _ in range(A_MONTH):
        alive = step @ alive
    return float(lengths[0]), float(1 - alive[0])


def _zones(rules: Sequence[Rule], shift: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """A point inside each zone that the rules tell apart, and the chance of the zone."""
    from scipy.special import ndtr

    lines = sorted({side * rule.distance for rule in rules for side in (-1.0, 1.0)})
    ends = np.array([-math.inf, *lines, math.inf])
    inside = np.concatenate(([lines[0] - 1], (ends[1:-2] + ends[2:-1]) / 2, [lines[-1] + 1]))
    return inside, np.diff(ndtr(ends - shift))


def _reachable(
    rules: Sequence[Rule], points: NDArray[np.float64]
) -> tuple[dict[State, int], list[tuple[int, int, int]]]:
    """Every history without an alarm, numbered, and the moves between them (from, to, zone)."""
    watches = [(rule, side) for rule in rules for side in ((1, -1) if rule.pattern == "beyond" else (0,))]
    start: State = (0,) * len(watches)
    number, moves, waiting = {start: 0}, [], [start]
    while waiting:
        state = waiting.pop()
        for zone, z in enumerate(points):
            after = _after(watches, state, float(z))
            if after is None:
                continue
            if after not in number:
                number[after] = len(number)
                waiting.append(after)
            moves.append((number[state], number[after], zone))
    return number, moves


def _after(watches: Sequence[tuple[Rule, int]], state: State, z: float) -> State | None:
    """The history after a point at ``z``; None when it completes a pattern. Each history is a row of bits."""
    after = []
    for (rule, side), past in zip(watches, state, strict=True):
        hit = _hits(rule, side, z)
        seen = (past << 1 | hit) & ((1 << rule.n) - 1)
        if hit and seen.bit_count() >= rule.k:
            return None
        kept = seen & ((1 << (rule.n - 1)) - 1)
        # Where all n must be hits, nothing before the last miss matters.
        after.append(kept & (kept ^ (kept + 1)) if rule.k == rule.n else kept)
    return tuple(after)


def _hits(rule: Rule, side: int, z: float) -> bool:
    if rule.pattern == "beyond":
        return side * z > rule.distance
    return abs(z) <= rule.distance if rule.pattern == "close" else abs(z) > rule.distance


def _simulated(rules: Sequence[Rule], shift: float) -> NDArray[np.float64]:
    """Run lengths of simulated charts, shape (CHARTS,)."""
    random = np.random.Generator(np.random.PCG64(SEED))
    lengths = np.zeros(CHARTS)
    alive = np.arange(CHARTS)
    past = np.full((CHARTS, LONGEST - 1), np.nan)  # no rule looks back further
    done = 0
    while len(alive):
        z = np.concatenate((past, shift + random.standard_normal((len(alive), _BLOCK))), axis=1)
        alarm = np.zeros(z.shape, dtype=bool)
        for rule in rules:
            alarm |= completed(rule, z)
        alarm = alarm[:, LONGEST - 1 :]
        ended = alarm.any(axis=1)
        lengths[alive[ended]] = done + 1 + alarm[ended].argmax(axis=1)
        alive, past = alive[~ended], z[~ended, -(LONGEST - 1) :]
        done += _BLOCK
    return lengths
