"""Which terms can these bakes tell apart?

Terms enter by order: blocks, factors, two-factor interactions and so on. What moves
together with an earlier term is not fitted but named: as an alias when the columns are
the same, as an empty cell when treatments are missing, else as entangled.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations, permutations

import numpy as np
from numpy.typing import NDArray

from analysis.checks import did_you_mean
from analysis.errors import TrialDataError
from analysis.linear.coding import Term, Variable, make_term, term_columns, term_width
from analysis.linear.ground import Ground
from analysis.linear.least_squares import Basis, involved
from analysis.linear.treatments import empty_cells, is_single_regular

Floats = NDArray[np.float64]

ALIAS_ORDER = 3  # interactions of more factors are not listed as aliases
FEWEST_DF = 3  # error df from which single effects are judged by what is left over
LISTED_FACTORS = 12  # with more factors than this only the asked-for order is listed


@dataclass(eq=False)
class Selection:
    """What is fitted and, for what is not, why.

    ``columns`` holds the fitted terms with (stratum, columns) in order of entry.
    ``saturated`` tells of a two-level design baked once, where every effect is fitted.
    """

    columns: dict[Term, tuple[int, Floats]] = field(default_factory=dict)
    aliases: dict[Term, list[Term]] = field(default_factory=dict)
    empty: dict[Term, tuple[str, ...]] = field(default_factory=dict)
    entangled: dict[Term, tuple[str, ...]] = field(default_factory=dict)
    partial: tuple[Term, ...] = ()
    for_error: tuple[Term, ...] = ()
    saturated: bool = False

    @property
    def refused(self) -> set[tuple[int, ...]]:
        gone = [*self.empty, *self.entangled, *self.partial, *self.for_error]
        twins = [term for chain in self.aliases.values() for term in chain if term.order == 1]
        return {term.members for term in [*gone, *twins]}


def select(
    variables: Sequence[Variable],
    order: int,
    ground: Ground,
    *,
    bends: bool = False,
    screening: bool = False,
    joint: Sequence[str] = (),
) -> Selection:
    """Choose the terms to fit; ``order`` is the highest interaction asked for.

    ``bends``: squares of amounts with three or more settings as well. ``screening``: single
    effects alone were asked for; they are judged by what is left over while that is enough.
    ``joint``: only these interactions, named "oven:soda"; () for all up to ``order``.
    """
    asked = joint_members(variables, joint)
    order = max((len(members) for members in asked), default=order)
    return Selector(variables, order, ground, bends=bends, screening=screening, joint=asked).run()


def joint_members(variables: Sequence[Variable], named: Sequence[str]) -> frozenset[tuple[int, ...]]:
    """Positions of the members of each named interaction. Raises TrialDataError for a name that is none."""
    factors = {variable.name: i for i, variable in enumerate(variables) if not variable.block}
    found = set()
    for text in named:
        known = {":".join(names): names for size in (2, 3) for names in permutations(factors, size)}
        if text not in known:
            near = did_you_mean(text, sorted(known)) if known else "Name two factors that changed."
            raise TrialDataError(f'"{text}" is no interaction of these factors.', where="--interaction", try_this=near)
        found.add(tuple(sorted(factors[name] for name in known[text])))
    return frozenset(found)


class Selector:
    """Takes terms order by order; ``analysis.blends`` enters its own."""

    def __init__(
        self,
        variables: Sequence[Variable],
        order: int,
        ground: Ground,
        *,
        bends: bool,
        screening: bool,
        joint: frozenset[tuple[int, ...]] = frozenset(),
    ) -> None:
        self.variables, self.ground, self.bends, self.joint = variables, ground, bends, joint
        self.blocks = [i for i, variable in enumerate(variables) if variable.block]
        self.factors = [i for i, variable in enumerate(variables) if not variable.block]
        self.order = min(max(order, 1), len(self.factors))
        left = len(ground.y) - 1 - sum(variable.width for variable in variables)
        enough = screening and left >= FEWEST_DF
        self.regular = is_single_regular([variables[i] for i in self.factors]) and not enough
        self.selection = Selection(saturated=self.regular and ground.plots is None)
        self.bases = [Basis(rows) for rows in ground.rows]
        self.seen: dict[bytes, Term] = {}

    def run(self) -> Selection:
        self.bases[0].adds(self.ground.constant())
        for block in self.blocks:
            self.enter(make_term(self.variables, (block,)))
        for order in range(1, self._highest() + 1):
            if self.selection.partial or self._complete():
                break
            self._enter_order(order)
            if order == 1 and self.bends:
                self.enter_together([(i, i) for i in self.factors if self._bends(self.variables[i])])
        self._list_aliases()
        self.leave_error()
        return self.selection

    def _highest(self) -> int:
        return len(self.factors) if self.selection.saturated else self.order

    def _complete(self) -> bool:
        """In a saturated two-level design: has every effect been met?"""
        return self.selection.saturated and len(self.seen) >= len(self.ground.y) - 1

    def _bends(self, variable: Variable) -> bool:
        return variable.amount and len(variable.levels) > 2

    def _enter_order(self, order: int) -> None:
        peers = combinations(self.factors, order)
        self.enter_together([members for members in peers if order == 1 or not self.joint or members in self.joint])

    def enter_together(self, peers: Sequence[tuple[int, ...]]) -> None:
        before = [basis.columns for basis in self.bases]
        candidates = [make_term(self.variables, members) for members in peers]
        entered = [term for term in candidates if self.offer(term)]
        mixed = [term for term in candidates if self._mixed_with_peers(term)]
        if not mixed:
            return
        # Which of the peers stay would be an accident of their order: none of them does.
        for basis, columns in zip(self.bases, before, strict=True):
            basis.columns = columns
        for term in entered:
            del self.selection.columns[term]
        for term in mixed:
            del self.selection.entangled[term]
        self.selection.partial = tuple(dict.fromkeys([*self.selection.partial, *entered, *mixed]))

    def _mixed_with_peers(self, term: Term) -> bool:
        if term.order < 2 or term not in self.selection.entangled:
            return False
        names = {other.name for other in self.selection.columns if other.order == term.order}
        return bool(names & set(self.selection.entangled[term]))

    def offer(self, term: Term) -> bool:
        """Enter ``term`` unless it is an alias, has empty cells or stands on a refused term."""
        if self.is_alias(term):
            return False
        if not self.regular and term.order > 1:
            cells = empty_cells(self.variables, term)
            if cells:
                self.selection.empty[term] = cells
                return False
            refused = self.selection.refused
            if any(part in refused for part in set(combinations(term.members, term.order - 1))):
                return False
        return self.enter(term)

    def is_alias(self, term: Term) -> bool:
        key = alias_key(self.variables, term)
        if key is None:
            return False
        if key == b"":
            return True  # never changes: a defining word of the fraction
        first = self.seen.setdefault(key, term)
        if first == term:
            return False
        self.selection.aliases.setdefault(first, []).append(term)
        return True

    def enter(self, term: Term) -> bool:
        place, columns = self.ground.place(term_columns(self.variables, term))
        if self.bases[place].adds(columns):
            self.selection.columns[term] = (place, columns)
            return True
        peers = [(other.name, block) for other, (at, block) in self.selection.columns.items() if at == place]
        if place == 0:
            peers.insert(0, ("", self.ground.constant()))
        found = involved(columns, [block for _, block in peers]) if peers else []
        self.selection.entangled[term] = tuple(peers[i][0] for i in found if peers[i][0])
        return False

    def _list_aliases(self) -> None:
        """Name aliases of up to three factors even when the model asks for less."""
        if not all(self.variables[i].width == 1 for i in self.factors) or len(self.factors) > LISTED_FACTORS:
            return
        listed = {term for chain in self.selection.aliases.values() for term in chain} | set(self.seen.values())
        for order in range(2, min(ALIAS_ORDER, len(self.factors)) + 1):
            for members in combinations(self.factors, order):
                term = make_term(self.variables, members)
                key = alias_key(self.variables, term)
                if term not in listed and key and key in self.seen:
                    self.selection.aliases.setdefault(self.seen[key], []).append(term)

    def leave_error(self) -> None:
        """Give up the highest interactions of a stratum that has no error df left."""
        if self.selection.saturated:
            return
        for place, rows in enumerate(self.ground.rows):
            while self._error_df(place, rows) <= 0:
                own = [term for term, (at, _) in self.selection.columns.items() if at == place]
                highest = max((term.order for term in own), default=1)
                if highest < 2:
                    break
                dropped = [term for term in own if term.order == highest]
                for term in dropped:
                    del self.selection.columns[term]
                self.selection.for_error += tuple(dropped)

    def _error_df(self, place: int, rows: int) -> int:
        used = sum(term_width(self.variables, term) for term, (at, _) in self.selection.columns.items() if at == place)
        return rows - used - self.ground.absorbed[place] - (1 if place == 0 else 0)


def alias_key(variables: Sequence[Variable], term: Term) -> bytes | None:
    """The same bytes for single columns that are equal up to sign and size; b"" for a constant."""
    if term_width(variables, term) != 1:
        return None
    column = term_columns(variables, term)[:, 0]
    if np.ptp(column) < 1e-12:
        return b""
    first = column[np.argmax(np.abs(column) > 1e-9)]
    return bytes((np.round(column / first, 9) + 0.0).tobytes())
