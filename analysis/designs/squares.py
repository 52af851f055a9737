"""What is baked where two nuisances cross, such as oven shelf and turn of the day?

A Latin square has every treatment once in each row and once in each column; a Graeco-Latin square
does so for two factors at a time whose levels also meet each other once (Fisher & Yates 1963,
Statistical Tables). One square of each size is kept; its rows, columns and letters are shuffled by the
seed. That is chance enough for a fair error (Yates 1933, from memory), though not every square can come up.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from analysis.designs.arrangement import Arrangement, Place, numbered
from analysis.designs.factorials import all_combinations
from analysis.designs.orthogonal import one_letter, two_letters
from analysis.designs.requests import DesignRequest
from analysis.designs.shuffle import Stream
from analysis.designs.treatments import Treatments, refuse_too_many
from analysis.errors import PlanError

# What stands for time, and how long it lasts: 0 a week, 1 a day, 2 a part of a day.
IN_TIME = {"week": 0, "day": 1, "load": 2, "hour": 2, "time": 2, "turn": 2, "order": 2}
DAY, NEVER = 1, 3
LARGEST = 12


def latin_square(request: DesignRequest) -> Treatments:
    """The levels of the one factor. Raises PlanError without names for rows and columns, or for several factors."""
    _require_names(request)
    if len(request.factors) != 1:
        raise PlanError(
            f"A Latin square compares the levels of one factor; this plan changes {len(request.factors)}.",
            where="design, kind",
            try_this='kind = "graeco-latin square" for two factors of as many levels, or "complete blocks"',
        )
    return _levels(request)


def graeco_latin_square(request: DesignRequest) -> Treatments:
    """The pairs of levels that meet. Raises PlanError unless two factors have as many levels and a square exists."""
    _require_names(request)
    counts = [len(each) for each in _levels(request).settings.values()]
    if len(counts) != 2 or counts[0] != counts[1]:
        raise PlanError(
            "A Graeco-Latin square takes two factors of as many levels; this plan has "
            f"{len(counts)} factor(s) of {_listed(counts)}.",
            where="design, kind",
            try_this="two factors with 4, 5, 7 or 8 levels each; the second may be a nuisance, such as the tin",
        )
    size = counts[0]
    if size in (2, 6):  # Euler's conjecture for 6, proved by Tarry 1900
        raise PlanError(
            f"No Graeco-Latin square of {size} exists.",
            where="design, kind",
            try_this=f'{"4 or 5" if size == 2 else "5 or 7"} levels each, or kind = "latin square" for one factor',
        )
    return _levels(request)


def _listed(counts: list[int]) -> str:
    return " and ".join(str(count) for count in counts) + " levels"


def _require_names(request: DesignRequest) -> None:
    for key, what in (("rows", "oven shelf"), ("columns", "turn of the day")):
        if getattr(request, key) is None:
            raise PlanError(f"What are the {key} of the square?", where="design", try_this=f'{key} = "{what}"')


def _levels(request: DesignRequest) -> Treatments:
    made = all_combinations(replace(request, replicates=1), default=4)
    for name, settings in made.settings.items():
        if len(settings) > LARGEST:
            raise PlanError(
                f'"{name}" has {len(settings)} levels; a square of more than {LARGEST} is not offered.',
                where=f"factor {name}",
                try_this='kind = "incomplete blocks"',
            )
        refuse_too_many(len(settings) ** 2 * request.replicates, try_this="fewer levels or replicates")
    return replace(made, signs=None, model="main effects")


def in_square(made: Treatments, request: DesignRequest) -> Arrangement:
    """One square after the other. What stands for time (else the rows) is new in each; the other stays as it is.

    A second square on the same oven shelves takes further turns; one on other days has the same turns of the day.
    """
    names = [factor.name for factor in request.factors]
    place_of = {tuple(treatment[name] for name in names): at for at, treatment in enumerate(made.treatments)}
    size = len(made.settings[names[0]])
    stream = Stream(request.seed, "square")
    rows, columns = str(request.rows), str(request.columns)
    timed = _timed((rows, columns))
    renewed = timed[0] if timed else rows
    further, same = numbered(size * request.replicates), numbered(size)
    places = []
    for square in range(request.replicates):
        letters = [stream.shuffled(made.settings[name]) for name in names]
        down, across = stream.shuffled(range(size)), stream.shuffled(range(size))
        own = further[square * size : (square + 1) * size]
        for row in range(size):
            for column in range(size):
                cell = _cell(size, down[row], across[column], len(names))
                chosen = tuple(letter[at] for letter, at in zip(letters, cell, strict=True))
                groups = {name: (own if name == renewed else same)[at] for name, at in ((rows, row), (columns, column))}
                places.append(Place(treatment=place_of[chosen], groups=groups))
    return Arrangement(
        places=tuple(places),
        order=tuple(_order(places, timed, stream)),
        block=next((name for name in timed[:1] if _lasts(name) <= DAY), None),
        fixed=(rows, columns),
    )


def _cell(size: int, row: int, column: int, letters: int) -> tuple[int, ...]:
    return (one_letter(size, row, column),) if letters == 1 else two_letters(size, row, column)


def _timed(names: Sequence[str]) -> list[str]:
    """Those that stand for time, the longest first: days before the turns of a day."""
    return sorted((name for name in names if _lasts(name) < NEVER), key=_lasts)


def _lasts(name: str) -> int:
    """How long it lasts, as in ``IN_TIME``; ``NEVER`` where it is no time. "turn of the day" is a turn."""
    head = re.split(r"\bof\b", name.casefold())[0]
    for word in reversed(re.findall(r"[^\W\d_]+", head)):
        one = word.removesuffix("s")
        if one in IN_TIME or one.endswith("day"):
            return IN_TIME.get(one, DAY)
    return NEVER


def _order(places: list[Place], timed: Sequence[str], stream: Stream) -> list[int]:
    """What stands for time is baked in its order, the rest at random within it; without time all at random."""
    shuffled = stream.shuffled(range(len(places)))
    return sorted(shuffled, key=lambda at: tuple(places[at].groups[name] for name in timed))
