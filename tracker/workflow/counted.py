"""Is the count of one batch what the process always has?

Counts have limits of their own for each size, so that a batch is judged by the chart of the
last few batches under the limits that hold.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from analysis.control.results import CountSeries, Limits, Phase
from tracker.current_batches import CurrentBatch
from tracker.models import LoggedResponse
from tracker.workflow.batch_series import series_of

if TYPE_CHECKING:
    from analysis.control.judging import Verdict


def counted_limits(batches: Sequence[CurrentBatch], response: LoggedResponse) -> Limits:
    """Limits made from these batches. Raises NotPossible for a single one."""
    from analysis.control.charts import chart_batches

    (chart,) = chart_batches(_series(batches, response), kind="counts")
    return chart.limits


def judge_counts(
    limits: Limits,
    before: Sequence[CurrentBatch],
    batch: CurrentBatch,
    response: LoggedResponse,
    *,
    rules: Sequence[str],
    phase: int,
) -> Verdict:
    """The verdict on ``batch``, by its size and the batches just ``before`` it, all under the same limits."""
    from analysis.control.charts import chart_batches
    from analysis.control.judging import Verdict

    series = _series([*before, batch], response)
    held = Phase(number=phase, from_batch=series.batches[0], limits=replace(limits, frozen=True))
    (chart,) = chart_batches(series, kind="counts", rules=rules, phases=(held,))
    return Verdict(
        batch=batch.number,
        points={chart.kind: chart.points[-1]},
        alarms=tuple((chart.kind, alarm) for alarm in chart.alarms if alarm.batch == batch.number),
        provisional=limits.provisional,
    )


def _series(batches: Sequence[CurrentBatch], response: LoggedResponse) -> CountSeries:
    series = series_of(batches, response)
    assert isinstance(series, CountSeries)
    return series
