"""Records of batches, charts, gauge studies, pooled trials and accounts, each made into its page.

Loaded by conftest as ``trust_other_pages``. ``made`` of a record are the sections of its page.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd
import pytest

import reports.balance
import reports.pooled
from analysis.control.capability import CapabilityAnswer, capability_of
from analysis.control.causes import find_causes
from analysis.control.charts import chart_batches
from analysis.control.gauge.analysing import gauge_study
from analysis.control.gauge.results import GaugeAnswer, GaugeQuestion
from analysis.control.results import BatchSeries, CountSeries, Specification
from analysis.control.why_results import MadeWith
from analysis.engine import analyse
from analysis.leavening.balance import balance
from analysis.leavening.batter import Amount
from analysis.leavening.curve import titration_curve
from analysis.leavening.ingredients import INGREDIENTS
from analysis.leavening.substances import SUBSTANCES
from analysis.pooling import TrialAnswer, pool_effects
from analysis.questions import Factor, Question, Response
from analysis.words.capability import say_capability
from reports.balance import balance_report
from reports.batches import batches_page
from reports.charts import ChartsTold, charts_page
from reports.gauge import gauge_page
from reports.pooled import pooled_report
from reports.products import ProductsTold, products_page
from reports.sections.batches import BatchesTold, ResponseTold
from reports.sections.blocks import Section

LIMITS = Specification(response="rise height", unit="mm", lower=40.0, upper=46.0)


@dataclass(frozen=True)
class Other:
    """A record and how its page is made."""

    record: Any
    page: Callable[[Any], Sequence[Section]]

    def sections(self) -> list[Section]:
        return list(self.page(self.record))


def chance_of(seed: int) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64(seed))


def measured(batches: int = 60, *, step: float = -3.0) -> BatchSeries:
    """Three pieces of each batch; batches 21 to 40 rise ``step`` mm more."""
    chance = chance_of(5)
    level = [43 + step * (20 <= at < 40) + chance.normal(0, 0.5) for at in range(batches)]
    return BatchSeries(
        response="rise height",
        unit="mm",
        batches=tuple(str(at + 1) for at in range(batches)),
        values=tuple(tuple(float(each + chance.normal(0, 0.6)) for _ in range(3)) for each in level),
    )


def counted(batches: int = 60) -> CountSeries:
    split = chance_of(6).binomial(40, 0.06, batches).astype(float)
    split[-1] = 19.0
    names = tuple(str(at + 1) for at in range(batches))
    return CountSeries(response="split", batches=names, counts=tuple(map(float, split)), sizes=(40.0,) * batches)


def with_beside(series: BatchSeries) -> MadeWith:
    """Gas and pH beside, so that chemistry has something to say."""
    chance = chance_of(8)
    flour = tuple(f"F-{1 + at // 20}" for at in range(len(series.batches)))
    gas = tuple((float(80 - 14 * (20 <= at < 40) + chance.normal(0, 1.5)),) for at in range(len(series.batches)))
    ph = tuple((float(7.1 + chance.normal(0, 0.05)),) for _ in series.batches)
    return MadeWith(
        series=series,
        lots={"flour": flour},
        beside={"gas": gas, "pH": ph},
        units={"rise height": "mm", "gas": "ml", "pH": ""},
        roles={"rise height": "rise", "gas": "gas", "pH": "pH"},
    )


def capable() -> CapabilityAnswer:
    return capability_of(measured(step=0.0), LIMITS, stable=True)


def with_more(told: BatchesTold) -> BatchesTold:
    """The same batches with gas, pH and counts beside."""
    series, split = measured(), counted()
    rise = ResponseTold(
        series=series,
        charts=chart_batches(series),
        specification=LIMITS,
        capability=say_capability(capable()),
        why=find_causes(with_beside(series)),
    )
    return replace(told, responses=(rise, ResponseTold(series=split, charts=chart_batches(split))), alarms=())


def batches(logged: Callable[..., BatchesTold]) -> dict[str, Other]:
    whole, calm = logged(), replace(logged(step=0.0), alarms=(), decisions=())
    week = replace(whole, kind="week", batches=tuple(str(at) for at in range(38, 45)))
    told = {"month": whole, "calm month": calm, "week": week, "with counts": with_more(whole)}
    found = {name: Other(one, lambda record: batches_page(record).sections) for name, one in told.items()}
    both = (calm, replace(whole, product="buns"))
    all_of = ProductsTold(kind="month", first=whole.first, last=whole.last, products=both)
    return found | {"products": Other(all_of, lambda record: products_page(record).sections)}


def charted() -> dict[str, Other]:
    """One page for each kind of chart that draws in a way of its own."""
    series, alone = measured(), measured(40)
    alone = replace(alone, values=tuple((values[0],) for values in alone.values))
    second = replace(series, response="loss", values=tuple((12 - 0.1 * v[0], 12 - 0.1 * v[1]) for v in series.values))
    asked = {
        "between": (series, "between"),
        "sd": (series, "sd"),
        "individuals": (alone, "individuals"),
        "weighted": (alone, "weighted"),
        "sums": (alone, "sums"),
        "counts": (counted(), "counts"),
        "dependent": (alone, "dependent"),
        "several": ((series, second), "several"),
    }
    made = {name: (ChartsTold(charts=chart_batches(of, kind=kind)),) for name, (of, kind) in asked.items()}
    return {
        f"chart {name}": Other(one, lambda record: charts_page(record, title="A", provenance={}).sections)
        for name, one in made.items()
    }


def readings(*, people: tuple[str, ...] = ("Ada", "Ben", "Cleo"), pieces: int = 8) -> pd.DataFrame:
    chance = chance_of(1)
    sizes = chance.normal(45, 2.5, pieces)
    rows = [
        (who, f"loaf {piece + 1}", size + 0.8 * (who == "Ada") + chance.normal(0, 0.5))
        for who in people
        for piece, size in enumerate(sizes)
        for _ in range(2)
    ]
    return pd.DataFrame(rows, columns=["baker", "loaf", "rise height"])


def studied() -> dict[str, Other]:
    asked = GaugeQuestion(response="rise height", unit="mm", person="baker", piece="loaf", tolerance=8)
    found: dict[str, GaugeAnswer] = {
        "crossed": gauge_study(readings(), asked),
        "nested": gauge_study(readings(), replace(asked, nested=True)),
        "one person": gauge_study(readings(), replace(asked, person=None)),
        "no tolerance": gauge_study(readings(), replace(asked, tolerance=None)),
        "uneven": gauge_study(readings().drop(index=[1, 2, 3, 20]), asked),
    }
    return {
        f"gauge {name}": Other(one, lambda record: gauge_page(record, title="A", provenance={}).sections)
        for name, one in found.items()
    }


def pooled() -> Any:
    """Soda over four seasons, and an oven that only two of them knew."""
    chance = chance_of(5)
    factor = Factor(name="soda", kind="amount", unit="%")
    asked = Question(
        factors=(factor,), responses=(Response(name="rise", unit="mm", goal="maximise", matters=2),), kind="factors"
    )
    trials = []
    for name in ("spring", "summer", "autumn", "winter"):
        table = pd.DataFrame({"soda": [1.0, 3.0] * 6})
        table["rise"] = 30 + 3 * table["soda"] + chance.standard_normal(12)
        trials.append(TrialAnswer(name=name, analysis=analyse(table, asked)))
    return pool_effects(trials)


def sections_given(module: Any, make: Callable[[], str]) -> list[Section]:
    """What a page that is made as text hands over to the template."""
    given: list[Section] = []
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "render", lambda _template, _style, values: given.extend(values["sections"]) or "")
        make()
    return given


def balanced() -> tuple[Any, Any]:
    """Soda and buttermilk: the account, and the curve of its pH."""
    amounts = [
        Amount(what=SUBSTANCES["baking soda"], grams=5), Amount(what=INGREDIENTS["buttermilk"], grams=240)
    ]  # fmt: skip
    return balance(amounts), titration_curve(amounts, most_g=6.0)


def pooled_sections(pooling: Any) -> list[Section]:
    return sections_given(reports.pooled, lambda: pooled_report(pooling, title="A", provenance={}))


def balance_sections(both: tuple[Any, Any]) -> list[Section]:
    account, curve = both
    return sections_given(reports.balance, lambda: balance_report(account, title="A", provenance={}, curve=curve))


def others(logged: Callable[..., BatchesTold]) -> dict[str, Other]:
    more = {"pooled": Other(pooled(), pooled_sections), "balance": Other(balanced(), balance_sections)}
    return {**batches(logged), **charted(), **studied(), **more}
