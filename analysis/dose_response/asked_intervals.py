"""Intervals by profile or by bootstrap, when they are asked for: what changes on a curve?

Parameters, best dose, effective doses and the recommended dose get their limits anew; what the bakes
leave open, and what could not be had, stands in the reasons.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from analysis.dose_response.bootstrap import leftovers, resampled_curve
from analysis.dose_response.bootstrap_limits import limits_of
from analysis.dose_response.curves import ShapeFit
from analysis.dose_response.effective import dose_at_fraction
from analysis.dose_response.goals import Aim
from analysis.dose_response.kinks import Allowed, allowed_breakpoints, linear_ends, solved_ends
from analysis.dose_response.profiles import (
    Constraint,
    Ends,
    of_fraction,
    of_good_enough,
    of_reading,
    of_turning,
    profile_ends,
    se_of,
)
from analysis.dose_response.shape import AnyArray
from analysis.dose_results import Curve, EffectiveDose, Optimum, Recommended
from analysis.estimates import Interval
from analysis.questions import Question

Reasons = dict[str, str]
# Of 400 plateaus with 6 doses of 4 bakes, resampled limits held the breakpoint in 90 %.
KINK = "resampled limits of a breakpoint are too narrow, so that its limits by profile stand"


def as_asked(
    curve: Curve, fit: ShapeFit, number: int, aim: Aim, question: Question, *, uneven: bool
) -> tuple[Curve, Reasons]:
    """The curve with the intervals the question asks for, and what to know about them."""
    if question.intervals == "standard":
        return curve, {}
    suffix = f" [{curve.level}]" if curve.level is not None else ""
    if fit.shape.free:
        return curve, {question.intervals + suffix: "a curve without a formula keeps the intervals of its own band"}
    if question.intervals == "profile":
        made, reasons = _by_profile(curve, fit, number, aim, question.confidence)
    else:
        rng = np.random.Generator(np.random.PCG64([question.seed, 211, number]))
        drawn = resampled_curve(fit, number, leftovers(fit, rng, uneven=uneven))
        made, reasons = limits_of(curve, fit, number, aim, drawn, question.confidence)
        if "breakpoint" in made.parameters:
            profiled = _Profile(fit, number, question.confidence).parameter(
                "breakpoint", curve.parameters["breakpoint"]
            )
            made = replace(made, parameters={**made.parameters, "breakpoint": profiled})
            reasons["bootstrap breakpoint"] = KINK
    return made, {f"{key}{suffix}": why for key, why in reasons.items()}


def _by_profile(curve: Curve, fit: ShapeFit, number: int, aim: Aim, confidence: float) -> tuple[Curve, Reasons]:
    if fit.shape.q == 0 and fit.shape.name != "quadratic":
        return curve, {"profile": "the curve is linear in its parameters, so that its profile is the standard interval"}
    reader = _Profile(fit, number, confidence)
    made = replace(
        curve,
        parameters={name: reader.parameter(name, value) for name, value in curve.parameters.items()},
        optimum=reader.best(curve.optimum, aim),
        effective=tuple(reader.effective(each) for each in curve.effective),
        recommended=reader.recommended(curve.recommended, aim),
    )
    return made, reader.reasons


class _Profile:
    """Profile limits of one curve; collects what stays open."""

    def __init__(self, fit: ShapeFit, number: int, confidence: float) -> None:
        self.fit, self.number, self.confidence = fit, number, confidence
        self.doses = fit.layout.parts[number].doses
        self.reasons: Reasons = {}
        # Shapes with a kink are profiled over a grid of breakpoints.
        self.kink: Allowed | None = allowed_breakpoints(fit, number, confidence) if fit.shape.low_ok else None

    def _note(self, name: str, ends: Ends) -> None:
        sides = [side for side, end in (("lower", ends.low), ("upper", ends.high)) if end is None]
        if sides:
            both = "both ends" if len(sides) == 2 else f"the {sides[0]} end"
            self.reasons[f"profile {name}"] = f"the bakes leave {both} of the interval open"

    def _smooth(self, constraint: Constraint, estimate: float, *, inside: bool = False) -> Ends:
        se = se_of(self.fit, constraint, estimate)
        lowest, highest = (float(self.doses[0]), float(self.doses[-1])) if inside else (-np.inf, np.inf)
        return profile_ends(self.fit, constraint, estimate, se, self.confidence, lowest=lowest, highest=highest)

    def parameter(self, name: str, value: Interval) -> Interval:
        shape, centre = self.fit.shape, self.fit.layout.centre
        if shape.q == 0:
            return value  # linear: the profile is the standard interval

        def read(p: AnyArray) -> complex:
            return complex(shape.report(p, centre)[name])

        if self.kink is None:
            ends = self._smooth(of_reading(self.fit, self.number, read), value.estimate)
        elif name == "breakpoint":
            found = self.kink.ends
            self._note(name, found)
            ends = Ends(
                float(self.doses[0]) if found.low is None else found.low,
                float(self.doses[-1]) if found.high is None else found.high,
            )
        else:
            # Every other parameter of a plateau is linear in the level and the slope.
            ends = linear_ends(
                self.kink,
                lambda theta: np.array(
                    [np.real(read(np.array([theta, 1.0, 0.0]))), np.real(read(np.array([theta, 0.0, 1.0])))]
                ),
            )
        self._note(name, ends)
        return Interval(estimate=value.estimate, se=value.se, low=ends.low, high=ends.high)

    def best(self, best: Optimum | None, aim: Aim) -> Optimum | None:
        # A quadratic's Fieller interval is its profile; a target is met where its test says so.
        if best is None or aim.goal == "target" or self.fit.shape.name == "quadratic" or not self.fit.shape.turns:
            return best
        ends = self._smooth(of_turning(self.fit, self.number), best.dose, inside=True)
        self._note("best dose", ends)
        return replace(best, low=ends.low, high=ends.high, method="profile")

    def effective(self, each: EffectiveDose) -> EffectiveDose:
        if each.dose is None:
            return each
        low, high = float(self.doses[0]), float(self.doses[-1])

        def read(p: AnyArray) -> complex:
            return dose_at_fraction(self.fit, p, each.fraction, low, high)

        if self.kink is not None:
            # Moves with the breakpoint, and with nothing else.
            ends = Ends(
                *(
                    None if end is None else float(np.real(read(np.array([end, 1.0, 1.0]))))
                    for end in (self.kink.ends.low, self.kink.ends.high)
                )
            )
        elif (
            self.fit.shape.turns
            and self.fit.shape.at_fraction is None
            and self.fit.shape.name not in ("quadratic", "hump")
        ):
            sign = 1.0 if self._rises_first() else -1.0
            ends = self._smooth(of_fraction(self.fit, self.number, each.fraction, sign), each.dose, inside=True)
        else:
            ends = self._smooth(of_reading(self.fit, self.number, read), each.dose)
        self._note(f"effective dose {each.fraction:g}", ends)
        return replace(each, low=ends.low, high=ends.high)

    def _rises_first(self) -> bool:
        y = self.fit.mean(self.number, np.linspace(self.doses[0], self.doses[-1], 401))
        return 0 < int(y.argmax()) < y.size - 1

    def recommended(self, good: Recommended | None, aim: Aim) -> Recommended | None:
        if good is None:
            return None
        low, high = float(self.doses[0]), float(self.doses[-1])
        if aim.goal == "target" or not low < good.dose < high:
            self.reasons["profile recommended dose"] = (
                "it lies at an end of the range or follows a target, so that its interval is the standard one"
            )
            return good
        if self.kink is not None:
            ends = self._of_plateau(good, aim, self.kink)
        else:
            ends = self._smooth(of_good_enough(self.fit, self.number, aim), good.dose, inside=True)
        self._note("recommended dose", ends)
        return replace(
            good,
            low=min(good.dose, low if ends.low is None else ends.low),
            high=max(good.dose, high if ends.high is None else ends.high),
        )

    def _of_plateau(self, good: Recommended, aim: Aim, kink: Allowed) -> Ends:
        power = 1 if self.fit.shape.name == "linear-plateau" else 2
        if aim.matters is None:
            share = float(aim.within(np.array([[0.0, 1.0]]))[0]) ** (1 / power)
            first = float(self.doses[0])
            return Ends(
                *(None if end is None else end - share * (end - first) for end in (kink.ends.low, kink.ends.high))
            )
        below: Callable[[float], np.ndarray] = lambda v: np.minimum(v - kink.theta, 0.0) ** power  # noqa: E731
        sign = -1.0 if aim.goal == "minimise" else 1.0
        values = np.unique(np.append(np.linspace(self.doses[0], self.doses[-1], 1001), good.dose))
        return solved_ends(kink, below, -sign * aim.matters, values)
