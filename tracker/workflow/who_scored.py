"""Did every assessor of a panel score every bake, and what does it do to the means if not?

The mean of a bake leans on who scored it: an assessor who is generous and stops midway lifts those bakes alone. How far
is worked out from the scores themselves, bakes and assessors taken apart additively (least squares).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from analysis.words.numbers import join_words
from tracker.intake.numbers import number_text

if TYPE_CHECKING:
    import pandas as pd


def gaps_of_the_panel(assessed: pd.DataFrame, responses: Sequence[str]) -> tuple[str, ...]:
    """A sentence for each of ``responses`` that not everybody scored on every bake; ``assessed`` as in TrialTables."""
    told = (_told(name, assessed[assessed["response"] == name]) for name in responses)
    return tuple(words for words in told if words)


def _told(name: str, scores: pd.DataFrame) -> str:
    """Nothing for one assessor, and nothing where each bake has an assessor of its own: that is no panel."""
    means = scores.dropna(subset=["score"]).groupby(["bake", "person"], sort=True)["score"].mean().unstack()
    tasted = means.notna()
    if tasted.shape[1] < 2 or tasted.to_numpy().all() or int(tasted.sum(axis=1).max()) < 2:
        return ""
    some = [f"{person}: {count}" for person, count in tasted.sum().items() if count < len(tasted)]
    leans = _leaning(means)
    by = (
        ""
        if leans is None
        else f"; by that alone the means of two bakes differ by up to {number_text(round(leans, 2))}"
    )
    return (
        f"Not every assessor scored {name} on all {len(tasted)} bakes (number of the assessor: bakes scored; "
        f"{join_words(some)}). A bake's mean then leans on who scored it{by}."
    )


def _leaning(means: pd.DataFrame) -> float | None:
    """Largest difference between two bakes' means that comes of who scored them; None where it cannot be told.

    ``means``: bakes in rows, assessors in columns, gaps where somebody did not score.
    """
    import numpy as np

    values = means.to_numpy(dtype=float)
    bake, person = np.nonzero(~np.isnan(values))
    bakes, people = values.shape
    design = np.zeros((len(bake), bakes + people - 1))
    design[np.arange(len(bake)), bake] = 1
    later = person > 0  # the first assessor is what the others are held against
    design[np.flatnonzero(later), bakes + person[later] - 1] = 1
    fitted, _, rank, _ = np.linalg.lstsq(design, values[bake, person], rcond=None)
    if rank < design.shape[1]:
        return None  # two halves of the panel that share no bake
    shift = np.nanmean(values, axis=1) - fitted[:bakes]
    return float(shift.max() - shift.min())
