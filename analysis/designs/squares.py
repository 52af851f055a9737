"""What is baked where two nuisances cross, such as oven shelf and turn of the day?

A Latin square has every treatment once in each row and once in each column; a Graeco-Latin square
does so for two factors at a time whose levels also meet each other once (Fisher & Yates 1963,
Statistical Tables). Rows, columns and letters are shuffled by the seed.
"""

from __future__ import annotations

from dataclasses import replace

from analysis.designs.arrangement import Arrangement, Place, numbered
from analysis.designs.factorials import all_combinations
from analysis.designs.finite import FIELDS, times
from analysis.designs.requests import DesignRequest
from analysis.designs.shuffle import Stream
from analysis.designs.treatments import Treatments, refuse_too_many
from analysis.errors import PlanError

IN_TIME = ("turn", "order", "day", "time", "load", "week", "hour")
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
            try_this="two factors with 4, 5, 7 or 8 levels each",
        )
    size = counts[0]
    if size in (2, 6):  # Euler's conjecture for 6, proved by Tarry 1900
        raise PlanError(
            f"No Graeco-Latin square of {size} exists.",
            where="design, kind",
            try_this=f'{"4 or 5" if size == 2 else "5 or 7"} levels each, or kind = "latin square" for one factor',
        )
    if size % 2 == 0 and size not in FIELDS:
        raise PlanError(
            f"Graeco-Latin squares of {size} are not offered.",
            where="design, kind",
            try_this="3, 4, 5, 7, 8 or 9 levels",
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
    """One square after the other: each has rows of its own, while the columns are the same throughout."""
    names = [factor.name for factor in request.factors]
    place_of = {tuple(treatment[name] for name in names): at for at, treatment in enumerate(made.treatments)}
    size = len(made.settings[names[0]])
    stream = Stream(request.seed, "square")
    rows, columns = str(request.rows), str(request.columns)
    labels = numbered(size * request.replicates)
    places = []
    for square in range(request.replicates):
        letters = [stream.shuffled(made.settings[name]) for name in names]
        down, across = stream.shuffled(range(size)), stream.shuffled(range(size))
        for row in range(size):
            for column in range(size):
                cell = _cell(size, down[row], across[column], len(names))
                chosen = tuple(letter[at] for letter, at in zip(letters, cell, strict=True))
                groups = {rows: labels[square * size + row], columns: numbered(size)[column]}
                places.append(Place(treatment=place_of[chosen], groups=groups))
    return Arrangement(places=tuple(places), order=tuple(_order(places, request, stream)), fixed=(rows, columns))


def _cell(size: int, row: int, column: int, letters: int) -> tuple[int, ...]:
    """Letters of a cell: row + column, and for the second row + 2 column, in the field or ring of this size."""
    if size in FIELDS:
        return (row ^ column, row ^ times(2, column, size))[:letters]
    return ((row + column) % size, (row + 2 * column) % size)[:letters]


def _order(places: list[Place], request: DesignRequest, stream: Stream) -> list[int]:
    """What stands for time is baked in its order, the rest at random within it; without time all at random."""
    shuffled = stream.shuffled(range(len(places)))
    timed = [
        name for name in (request.rows, request.columns) if name and any(word in name.casefold() for word in IN_TIME)
    ]
    return sorted(shuffled, key=lambda at: tuple(places[at].groups[name] for name in timed))
