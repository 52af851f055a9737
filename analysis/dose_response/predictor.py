"""What would another dose give, whichever plausible shape is the true one?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from analysis.dose_response.anova import Scatter
from analysis.dose_response.compare import Ranked
from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.draws import draw_curves
from analysis.predicting import Span, Treatments

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True, kw_only=True, eq=False)
class DosePredictor:
    """A ``Predictor`` (analysis.predicting) over the dose and the level of ``by``.

    Means and standard errors are those of the chosen shape; draws come from all ``ranked`` shapes, so
    that they carry the doubt about the shape. Blocks and days are averaged over; standard errors and
    draws hold the spread of random days.
    """

    fit: ShapeFit
    ranked: tuple[Ranked, ...]
    missed: Scatter | None

    @property
    def spans(self) -> Mapping[str, Span]:
        layout = self.fit.layout
        baked = tuple(float(dose) for dose in layout.doses)
        found = {layout.dose_name: Span(name=layout.dose_name, low=layout.low, high=layout.high, baked=baked)}
        if layout.by_name is not None:
            levels = tuple(str(part.level) for part in layout.parts)
            found[layout.by_name] = Span(name=layout.by_name, levels=levels)
        return found

    @property
    def sd(self) -> float | None:
        return float(np.sqrt(self.fit.variance))

    @property
    def df(self) -> float | None:
        return float(self.fit.df)

    @np.errstate(all="ignore")
    def mean(self, settings: Treatments) -> Array:
        doses, curves = self._read(settings)
        out = np.empty(doses.size)
        for number in np.unique(curves):
            out[curves == number] = self.fit.mean(int(number), doses[curves == number])
        return out

    @np.errstate(all="ignore")
    def se(self, settings: Treatments) -> Array | None:
        doses, curves = self._read(settings)
        out = np.empty(doses.size)
        for number in np.unique(curves):
            rows = self.fit.rows(int(number), doses[curves == number])
            out[curves == number] = np.sqrt(self.fit.variance_of(rows))
        return out

    @np.errstate(all="ignore")
    def draws(self, settings: Treatments, *, count: int, seed: int) -> Array | None:
        doses, curves = self._read(settings)
        distinct, at = np.unique(doses, return_inverse=True)
        rng = np.random.Generator(np.random.PCG64([seed, 211]))
        drawn = draw_curves(self.ranked, distinct, rng, missed=self.missed, draws=count)
        # Draws come shape by shape; other responses' draws are paired with them by number.
        drawn = drawn[:, rng.permutation(count)]
        out = drawn[curves, :, at].T
        broken = ~np.isfinite(out).all(axis=1)
        out[broken] = self.mean(settings)
        return np.asarray(out)

    def _read(self, settings: Treatments) -> tuple[Array, Ints]:
        """(doses (m,), number of the curve (m,))."""
        layout = self.fit.layout
        doses = np.asarray(settings[layout.dose_name], dtype=np.float64)
        if layout.by_name is None or len(layout.parts) == 1:
            return doses, np.zeros(doses.size, dtype=np.int64)
        numbers = {str(part.level): number for number, part in enumerate(layout.parts)}
        return doses, np.array([numbers[str(level)] for level in settings[layout.by_name]], dtype=np.int64)
