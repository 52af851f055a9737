"""What one dose of an acid is worth beside another."""

import os

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.words.text import analysis_text

RISE = Response(name="rise", unit="mm")
DRAWS = 600 if os.environ.get("CRUMBWISE_LARGE") else 40
DOSES = (0.5, 1.0, 2.0, 4.0)


def asked(reference="cream of tartar", **given) -> Question:
    acid = Factor(name="acid", kind="category", reference=reference)
    return Question(factors=(Factor(name="dose", kind="amount"), acid), responses=(RISE,), kind="dose", **given)


def lines(seed, *, ratio=1.5, tilt=0.0, spread=1.0, doses=DOSES, acids=("cream of tartar", "citric acid")):
    rng = np.random.Generator(np.random.PCG64([seed, 77]))
    rows = []
    for acid in acids:
        other = acid != acids[0]
        for dose in doses:
            for _ in range(3):
                log = np.log10(dose * (ratio if other else 1.0))
                rows.append((dose, acid, 30 + (20 + (tilt if other else 0)) * log + rng.normal(0, spread)))
    return pd.DataFrame(rows, columns=["dose", "acid", "rise"])


def part_of(table, **given):
    family = analyse(table, asked(**given)).responses[0].family
    return next(part for part in family.parts if part.key == "relative_potency"), family


def test_measured_and_foretold_stand_side_by_side():
    """Neutralising values: citric acid 133, cream of tartar 45 (the tables of leavening), so 2.96."""
    from analysis.leavening.neutralising import NEUTRALISING

    table = lines(11, ratio=2.9)
    part, family = part_of(table)
    wanted = NEUTRALISING["citric acid"].soda_g / NEUTRALISING["cream of tartar"].soda_g
    [potency] = family.dose.potency
    assert potency.predicted == pytest.approx(wanted)
    assert potency.low <= 2.9 <= potency.high
    assert part.verdict == "parallel"
    assert "neutralising values predict" in " ".join(analysis_text(analyse(table, asked())).split())


def test_an_unknown_level_has_no_prediction_and_a_reason():
    _, family = part_of(lines(2, acids=("cream of tartar", "mystery sour")))
    assert family.dose.potency[0].predicted is None
    assert "neutralising value is known" in family.reasons["predicted potency"]


def test_curves_that_are_not_parallel_have_no_ratio():
    part, family = part_of(lines(3, tilt=-18.0, spread=0.5))
    assert part.verdict == "not parallel"
    assert family.dose.potency == ()
    assert any("not parallel" in said for said in _said(part))


def _said(part):
    from types import SimpleNamespace

    from analysis.words.potency import say_potency

    return say_potency(part, SimpleNamespace(response=RISE), asked())


def test_parallel_curves_that_miss_the_bakes_are_not_called_safe():
    from types import SimpleNamespace

    from analysis.results import Check
    from analysis.words.potency import say_potency

    part, *_ = part_of(lines(3))
    for verdict, says in (("do not rely", "these miss the bakes"), ("fine", "nothing speaks against it")):
        family = SimpleNamespace(checks=(Check(check="lack of fit", verdict=verdict, facts={}),))
        text = " ".join(say_potency(part, SimpleNamespace(response=RISE, family=family), asked()))
        assert says in text


def test_the_unit_of_the_dose_the_order_and_the_names_do_not_matter():
    table = lines(4)
    _, first = part_of(table)
    other = table.sample(frac=1, random_state=2).reset_index(drop=True)
    _, again = part_of(other.assign(dose=other["dose"] * 1000))
    a, b = first.dose.potency[0], again.dose.potency[0]
    assert (b.ratio, b.low, b.high) == pytest.approx((a.ratio, a.low, a.high), rel=1e-7)
    _, turned = part_of(table, reference="citric acid")
    back = turned.dose.potency[0]
    assert (back.ratio, back.low, back.high) == pytest.approx((1 / a.ratio, 1 / a.high, 1 / a.low), rel=1e-7)


def test_bakes_without_any_stay_out_of_the_logarithm():
    table = lines(5)
    none = pd.DataFrame({"dose": 0.0, "acid": ["cream of tartar", "citric acid"] * 2, "rise": [12.0, 12.5, 11.0, 13.0]})
    family = analyse(pd.concat([table, none], ignore_index=True), asked()).responses[0].family
    part = next((part for part in family.parts if part.key == "relative_potency"), None)
    if part is not None and part.model == "parallel lines":
        assert "stay out" in part.reasons["potency at dose 0"]
        [alone] = part_of(table)[1].dose.potency
        assert family.dose.potency[0].ratio == pytest.approx(alone.ratio, rel=1e-9)
    else:
        assert part is not None or "potency" in family.reasons


def test_a_logistic_that_is_stretched_finds_its_ratio():
    rng = np.random.Generator(np.random.PCG64(9))
    rows = []
    for acid, ratio in (("cream of tartar", 1.0), ("citric acid", 1.4)):
        for dose in (0.0, 0.5, 1, 1.5, 2, 3, 4, 6):
            for _ in range(3):
                x = max(dose * ratio, 1e-9)
                rows.append((dose, acid, 20 + 30 / (1 + (x / 1.8) ** -4) + rng.normal(0, 0.7)))
    part, family = part_of(pd.DataFrame(rows, columns=["dose", "acid", "rise"]), shape="log-logistic-4")
    [potency] = family.dose.potency
    assert part.model == "parallel curves"
    assert potency.low <= 1.4 <= potency.high
    assert potency.high - potency.low < 0.3


def test_how_often_the_ratio_is_held_and_parallel_lines_are_refused():
    from analysis.dose_response.layout import read_layout
    from analysis.dose_response.parallel_lines import parallel_lines

    held = refused = 0
    for i in range(5 * DRAWS):
        question = asked()
        layout = read_layout(lines(100 + i, spread=3.0), RISE, question, dose="dose", by="acid")
        found = parallel_lines(layout, None, [p.level for p in layout.parts].index("cream of tartar"), 0.95)
        level = [p.level for p in layout.parts].index("citric acid")
        low, high = found.ends[level]
        held += low <= np.log10(1.5) <= high
        refused += found.parallelism.p < 0.05
    n = 5 * DRAWS
    chance = 3 * np.sqrt(0.05 * 0.95 / n)
    assert abs(held / n - 0.95) <= chance
    assert abs(refused / n - 0.05) <= chance
