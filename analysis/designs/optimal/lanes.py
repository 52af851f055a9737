"""Which candidate should stand at this place of the design, in many designs at once?

Each design is a lane. For every lane the variance of prediction at every candidate is held and
kept up to date, so that one matrix product weighs all candidates for one place of all lanes;
the best exchange of each is made at once (the modified Fedorov exchange of Cook and Nachtsheim
1980, Technometrics 22, 315, over arrays of starts).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from analysis.designs.optimal.setting import Place, Surroundings
from analysis.designs.optimal.updates import Booleans, Exchange, Floats, Integers, dots, times, variance_saved

GAIN = 1e-6  # least relative gain for which a run is exchanged; rounding noise is far below
SMALL = 250_000  # multiplications in one product of matrices
FEWEST_LANES = 4
TILT = 5e-7  # equal candidates: the later one wins by less than this, whatever the rounding


@dataclass(frozen=True, kw_only=True)
class Field:
    """``terms`` (N, p): candidates. ``moments`` (P, P) for the I criterion, None for D."""

    terms: Floats
    around: Surroundings
    moments: Floats | None = None

    @property
    def tilt(self) -> Floats:
        return np.linspace(0.0, TILT, len(self.terms))


class Across:
    """Sums over all candidates, in parts so small that the matrix library uses one thread for each.

    Several threads gain nothing at this size and wait for each other on a busy machine.
    """

    def __init__(self, terms: Floats) -> None:
        self.terms, self.turned = terms, np.ascontiguousarray(terms.T)
        count, p = terms.shape
        self.lanes = max(SMALL // (p * count), 1)
        step = max(SMALL // p**2, 1)
        self.parts = [slice(at, at + step) for at in range(0, count, step)]

    def __call__(self, vectors: Floats) -> Floats:
        """x'u (s, N) for every candidate x and vectors u (s, P)."""
        count, p = self.terms.shape
        used = vectors[:, :p]
        if self.lanes < FEWEST_LANES:
            return used @ self.turned
        out = np.empty((len(used), count))
        for at in range(0, len(used), self.lanes):
            np.matmul(used[at : at + self.lanes], self.turned, out=out[at : at + self.lanes])
        return out

    def squares(self, matrices: Floats) -> Floats:
        """x'Mx (s, N) for every candidate x and matrices M (s, P, P)."""
        p = self.terms.shape[1]
        inner = np.ascontiguousarray(matrices[:, :p, :p])
        parts = [np.einsum("snp,np->sn", self.terms[at] @ inner, self.terms[at]) for at in self.parts]
        return np.concatenate(parts, axis=1)


class Lanes:
    """The state of s designs, given as ``chosen`` (s, n): the candidate at each place.

    ``inverse`` (s, P, P); ``spread`` (s, N): x'Ax of every candidate x; ``seen`` (s, N): x'ABAx,
    what the candidate's variance tells of the average variance (I criterion only).
    """

    def __init__(self, field: Field, chosen: Integers, ridge: Floats) -> None:
        self.field, self.chosen = field, chosen
        self.across = Across(field.terms)
        self.tilt, self.ridge = field.tilt, ridge
        s, (count, _), size = len(chosen), field.terms.shape, len(field.around.held)
        self.inverse, self.spread = np.empty((s, size, size)), np.empty((s, count))
        if field.moments is not None:
            self.folded, self.seen = np.empty_like(self.inverse), np.empty_like(self.spread)
        self.refresh(np.arange(s))

    def refresh(self, lanes: Integers) -> None:
        """Compute the state of these lanes afresh; ``ridge`` (s,) keeps the inverse finite."""
        held = self.field.around.information(self.field.terms[self.chosen[lanes]])
        inverse = np.asarray(np.linalg.inv(held + self.ridge[lanes, None, None] * np.eye(held.shape[1])), np.float64)
        self.inverse[lanes], self.spread[lanes] = inverse, self.across.squares(inverse)
        if self.field.moments is not None:
            self.folded[lanes] = inverse @ self.field.moments
            self.seen[lanes] = self.across.squares(self.folded[lanes] @ inverse)

    def improve(self, at: int, allowed: Booleans | None = None) -> Booleans:
        """Put the best candidate at place ``at`` of every lane; (s,) which lanes changed.

        ``allowed`` (s, N): candidates that may come.
        """
        terms, chosen = self.field.terms, self.chosen
        here = terms[chosen[:, at]]
        place = None if self.field.around.plain else self.field.around.place(terms[chosen], at)
        row = here if place is None else place.row(here)
        u = times(self.inverse, row)
        leaves = dots(u, row)
        toward = self.across(u)
        spread, cross = self._weighed(u, toward, place)
        if self.field.moments is None:
            score = cross * cross
            score += (spread + self.tilt) * (1 - leaves)[:, None]
        else:
            score = self._variance_saved(u, leaves, spread, cross, place, row)
        if allowed is not None:
            score[~allowed] = -np.inf
        best = score.argmax(axis=1)
        lane = np.arange(len(chosen))
        exchange = Exchange(u=u, v=u, leaves=leaves, comes=spread[lane, best], cross=cross[lane, best])
        gained = exchange.ratio - 1 if self.field.moments is None else score[lane, best] / self.average_variance()
        better = (gained > GAIN) & (best != chosen[:, at])
        if better.any():
            coming = terms[best] if place is None else place.row(terms[best])
            self._exchange(np.flatnonzero(better), at, best, coming, toward, exchange)
        return better

    def _weighed(self, u: Floats, toward: Floats, place: Place | None) -> tuple[Floats, Floats]:
        """z'Az and z'Ay (s, N) for every candidate row z at this place; ``toward`` is x'Ay of its terms x."""
        if place is None:
            return self.spread, toward
        moved = times(self.inverse, place.shift)
        spread = self.spread + 2 * self.across(moved) + dots(place.shift, moved)[:, None]
        return place.scale**2 * spread, place.scale * (toward + dots(place.shift, u)[:, None])

    def _variance_saved(
        self, u: Floats, leaves: Floats, spread: Floats, cross: Floats, place: Place | None, row: Floats
    ) -> Floats:
        ahead = times(self.folded, u)  # ABAy
        of_cross, of_coming = self.across(ahead), self.seen
        if place is not None:
            moved = times(self.folded, times(self.inverse, place.shift))
            of_coming = self.seen + 2 * self.across(moved) + dots(place.shift, moved)[:, None]
            of_coming = place.scale**2 * of_coming
            of_cross = place.scale * (of_cross + dots(place.shift, ahead)[:, None])
        ratio = (1 + spread) * (1 - leaves)[:, None] + cross**2
        of_leaving = dots(ahead, row)[:, None]
        saved = variance_saved(ratio, leaves[:, None], spread, cross, (of_leaving, of_coming, of_cross))
        return saved + self.tilt * self.average_variance()[:, None]

    def average_variance(self) -> Floats:
        """trace(AB) (s,)."""
        return np.einsum("sii->s", self.folded)

    def _exchange(
        self, lanes: Integers, at: int, best: Integers, coming: Floats, toward: Floats, made: Exchange
    ) -> None:
        before, u = self.inverse[lanes], made.u[lanes]
        v = times(before, coming[lanes])
        made = Exchange(u=u, v=v, leaves=made.leaves[lanes], comes=made.comes[lanes], cross=made.cross[lanes])
        along_v, along_u = self.across(v), toward[lanes]
        by_v, by_u = made.weights(along_v, along_u)
        self.spread[lanes] -= by_v * along_v + by_u * along_u
        self.inverse[lanes] = made.inverse(before)
        self.chosen[lanes, at] = best[lanes]
        if self.field.moments is not None:
            self._exchange_seen(lanes, u, v, by_u, by_v)

    def _exchange_seen(self, lanes: Integers, u: Floats, v: Floats, by_u: Floats, by_v: Floats) -> None:
        moments = self.field.moments
        assert moments is not None
        folded = self.folded[lanes]  # still that of the design before
        ahead_v, ahead_u = self.across(times(folded, v)), self.across(times(folded, u))
        vv, uv, uu = (dots(left, right @ moments)[:, None] for left, right in ((v, v), (u, v), (u, u)))
        self.seen[lanes] += -2 * (by_v * ahead_v + by_u * ahead_u) + by_v**2 * vv + 2 * by_v * by_u * uv + by_u**2 * uu
        self.folded[lanes] = self.inverse[lanes] @ moments
