"""Is the change in a published series found where its literature puts it?

Yearly flow of the Nile at Aswan, 1871 to 1970, in 10^8 cubic metres (R 4.2.2, data set ``Nile`` of
package datasets; Durbin and Koopman 2001). Cobb 1978, "The problem of the Nile: conditional solution to a
change-point problem", Biometrika 65, 243: the level fell after 1898, when a dam was begun.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from analysis.control.causes import find_causes
from analysis.control.results import BatchSeries
from analysis.control.why_results import MadeWith

FOLDER = Path(__file__).parent / "change_point"


def nile() -> MadeWith:
    with (FOLDER / "nile.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    return MadeWith(
        series=BatchSeries(
            response="flow",
            batches=tuple(row["batch"] for row in rows),
            values=tuple((float(row["flow"]),) for row in rows),
        )
    )


def test_the_nile_fell_after_1898():
    (change,) = find_causes(nile()).changes
    assert (change.cause.column, change.cause.behaviour) == ("", "step")
    assert (change.from_batch, change.to_batch, change.onset) == ("1899", "1970", "1899")
    assert int(change.onset_low) <= 1899 <= int(change.onset_high)
    # Means of 1871 to 1898 and of 1899 to 1970, by R: 1097.75 and 849.9722.
    assert change.low < 849.9722 - 1097.75 < change.high
    assert change.size == pytest.approx(849.9722 - 1097.75, abs=10)


def test_independent_years_give_the_two_means_themselves():
    """With a correlation of 0 the size is the difference of the two means."""
    import numpy as np

    from analysis.control.change import joint_fit

    flow = np.array([each[0] for each in nile().series.values])
    after = (np.arange(1871, 1971) >= 1899).astype(float)
    columns = np.column_stack([np.ones(100), after])
    joint = joint_fit(flow[::2], columns[::2], root_weights=np.ones(50))  # every second year hardly hangs together
    assert joint.correlation == 0
    assert joint.values[1] == pytest.approx(flow[::2][after[::2] == 1].mean() - flow[::2][after[::2] == 0].mean())
