"""Is it the leavener, the weighing or the oven? What pH, gas and the oven's own figures say about a change.

A leavener that loses strength in store has let soda and acid react with each other, in balance: less gas, the
same pH. Too little soda or acid weighed in shows in the pH. When gas and pH are still and the oven's
temperature or the bake loss moves, it is the oven; when all are still, flour, mixing or shaping.
Each measurement beside is read over the same stretches as the changes, all changes at once.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from analysis.control.why_results import BesideMoved, Change, Chemistry, MadeWith, Told

Array = NDArray[np.float64]

ROLES = ("pH", "gas", "oven temperature", "bake loss")
NEEDED = ("pH", "gas", "oven temperature")  # bake loss may stand in for the oven's temperature

# Smallest move worth speaking of. pH: twice what duplicates may differ by (0.05, EU 85/503 for
# caseinate). The others are common practice, no source: gas in share of its usual, °C, and percent.
WORTH = {"pH": 0.1, "gas": 0.05, "oven temperature": 5.0, "bake loss": 1.0}
FAHRENHEIT = 1.8  # degrees of one scale in one of the other
FEWEST_EACH = 3  # readings within the change and outside it

# Share by which rise falls for a share of gas. Low: biscuits of 3.0 cm with and 2.1 cm without powder
# (Lloyd, Ogden, Pike and Utley 2004): 0.30. High: rise = -6.84 + 70.07 a teaspoon of powder (Lawson,
# Design and Analysis of Experiments, exercise of chapter 2), at one teaspoon 70.07 / 63.23 = 1.11.
RISE_FOR_GAS = (0.30, 1.11)


def ask_chemistry(
    log: MadeWith, changes: Sequence[Change], *, level: float, confidence: float
) -> tuple[Chemistry, ...]:
    """One answer for each change. ``level`` is the usual mean of the response. No raise: what is missing is said."""
    if not changes:
        return ()
    shapes = np.array([change.shape for change in changes])
    return tuple(_one(log, changes[at], shapes, at, level, confidence) for at in range(len(changes)))


def _one(log: MadeWith, change: Change, shapes: Array, at: int, level: float, confidence: float) -> Chemistry:
    moved: list[BesideMoved] = []
    too_few: list[str] = []
    for name, column in log.beside.items():
        role = log.roles.get(name, "")
        if role not in ROLES or name == log.series.response:
            continue
        told = _moved(name, role, log.units.get(name, ""), column, shapes, at, confidence)
        if told is None:
            too_few.append(name)
        else:
            moved.append(told)
    of_role = {each.role: each for each in reversed(moved)}
    gas = of_role.get("gas")
    rises = log.roles.get(log.series.response) == "rise"
    wanted = gas_wanted(change, level) if rises and (gas is None or gas.moved != "no") else None
    return Chemistry(
        verdict=_verdict(change, of_role, rises=rises),
        moved=tuple(moved),
        missing=_missing(of_role),
        too_few=tuple(too_few),
        gas_wanted=wanted,
        agrees=_agrees(gas, wanted, change),
    )


def _moved(
    name: str, role: str, unit: str, column: Sequence[tuple[float, ...]], shapes: Array, at: int, confidence: float
) -> BesideMoved | None:
    """The measurement over the stretch of one change, least squares beside the others; None with too few readings."""
    from scipy.special import stdtrit

    read = [place for place, values in enumerate(column) if values]
    y = np.array([float(np.mean(column[place])) for place in read])
    ours = shapes[at][read] if read else np.zeros(0)
    if np.count_nonzero(ours) < FEWEST_EACH or np.count_nonzero(ours == 0) < FEWEST_EACH:
        return None
    others = [shape[read] for place, shape in enumerate(shapes) if place != at and np.ptp(shape[read]) > 0]
    columns = np.column_stack([np.ones(len(read)), ours, *others])
    free = len(read) - columns.shape[1]
    if free < 1 or np.linalg.matrix_rank(columns) < columns.shape[1]:
        columns = columns[:, :2]
        free = len(read) - 2
    values = np.linalg.lstsq(columns, y, rcond=None)[0]
    spread = float(np.sum((y - columns @ values) ** 2)) / free
    half = float(stdtrit(free, 0.5 + confidence / 2)) * np.sqrt(spread * np.linalg.inv(columns.T @ columns)[1, 1])
    usual, size = float(values[0]), float(values[1])
    low, high = size - float(half), size + float(half)
    parts = (size / usual, low / usual, high / usual) if role == "gas" and usual > 0 else None
    judged = parts if parts else (size, low, high)
    return BesideMoved(
        name=name,
        role=role,
        unit=unit,
        readings=len(read),
        size=size,
        low=low,
        high=high,
        share=parts[0] if parts else None,
        share_low=parts[1] if parts else None,
        share_high=parts[2] if parts else None,
        moved=_judged(*judged, WORTH[role] * (FAHRENHEIT if unit.strip().upper() in ("F", "°F") else 1)),
    )


def _judged(size: float, low: float, high: float, worth: float) -> Told:
    """Yes: surely moved, by something worth speaking of. No: surely less than that. Else not known."""
    if -worth < low and high < worth:
        return "no"
    return "yes" if (low > 0 or high < 0) and abs(size) >= worth else "unknown"


def _verdict(change: Change, of_role: dict[str, BesideMoved], *, rises: bool) -> str:
    told = {role: of_role[role].moved if role in of_role else "unknown" for role in ROLES}
    gas = of_role.get("gas")
    if rises and told["gas"] == "yes" and gas is not None and gas.size * change.size < 0:
        return "open"  # more gas and less rise: neither explains the other
    if told["pH"] == "yes":
        return "amount or parts" if told["gas"] == "yes" else "amount wrong"
    if told["pH"] == "no" and gas is not None and gas.moved == "yes":
        return "leavener weak" if gas.size < 0 else "leavener strong"
    if told["pH"] == "no" and told["gas"] == "no":
        return "oven" if "yes" in (told["oven temperature"], told["bake loss"]) else "not the leavening"
    return "open"


def _missing(of_role: dict[str, BesideMoved]) -> tuple[str, ...]:
    """What would have to be measured, or measured more often, before more can be said."""
    unknown = [role for role in NEEDED if role not in of_role or of_role[role].moved == "unknown"]
    loss = of_role.get("bake loss")
    if "oven temperature" in unknown and loss is not None and loss.moved != "unknown":
        unknown.remove("oven temperature")
    return tuple(unknown)


def gas_wanted(change: Change, level: float) -> tuple[float, float] | None:
    """How much less (or more) gas, as a share of the usual, would take the rise as far as it went: least and most.

    None where the usual level is not above zero or the sign of the change is open. The range is that of two
    published sets of biscuits, of very different shape, so it tells orders of magnitude and not percents.
    """
    if level <= 0 or change.low <= 0 <= change.high:
        return None
    nearest, furthest = sorted((abs(change.low) / level, abs(change.high) / level))
    return nearest / RISE_FOR_GAS[1], min(furthest / RISE_FOR_GAS[0], 1.0)


def _agrees(gas: BesideMoved | None, wanted: tuple[float, float] | None, change: Change) -> Told:
    if gas is None or wanted is None or gas.share_low is None or gas.share_high is None or gas.moved != "yes":
        return "unknown"
    if gas.size * change.size < 0:
        return "no"
    least, most = sorted((abs(gas.share_low), abs(gas.share_high)))
    return "yes" if least <= wanted[1] and most >= wanted[0] else "no"
