"""What does a kind of design bake, each treatment once, in standard order?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from analysis.designs.fractions import Fraction
from analysis.designs.levels import Setting
from analysis.designs.requests import ModelName
from analysis.errors import PlanError

MOST_TREATMENTS = 865  # as many as there are blind codes

Settings = Mapping[str, Setting]
Property = float | bool | str


@dataclass(frozen=True, kw_only=True)
class Treatments:
    """Treatments in standard order (the first factor changes fastest).

    ``settings``: factor -> its settings from low to high or in level order, without centre points.
    ``ranges``: amount -> the doses that are coded -1 and 1, where they are not its lowest and highest.
    ``signs``: for regular two-level designs one row of -1 and 1 per treatment, else None.
    ``centre``: the treatment that is added ``centre_points`` times.
    ``model``: the terms the design is made to tell. ``properties``: what the kind promises of itself.
    ``groups``: one mapping per treatment, group name -> label, when the kind itself decides which
    treatments stand together (each treatment is then one run); mappings past the treatments are those
    of its centre points. None lets the blocks decide.
    """

    treatments: tuple[Settings, ...]
    settings: Mapping[str, tuple[Setting, ...]]
    ranges: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    signs: tuple[tuple[int, ...], ...] | None = None
    fraction: Fraction | None = None
    centre: Settings | None = None
    centre_points: int = 0
    model: ModelName = "interactions"
    properties: Mapping[str, Property] = field(default_factory=dict)
    groups: tuple[Mapping[str, str], ...] | None = None
    allowed: tuple[Settings, ...] = ()

    @property
    def two_level(self) -> bool:
        """Two settings of every factor, and no centre points."""
        return not self.centre_points and all(len(each) == 2 for each in self.settings.values())


def settings_of(
    treatments: tuple[Settings, ...], order: Mapping[str, tuple[Setting, ...]]
) -> dict[str, tuple[Setting, ...]]:
    """Factor -> the settings that occur: doses from low to high, levels in the order of ``order``."""
    found: dict[str, tuple[Setting, ...]] = {}
    for name, known in order.items():
        met = {treatment[name] for treatment in treatments}
        if all(isinstance(value, str) for value in met):
            found[name] = tuple(level for level in known if level in met)
        else:
            found[name] = tuple(sorted(met))
    return found


def refuse_too_many(count: int, *, try_this: str) -> None:
    """Raise PlanError when a plan would need more blind codes than there are."""
    if count > MOST_TREATMENTS:
        raise PlanError(
            f"This makes {count} runs; a trial holds at most {MOST_TREATMENTS}.", where="design", try_this=try_this
        )
