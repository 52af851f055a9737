"""Which rows share an effect of chance?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class RandomTerm:
    """Groups whose members share an effect of chance: a bake day, an oven load.

    ``codes`` (n,) is the group of each row, 0 to g - 1. With ``slope`` (n,) the effect of that
    amount varies between the groups too, correlated with their level.
    """

    name: str
    codes: IntArray
    slope: FloatArray | None = None
    slope_name: str = ""

    @property
    def width(self) -> int:
        """Random effects of each group: 1, or 2 with a slope."""
        return 1 if self.slope is None else 2

    @property
    def groups(self) -> int:
        return int(self.codes.max()) + 1 if self.codes.size else 0

    @property
    def effect_names(self) -> tuple[str, ...]:
        return (self.name,) if self.slope is None else (self.name, f"{self.name}:{self.slope_name or 'slope'}")
