"""Are there more alarms than chance alone gives when nothing changes?

Rules on the level give one in ``RuleCost.run_length`` batches; a chart of moving ranges one in about 109 (the
range of two normal readings beyond its upper limit), taken for charts of spread of any size. Alarms of batches
in a row count once, and so does a batch that stands out on both charts: a run is one event. With known limits their
number is then Poisson with at most this mean; limits from few batches give somewhat more.
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.control.results import Chart
from analysis.control.rule_costs import cost_of

OF_SPREAD = 0.0092  # 2 Phi(-D4 d2 / sqrt(2)) for two readings
ODD = 0.05  # chance gives so many in fewer of 100 logs than this: more than chance
A_RUN = 2  # batches in a run that chance made, rarely more


def expected_alarms(charts: Sequence[Chart], batches: int, rules: Sequence[str]) -> float:
    """Runs of alarms to be expected over so many batches when nothing changes."""
    if not charts:
        return 0.0
    return batches / _run_length(charts[0], rules) + batches * OF_SPREAD * (len(charts) - 1)


def _run_length(level: Chart, rules: Sequence[str]) -> float:
    """Mean batches to a false alarm: charts with a memory and of several responses say theirs."""
    length, alpha = level.more.get("run_length"), level.more.get("alpha")
    if isinstance(length, float):
        return length
    return 1 / alpha if isinstance(alpha, float) else cost_of(rules).run_length


def more_than_chance(runs: int, alarmed: int, charts: Sequence[Chart], batches: int, rules: Sequence[str]) -> bool:
    """Would chance give ``runs`` runs with ``alarmed`` batches, or more, in fewer than 5 of 100 logs like this one?

    A run that goes on is worth more than one event: two of its batches count as one.
    """
    from scipy.special import pdtrc

    events = max(runs, alarmed // A_RUN)
    if events == 0:
        return False
    return bool(pdtrc(events - 1, expected_alarms(charts, batches, rules)) < ODD)


def runs_of_alarms(charts: Sequence[Chart], batches: Sequence[str]) -> int:
    """How many stretches of these batches, in order of baking, raise an alarm on any of the charts."""
    loud = {alarm.batch for chart in charts for alarm in chart.alarms}
    return sum(batch in loud and (at == 0 or batches[at - 1] not in loud) for at, batch in enumerate(batches))
