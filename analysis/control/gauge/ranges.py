"""What does the way by averages and ranges say, as it is done with pencil and paper?

For an even crossed study. The mean range of repeats over d2*, and the ranges of the averages of people and
of pieces over theirs, where d2*(m, g)² = d2(m)² + d3(m)² / g for g ranges of m readings (Duncan 1955,
from memory; computed here from d2 and d3). Beyond 15 ranges d2 itself stands, as is customary.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from analysis.control.constants import constants
from analysis.control.gauge.results import RangeAnswer
from analysis.control.gauge.study import Study

MANY_RANGES = 15
CLASSES = 1.41  # the root of 2 as the published way has it


@dataclass(frozen=True, kw_only=True)
class Factors:
    """What ranges are multiplied by to become standard deviations: of repeats, of people, of pieces."""

    repeats: float
    people: float
    pieces: float


def d2_star(m: int, g: int) -> float:
    """What the mean of ``g`` ranges of ``m`` readings is divided by, for an sd whose square is right on average."""
    held = constants(m)
    return held.d2 if g > MANY_RANGES else math.sqrt(held.d2**2 + held.d3**2 / g)


def factors_of(people: int, pieces: int, repeats: int) -> Factors:
    return Factors(
        repeats=1 / d2_star(repeats, people * pieces), people=1 / d2_star(people, 1), pieces=1 / d2_star(pieces, 1)
    )


def average_and_range(study: Study, factors: Factors | None = None) -> RangeAnswer | None:
    """None for a study that is not even, nested, by one person or without repeats."""
    repeats = int(study.counts[0])
    if not study.even or study.nested or len(study.people) < 2 or repeats < 2:
        return None
    people, pieces = len(study.people), len(study.pieces)
    factors = factors or factors_of(people, pieces, repeats)
    ordered = study.y[np.argsort(study.cell, kind="stable")].reshape(-1, repeats)
    mean_range = float(np.ptp(ordered, axis=1).mean())
    by_person = np.bincount(study.person, study.y) / (pieces * repeats)
    by_piece = np.bincount(study.piece, study.y) / (people * repeats)
    people_range, pieces_range = float(np.ptp(by_person)), float(np.ptp(by_piece))
    repeatability = mean_range * factors.repeats
    between = (people_range * factors.people) ** 2 - repeatability**2 / (pieces * repeats)
    reproducibility = math.sqrt(max(between, 0.0))
    gauge = math.hypot(repeatability, reproducibility)
    piece = pieces_range * factors.pieces
    return RangeAnswer(
        repeatability=repeatability,
        reproducibility=reproducibility,
        gauge=gauge,
        piece=piece,
        total=math.hypot(gauge, piece),
        classes=CLASSES * piece / gauge if gauge > 0 else None,
        mean_range=mean_range,
        people_range=people_range,
        pieces_range=pieces_range,
    )
