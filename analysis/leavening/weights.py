"""What does each run of a trial weigh?

The formula in baker's percent, scaled to the flour of one bake, with what the run's
settings change: a dose, an acid weighed to neutralise the soda, one fat in place of another.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from analysis.errors import PlanError
from analysis.leavening.neutralising import NEUTRALISING, Neutralising, folded, water_share

SODA_NAMES = frozenset({"baking soda", "soda", "bicarbonate of soda", "sodium bicarbonate"})
FINE_BELOW_G = 10.0
SEEN_G = 0.005  # half of the finest weighing: less is nothing
PERCENT_UNITS = frozenset({"% flour", "%", "% of flour", "baker's percent"})
MEASURED = ("amount", "share")  # a share of the flour is % of flour; of another whole, its total says how much
ROUNDING_WORDS = "Weights are rounded to 0.1 g, below 10 g to 0.01 g."


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line of a formula: g per 100 g of flour."""

    ingredient: str
    bakers_percent: float
    flour: bool = False


@dataclass(frozen=True, kw_only=True)
class WeighedFactor:
    """What a plan says about how a factor is weighed.

    An amount or share with ``ingredient`` sets that line (unit "% flour" or "g"). A category weighs
    the ingredient of its level (``lines``: level -> ingredient, else the level's own name):
    as much as ``neutralises`` the run's baking soda (or a fixed % of flour), or ``amounts``
    (level -> % of flour), or all of the line it ``replaces``. ``replaces`` names the line the
    added weight comes off; ``water_back`` the line its water comes off.
    """

    name: str
    kind: str
    unit: str = ""
    ingredient: str | None = None
    levels: tuple[str, ...] = ()
    neutralises: str | float | None = None
    amounts: Mapping[str, float] = field(default_factory=dict)
    lines: Mapping[str, str] = field(default_factory=dict)
    replaces: str | None = None
    water_back: str | None = None

    @property
    def is_weighed(self) -> bool:
        """Does the baker weigh this factor, rather than set it (an oven, a time)?"""
        if self.kind in MEASURED:
            return self.ingredient is not None
        return bool(self.neutralises is not None or self.amounts or self.lines or self.replaces)

    def ingredient_of(self, level: str) -> str:
        return self.lines.get(level, level)


@dataclass(frozen=True, kw_only=True)
class Weight:
    """``grams`` as weighed (rounded), ``bakers_percent`` before rounding."""

    ingredient: str
    grams: float
    bakers_percent: float
    note: str = ""

    @property
    def text(self) -> str:
        """The grams as they are to be read on a scale."""
        return weighing_text(self.grams)


def rounded(grams: float) -> float:
    """To the weighing step: 0.1 g, and 0.01 g below 10 g."""
    return round(grams, 2 if grams < FINE_BELOW_G else 1)


def weighing_text(grams: float) -> str:
    return f"{grams:.2f}" if 0 < grams < FINE_BELOW_G else f"{grams:.1f}" if grams else "0"


def run_weights(
    lines: Sequence[Line],
    factors: Sequence[WeighedFactor],
    settings: Mapping[str, float | str],
    flour_g: float,
    substances: Mapping[str, Neutralising] = NEUTRALISING,
) -> tuple[Weight, ...]:
    """The weights of one run, formula lines first, then what the factors added.

    ``flour_g`` > 0; ``substances`` has folded names as keys. Raises PlanError when a setting
    cannot be weighed: an acid of unknown strength, more taken off a line than it holds.
    """
    if not flour_g > 0:
        raise PlanError("The flour of a bake must weigh something.", where="flour_per_bake_g", try_this="300")
    bowl = _Bowl(lines, flour_g, substances)
    for factor in factors:  # doses first: an acid follows the soda, wherever the plan names it
        if factor.kind in MEASURED and factor.ingredient is not None:
            bowl.set_dose(factor, settings[factor.name])
    for factor in factors:
        if factor.kind == "category" and factor.is_weighed:
            bowl.set_level(factor, str(settings[factor.name]))
    if any(factor.neutralises is not None for factor in factors):
        bowl.note_what_is_left()
    return bowl.weights()


class _Bowl:
    """The lines of one run as they are being changed, in % of flour, in order."""

    def __init__(self, lines: Iterable[Line], flour_g: float, substances: Mapping[str, Neutralising]) -> None:
        self.flour_g = flour_g
        self.substances = substances
        self.names: dict[str, str] = {}
        self.percent: dict[str, float] = {}
        self.notes: dict[str, list[str]] = {}
        for line in lines:
            self._set(line.ingredient, line.bakers_percent)

    def set_dose(self, factor: WeighedFactor, value: float | str) -> None:
        if isinstance(value, str):
            raise PlanError(
                f'The dose "{value}" of {factor.name} is no number.', where=f"factor {factor.name}", try_this="1.5"
            )
        assert factor.ingredient is not None
        before = self.percent.get(folded(factor.ingredient), 0.0)
        percent = self._as_percent(factor, value)
        self._set(factor.ingredient, percent)
        self._take_off(factor, factor.ingredient, percent - before)

    def _as_percent(self, factor: WeighedFactor, value: float) -> float:
        if folded(factor.unit) in PERCENT_UNITS:
            return value
        if folded(factor.unit) == "g":
            return 100.0 * value / self.flour_g
        raise PlanError(
            f'"{factor.name}" is weighed, but its unit "{factor.unit}" is not a weight.',
            where=f"factor {factor.name}",
            try_this='unit = "% flour" or unit = "g", or leave out ingredient when it is not weighed',
        )

    def set_level(self, factor: WeighedFactor, level: str) -> None:
        """Weigh the ingredient of the level; those of the other levels are left out."""
        ingredient = factor.ingredient_of(level)
        before = self.percent.get(folded(ingredient), 0.0)
        percent, note = self._level_percent(factor, level, ingredient)
        for other in factor.levels:
            if other != level and folded(factor.ingredient_of(other)) != folded(ingredient):
                self._drop(factor.ingredient_of(other), keep=factor.replaces)
        self._set(ingredient, percent, note)
        if factor.replaces is not None and not self._is_swap(factor):
            self._take_off(factor, ingredient, percent - before)
        elif factor.water_back is not None:
            self._take_water(factor, ingredient, percent - before)

    @staticmethod
    def _is_swap(factor: WeighedFactor) -> bool:
        return factor.neutralises is None and not factor.amounts

    def _level_percent(self, factor: WeighedFactor, level: str, ingredient: str) -> tuple[float, str]:
        if factor.amounts:
            if level not in factor.amounts:
                raise PlanError(
                    f'No amount is given for the level "{level}" of {factor.name}.',
                    where=f"factor {factor.name}, amounts",
                    try_this=f'"{level}" = 5 under [factor.amounts] (% of flour)',
                )
            return factor.amounts[level], ""
        if factor.neutralises is not None:
            return self._neutralising_percent(factor, ingredient)
        if factor.replaces is not None:
            return self._swapped_percent(factor, ingredient)
        if folded(ingredient) not in self.percent:
            raise self._no_line(factor, ingredient)
        return self.percent[folded(ingredient)], ""

    def _neutralising_percent(self, factor: WeighedFactor, ingredient: str) -> tuple[float, str]:
        known = self.substances.get(folded(ingredient))
        if known is None or known.soda_g <= 0:
            raise PlanError(
                f'How much soda "{ingredient}" neutralises is not known.',
                where=f"factor {factor.name}",
                try_this=f'amounts = {{"{ingredient}" = 5}} (% of flour), or its neutralising value in the kitchen',
            )
        soda = self._soda_percent(factor)
        words = f"neutralises {weighing_text(rounded(soda * self.flour_g / 100))} g soda ({known.sureness})"
        return known.grams_for(soda), words

    def _soda_percent(self, factor: WeighedFactor) -> float:
        if isinstance(factor.neutralises, str):
            name = folded(factor.neutralises)
            same = SODA_NAMES if name in SODA_NAMES else {name}
            found = [self.percent[line] for line in self.percent if line in same]
            if not found:
                raise PlanError(
                    f'"{factor.name}" neutralises "{factor.neutralises}", which this formula does not hold.',
                    where=f"factor {factor.name}",
                    try_this='a line "baking soda" in the formula, or neutralises = 1.5 (% of flour)',
                )
            return sum(found)
        assert factor.neutralises is not None
        return float(factor.neutralises)

    def _swapped_percent(self, factor: WeighedFactor, ingredient: str) -> tuple[float, str]:
        assert factor.replaces is not None
        old = folded(factor.replaces)
        if old not in self.percent:
            raise self._no_line(factor, factor.replaces)
        percent = self.percent[old]
        if old != folded(ingredient):
            self._drop(factor.replaces)
        return percent, ""

    def _take_off(self, factor: WeighedFactor, ingredient: str, added: float) -> None:
        """Take the added weight off the line it replaces, or the added water off the water."""
        if factor.replaces is not None:
            self._reduce(factor, factor.replaces, added)
        elif factor.water_back is not None:
            self._take_water(factor, ingredient, added)

    def _take_water(self, factor: WeighedFactor, ingredient: str, added: float) -> None:
        assert factor.water_back is not None
        share = water_share(ingredient, self.substances)
        if share * added:
            self._reduce(factor, factor.water_back, share * added)

    def _reduce(self, factor: WeighedFactor, line: str, by: float) -> None:
        if folded(line) not in self.percent:
            raise self._no_line(factor, line)
        left = self.percent[folded(line)] - by
        if left < -1e-9:
            raise PlanError(
                f"{self.names[folded(line)]} would fall to {left * self.flour_g / 100:.1f} g: "
                f"{factor.name} takes off more than there is.",
                where=f"factor {factor.name}",
                try_this=f'lower doses, or a formula with more "{line}"',
            )
        self.percent[folded(line)] = max(left, 0.0)

    def _no_line(self, factor: WeighedFactor, line: str) -> PlanError:
        return PlanError(
            f'The formula has no line "{line}".',
            where=f"factor {factor.name}",
            try_this=f"one of {', '.join(self.names.values())}",
        )

    def note_what_is_left(self) -> None:
        """Say how much soda stays over, or how much more the acids could take, by the table."""
        grams = {name: percent * self.flour_g / 100 for name, percent in self.percent.items()}
        soda = [name for name in grams if name in SODA_NAMES]
        taken = sum(
            grams[name] * self.substances[name].soda_g / 100
            for name in grams
            if name in self.substances and name not in SODA_NAMES
        )
        left = sum(grams[name] for name in soda) - taken
        if soda and abs(left) > SEEN_G:
            words = f"{weighing_text(rounded(abs(left)))} g"
            said = f"{words} stays unneutralised" if left > 0 else f"the acids could neutralise {words} more"
            self.notes.setdefault(soda[0], []).append(said)

    def _set(self, ingredient: str, percent: float, note: str = "") -> None:
        self.names.setdefault(folded(ingredient), ingredient)
        self.percent[folded(ingredient)] = percent
        if note:
            self.notes.setdefault(folded(ingredient), []).append(note)

    def _drop(self, ingredient: str, *, keep: str | None = None) -> None:
        name = folded(ingredient)
        if keep is None or folded(keep) != name:
            self.percent.pop(name, None)

    def weights(self) -> tuple[Weight, ...]:
        return tuple(
            Weight(
                ingredient=self.names[name],
                grams=rounded(percent * self.flour_g / 100),
                bakers_percent=percent,
                note="; ".join(self.notes.get(name, [])),
            )
            for name, percent in self.percent.items()
        )
