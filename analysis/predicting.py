"""What would another treatment give, and how surely?

A family that fitted a model hands out a ``Predictor`` beside its tables, so that goals, next
bakes and surfaces can ask about treatments that were not baked without knowing the family.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Span:
    """What was baked of one factor: its range as an amount or share, or its levels as a category."""

    name: str
    low: float | None = None
    high: float | None = None
    levels: tuple[str, ...] = ()
    baked: tuple[float, ...] = ()


def treatments(columns: Mapping[str, Sequence[float | str] | Floats]) -> pd.DataFrame:
    """A frame of settings, one column for each factor: numbers as they are, levels as plain text.

    Left to itself pandas would keep the levels as text of its own, which is slow to look up row by row.
    """
    import pandas as pd

    text = {name for name, values in columns.items() if len(values) and isinstance(values[0], str)}
    return pd.DataFrame(
        {name: pd.Series(values, dtype=object if name in text else None) for name, values in columns.items()}
    )


class Predictor(Protocol):
    """The fitted mean of one response over treatments.

    ``settings`` is a frame with one row for each treatment (m) and a column for each name in
    ``spans``: numbers for amounts and shares, level names for categories. Blocks and groups are
    averaged over. ``sd`` is the scatter between bakes of one treatment (None when unknown).
    """

    @property
    def spans(self) -> Mapping[str, Span]: ...

    @property
    def sd(self) -> float | None: ...

    @property
    def df(self) -> float | None: ...

    def mean(self, settings: pd.DataFrame) -> Floats:
        """Fitted means (m,) on the scale of the response."""
        ...

    def se(self, settings: pd.DataFrame) -> Floats | None:
        """Standard errors of the means (m,); None without anything to judge by."""
        ...

    def draws(self, settings: pd.DataFrame, *, count: int, seed: int) -> Floats | None:
        """Means as they might truly be (count, m), jointly over the treatments; None as for ``se``."""
        ...
