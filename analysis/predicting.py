"""What would another treatment give, and how surely?

A family that fitted a model hands out a ``Predictor`` beside its tables, so that goals, next
bakes and surfaces can ask about treatments that were not baked without knowing the family.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol, TypeAlias, TypeVar, runtime_checkable

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

T = TypeVar("T")


@dataclass(frozen=True, kw_only=True)
class Span:
    """What was baked of one factor: its range as an amount or share, or its levels as a category."""

    name: str
    low: float | None = None
    high: float | None = None
    levels: tuple[str, ...] = ()
    baked: tuple[float, ...] = ()


class Settings:
    """Treatments, one row each (m): a column of numbers or of level names for each factor.

    Never changed once made, so that what a model makes of it is kept and shared (``once``). A frame of the same
    columns may stand in its place; these are plain arrays because thousands of them are asked about.
    """

    def __init__(self, columns: Mapping[str, Sequence[float | str] | Floats]) -> None:
        import numpy as np

        self._columns = {name: _column(values) for name, values in columns.items()}
        self._rows = len(next(iter(self._columns.values()), np.empty(0)))
        self._made: dict[object, Any] = {}

    @property
    def columns(self) -> tuple[str, ...]:
        return tuple(self._columns)

    def __len__(self) -> int:
        return self._rows

    def __contains__(self, name: object) -> bool:
        return name in self._columns

    def __getitem__(self, name: str) -> NDArray[Any]:
        return self._columns[name]

    def row(self, at: int) -> dict[str, float | str]:
        """One treatment as plain numbers and texts."""
        return {
            name: str(column[at]) if column.dtype == object else float(column[at])
            for name, column in self._columns.items()
        }

    def rows(self, at: NDArray[Any]) -> Settings:
        """Some of the treatments, by their places or by which of them (m,) are meant."""
        return Settings({name: column[at] for name, column in self._columns.items()})

    def once(self, key: object, make: Callable[[], T]) -> T:
        """What ``make`` gave when it was first asked under this key."""
        if key not in self._made:
            self._made[key] = make()
        found: T = self._made[key]
        return found


def _column(values: Sequence[float | str] | Floats) -> NDArray[Any]:
    import numpy as np

    text = len(values) > 0 and isinstance(values[0], str)
    return np.array(values, dtype=object) if text else np.asarray(values, dtype=np.float64)


Treatments: TypeAlias = "pd.DataFrame | Settings"


class Predictor(Protocol):
    """The fitted mean of one response over treatments.

    ``settings`` have one row for each treatment (m) and a column for each name in ``spans`` (others
    beside them are passed over): numbers for amounts and shares, level names for categories. Blocks and groups are
    averaged over. ``sd`` is the scatter between bakes of one treatment (None when unknown).
    """

    @property
    def spans(self) -> Mapping[str, Span]: ...

    @property
    def sd(self) -> float | None: ...

    @property
    def df(self) -> float | None: ...

    def mean(self, settings: Treatments) -> Floats:
        """Fitted means (m,) on the scale of the response."""
        ...

    def se(self, settings: Treatments) -> Floats | None:
        """Standard errors of the means (m,); None without anything to judge by."""
        ...

    def draws(self, settings: Treatments, *, count: int, seed: int) -> Floats | None:
        """Means as they might truly be (count, m), jointly over the treatments; None as for ``se``."""
        ...


@runtime_checkable
class KnowsMoments(Protocol):
    """A predictor that tells mean and covariance of its draws without making them."""

    def drawn_moments(self, settings: Treatments, *, count: int, seed: int) -> tuple[Floats, Floats] | None:
        """Means (m,) and covariance (m, m) of ``draws`` of the same count and seed."""
        ...
