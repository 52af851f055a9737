"""Which charts does a series of batches get?

``KINDS`` maps what ``--kind`` says to the maker of those charts. Every maker has one signature,
``maker(series, *, rules, phases, settings) -> tuple[Chart, ...]``: the chart of the level first, the
charts of spread behind it. ``SETTINGS`` names the settings that each kind understands.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Protocol

from analysis.control import counts, cumulative_sum, dependent, several, skewed, variables, weighted_mean
from analysis.control.entering import Series, check_phases, check_series
from analysis.control.results import BatchSeries, Chart, CountSeries, Limits, Phase
from analysis.control.rules import DEFAULT, Rule, require_rules
from analysis.errors import TrialDataError

AUTO = "auto"


class Maker(Protocol):
    """Makes the charts of one kind. ``rules`` and ``phases`` are checked and in order; settings are understood."""

    def __call__(
        self, series: Series, *, rules: tuple[Rule, ...], phases: tuple[Phase, ...], settings: Mapping[str, object]
    ) -> tuple[Chart, ...]: ...


# A new kind is one line here (its maker), and one in SETTINGS when it understands any.
KINDS: dict[str, Maker] = {
    "individuals": variables.individuals,
    "range": variables.mean_and_range,
    "sd": variables.mean_and_sd,
    "between": variables.between_batches,
    "weighted": weighted_mean.weighted_means,
    "sums": cumulative_sum.cumulative_sums,
    "counts": counts.counts,
    "several": several.several,
    "dependent": dependent.dependent_levels,
    "skewed": skewed.skewed_levels,
}
SETTINGS: dict[str, frozenset[str]] = {
    **dict.fromkeys(variables.METHODS, variables.SETTINGS),
    "weighted": weighted_mean.SETTINGS,
    "sums": cumulative_sum.SETTINGS,
    "counts": counts.SETTINGS,
    "several": several.SETTINGS,
    "dependent": dependent.SETTINGS,
    "skewed": skewed.SETTINGS,
}


def chart_batches(
    series: Series,
    *,
    kind: str = AUTO,
    rules: Iterable[str] = DEFAULT,
    phases: Sequence[Phase] = (),
    **settings: object,
) -> tuple[Chart, ...]:
    """The charts of one response (or of several), batch by batch in order of baking.

    ``phases`` carry frozen limits; without them limits come from the batches themselves. Settings of
    value None count as not given. Raises TrialDataError for what makes no sense, NotPossible where
    there is too little to chart.
    """
    asked = require_rules(rules)
    check_series(series)
    chosen = choose_kind(series, kind)
    given = {name: value for name, value in settings.items() if value is not None}
    _refuse_unknown(given, chosen)
    return KINDS[chosen](series, rules=asked, phases=check_phases(phases, series), settings=given)


def choose_kind(series: Series, kind: str = AUTO) -> str:
    """The kind that was named, or the one that suits the series. Raises TrialDataError for an unknown name."""
    if kind == AUTO:
        if isinstance(series, CountSeries):
            return "counts"
        if not isinstance(series, BatchSeries):
            return "several"
        return "between" if any(len(values) > 1 for values in series.values) else "individuals"
    if kind not in KINDS:
        raise TrialDataError(
            f'There is no chart of kind "{kind}".', where="kind", try_this=f"one of {', '.join([AUTO, *KINDS])}"
        )
    return kind


def kind_of_limits(limits: Limits) -> str | None:
    """For which kind of chart of measured levels were these limits made? None where that cannot be told."""
    return next((kind for kind, method in variables.METHODS.items() if method == limits.method), None)


def _refuse_unknown(given: Mapping[str, object], kind: str) -> None:
    known = SETTINGS.get(kind, frozenset())
    for name in given:
        if name not in known:
            understood = f"one of {', '.join(sorted(known))}" if known else "leave it out"
            raise TrialDataError(
                f'A chart of kind "{kind}" has no setting "{name}".', where="settings", try_this=understood
            )
