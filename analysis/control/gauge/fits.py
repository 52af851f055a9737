"""Which part of the spread is whose, with intervals and shares?

Even studies by their mean squares, others by restricted maximum likelihood. Person by piece is kept
when its F test says so (p below 0.25); else it is pooled with the repeats.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

from analysis.control.gauge.results import (
    SPREADS,
    STAYS,
    Component,
    Fit,
    GaugeQuestion,
    InteractionTest,
    Share,
    Shares,
    Stratum,
)
from analysis.control.gauge.strata import Strata, components_of, share_of, strata_of, table_of
from analysis.control.gauge.study import Study
from analysis.control.gauge.uneven import uneven_components, uneven_strata

Ends = tuple[float, float]


def tolerance_of(question: GaugeQuestion) -> float | None:
    """The width that was given, or the one between both limits."""
    if question.tolerance is not None:
        return question.tolerance
    asked = question.specification
    if asked is None or asked.lower is None or asked.upper is None:
        return None
    return asked.upper - asked.lower


def fits_of(study: Study, question: GaugeQuestion, test: InteractionTest | None) -> tuple[Fit, tuple[Fit, ...]]:
    """(the one used, all that were tried). Both are given where person by piece could be judged."""
    make = even_fit if study.even else uneven_fit
    if test is None:
        only = make(study, question, interaction=False)
        return only, (only,)
    kept, pooled = make(study, question, interaction=True), make(study, question, interaction=False)
    return (kept if test.p < STAYS else pooled), (kept, pooled)


def even_fit(study: Study, question: GaugeQuestion, *, interaction: bool) -> Fit:
    strata = strata_of(study, interaction=interaction)
    components = components_of(strata, question.confidence)
    return _fit(study, question, strata, components, "strata", table_of(strata))


def uneven_fit(study: Study, question: GaugeQuestion, *, interaction: bool) -> Fit:
    strata, scatter = uneven_strata(study, interaction=interaction)
    components = uneven_components(strata, scatter, question.confidence)
    return _fit(study, question, strata, components, "restricted likelihood", ())


def _fit(
    study: Study,
    question: GaugeQuestion,
    strata: Strata,
    components: Mapping[str, Component],
    method: str,
    table: tuple[Stratum, ...],
) -> Fit:
    return Fit(
        model=strata.layout.model,
        method=method,
        table=table,
        components=components,
        shares=_shares(components, question, lambda key: share_of(strata, key, question.confidence)),
        classes=_classes(components),
        missing=_missing(study, components),
    )


def _missing(study: Study, components: Mapping[str, Component]) -> dict[str, str]:
    """Why a component is not there, as a key for words."""
    why = {}
    if "person" not in components:
        why["person"] = "one person" if len(study.people) == 1 else "not told apart"
    if "person by piece" not in components:
        why["person by piece"] = _no_both(study)
    return why


def _no_both(study: Study) -> str:
    if len(study.people) == 1:
        return "one person"
    if study.nested:
        return "own pieces"
    return "pooled" if study.within_df else "no repeats"


def _shares(
    components: Mapping[str, Component], question: GaugeQuestion, limits: Callable[[str], Ends]
) -> dict[str, Shares]:
    total = components["total"].variance
    width = tolerance_of(question)
    return {
        key: _share(one, total, width, limits(key) if key != "total" else (1.0, 1.0)) for key, one in components.items()
    }


def _share(one: Component, total: float, width: float | None, ends: Ends) -> Shares:
    value = one.variance / total
    low, high = ends
    low = None if low is None else min(low, value)
    high = None if high is None else max(high, value)
    roots = [None if end is None else math.sqrt(end) for end in (low, high)]
    of_tolerance = None
    if width is not None:
        taken = [None if sd is None else SPREADS * sd / width for sd in (one.sd, one.sd_low, one.sd_high)]
        assert taken[0] is not None
        of_tolerance = Share(value=taken[0], low=taken[1], high=taken[2])
    return Shares(
        of_variance=Share(value=value, low=low, high=high),
        of_spread=Share(value=math.sqrt(value), low=roots[0], high=roots[1]),
        of_tolerance=of_tolerance,
    )


def _classes(components: Mapping[str, Component]) -> float | None:
    """Groups of pieces that 97 % intervals of the measuring would hold apart: the root of 2 times sd over sd."""
    gauge = components["gauge"]
    return math.sqrt(2) * components["piece"].sd / gauge.sd if gauge.variance > 0 else None
