"""Did the level change or drift, and which of what changed goes with it best?

The public call is ``find_causes``. Patterns of every suspect come from ``suspects``, the counting of
chance from ``scan``, the choice from ``choosing``, beginnings and sizes from ``change``. A suspect
that goes with a change best is not proved to have caused it: the weights say how much better it
goes than the others that are in the log, and rivals that cannot be told from it are named.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analysis.control.change import Onset, joint_fit, onset_of, size_of
from analysis.control.chemistry import ask_chemistry
from analysis.control.choosing import RIVAL, Found, base_of, choose, key_of
from analysis.control.made_with import BatchMeans, batch_means, check_log
from analysis.control.suspects import Ground, Member, line_up, pattern
from analysis.control.why_results import Change, MadeWith, Ranked, Why

Array = NDArray[np.float64]

TOGETHER = 0.9  # patterns so alike are named even where the weights tell them apart: few batches do it
TOLD_APART = 0.95  # rivals are named until cause and rivals together hold this much


def find_causes(log: MadeWith, *, alpha: float = 0.05, confidence: float = 0.95, seed: int = 1, gaps: int = 0) -> Why:
    """The changes of one response, with beginning, size and what each goes with best.

    ``alpha``: share of logs without any change in which one would be named all the same.
    ``gaps``: batches without a reading, left out by the caller. Raises TrialDataError for columns of the
    wrong length and NotPossible for a log too short or one that never moves.
    """
    check_log(log)
    means, ground = batch_means(log.series), line_up(log)
    chosen = choose(means, ground, alpha=alpha, seed=seed)
    found = sorted(chosen.found, key=lambda each: (each.member.start, each.member.end))
    members = [each.member for each in found]
    joint = joint_fit(means.means, base_of(members, ground), root_weights=means.root_weights)
    changes = tuple(_change(log, means, ground, members, at, found[at], confidence) for at in range(len(found)))
    return Why(
        response=log.series.response,
        unit=log.series.unit,
        batches=log.series.batches,
        mean=float(joint.values[0]),
        sd=joint.sd,
        correlation=joint.correlation,
        p_value=chosen.first_p,
        changes=changes,
        chemistry=ask_chemistry(log, changes, level=float(joint.values[0]), confidence=confidence),
        asked=ground.asked,
        left_out=ground.left_out,
        gaps=gaps,
    )


def _change(
    log: MadeWith,
    means: BatchMeans,
    ground: Ground,
    members: list[Member],
    at: int,
    found: Found,
    confidence: float,
) -> Change:
    member, suspect = found.member, found.member.suspect
    others = base_of([each for place, each in enumerate(members) if place != at], ground)
    column = pattern(member, ground)
    held = np.flatnonzero(column)
    onset = _onset(means, ground, others, member, confidence)
    all_along = bool(suspect.column) and not suspect.of_lot and member.start == 0
    free_start = None if suspect.of_lot else onset
    starting = _same_from(member, ground)
    size = size_of(
        means.means,
        others,
        starting,
        free_start,
        member.start,
        root_weights=means.root_weights,
        confidence=confidence,
    )
    slope = size.size / float(column.max()) if suspect.behaviour == "drift" else None
    names = log.series.batches
    return Change(
        cause=suspect,
        weight=found.weights[key_of(suspect)],
        rivals=_rivals(found, others, column, ground),
        from_batch=names[int(held[0])],
        to_batch=names[int(held[-1])],
        batches=len(held),
        size=size.size,
        low=size.low,
        high=size.high,
        per_batch=slope,
        per_day=slope / ground.days_per_batch if slope is not None and ground.days_per_batch else None,
        onset=names[onset.best] if onset and not all_along else None,
        onset_low=names[onset.low] if onset and not all_along else None,
        onset_high=names[onset.high] if onset else None,
        p_value=found.p_value,
        against=_against(member, ground),
        shape=tuple(float(value) for value in column / column.max()),
    )


def _same_from(member: Member, ground: Ground) -> Callable[[int], Array]:
    """The member's pattern when it begins at another batch."""
    return lambda start: pattern(replace(member, start=start), ground)


def _onset(means: BatchMeans, ground: Ground, others: Array, member: Member, confidence: float) -> Onset | None:
    """Where the readings alone put the beginning; None where every lot ages alike or lots stand side by side.

    An oven that was off from the first batch may have begun later too, so all of it is tried. A lot's own
    first batch is in the log; to check it, the pattern may begin before that batch and end with the lot.
    """
    suspect = member.suspect
    if suspect.column and not suspect.level:
        return None
    free = member
    if suspect.of_lot:
        mark = ground.marks[suspect.column, suspect.level, True]
        if np.ptp(np.flatnonzero(mark)) + 1 > 1.2 * mark.sum():
            return None  # lots in use side by side: their beginning is not one batch
        free = replace(member, suspect=replace(suspect, column="", level="", of_lot=False))
    starting = _same_from(free, ground)
    first = 0 if member.start == 0 and not suspect.of_lot else 1
    starts = [a for a in range(first, min(free.end, ground.n) - 2) if np.count_nonzero(starting(a)) >= 3]
    if not starts:
        return None
    return onset_of(
        means.means,
        others,
        starting,
        starts,
        root_weights=means.root_weights,
        breaks=suspect.behaviour != "drift",
        confidence=confidence,
    )


def _rivals(found: Found, others: Array, column: Array, ground: Ground) -> tuple[Ranked, ...]:
    """The next suspects by weight until enough is held, and whatever in the log went the same way at the same time."""
    ranked = sorted(found.weights.items(), key=lambda pair: -pair[1])
    held, rivals = ranked[0][1], []
    for key, weight in ranked[1:]:
        suspect = found.members[key].suspect
        alike = _alike(others, column, pattern(found.members[key], ground))
        if (held < TOLD_APART and weight >= RIVAL) or (suspect.logged and alike >= TOGETHER):
            rivals.append(Ranked(suspect=suspect, weight=weight, alike=alike))
        held += weight
    return tuple(rivals)


def _alike(others: Array, column: Array, its: Array) -> float:
    """How alike two patterns are once the mean and the other changes are taken out (0 to 1)."""
    frame, _ = np.linalg.qr(others)
    ours, its = column - frame @ (frame.T @ column), its - frame @ (frame.T @ its)
    length = float(np.linalg.norm(ours) * np.linalg.norm(its))
    return min(abs(float(ours @ its)) / length, 1.0) if length > 0 else 0.0


def _against(member: Member, ground: Ground) -> str:
    """Of a column with two levels, the other one."""
    suspect = member.suspect
    others = [
        level
        for column, level, of_lot in ground.marks
        if (column, of_lot) == (suspect.column, suspect.of_lot) and level != suspect.level
    ]
    return others[0] if suspect.level and not suspect.of_lot and len(others) == 1 else ""
