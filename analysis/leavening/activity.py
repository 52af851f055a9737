"""How much less do crowded ions act than their amount says?

Each model gives log10 of the activity coefficient as ``-A z² s(I) + b(I) [z = 0]``; a
model is the pair of functions ``(s, b)`` of the ionic strength (mol/kg).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from analysis.leavening.arrays import Array

TRUSTED_STRENGTH = 0.5  # mol/kg; above this the answer is stretched and says so
HELD_STRENGTH = 0.75  # mol/kg; the reference mixtures reach 0.7


@dataclass(frozen=True, kw_only=True)
class ActivityModel:
    """``shield``: s(I); ``neutral``: log10 activity coefficient of uncharged species."""

    name: str
    shield: Callable[[Array], Array]
    neutral: Callable[[Array], Array]


def _davies(strength: Array) -> Array:
    """Held beyond its range, where the formula turns round and would drive highly charged
    phosphates, and with them the pH of a dry dough, to where no crumb ever was."""
    held = np.minimum(strength, HELD_STRENGTH)
    root = np.sqrt(held)
    return root / (1 + root) - 0.3 * held


def _guentelberg(strength: Array) -> Array:
    root = np.sqrt(strength)
    return root / (1 + root)


def _bates_guggenheim(strength: Array) -> Array:
    root = np.sqrt(strength)
    return root / (1 + 1.5 * root)


ACTIVITY_MODELS: Mapping[str, ActivityModel] = MappingProxyType(
    {
        model.name: model
        for model in (
            # Davies 1962, Ion Association, with 0.3 I; usable to about 0.5 mol/kg.
            ActivityModel(name="davies", shield=_davies, neutral=lambda strength: 0.1 * strength),
            ActivityModel(name="guentelberg", shield=_guentelberg, neutral=np.zeros_like),
            # Bates & Guggenheim 1960, Pure Appl. Chem. 1, 163: defines the scale of the pH standards.
            ActivityModel(name="bates-guggenheim", shield=_bates_guggenheim, neutral=np.zeros_like),
            ActivityModel(name="ideal", shield=np.zeros_like, neutral=np.zeros_like),
        )
    }
)
