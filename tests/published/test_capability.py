"""Capability and performance against figures published or computed with R, with all their digits."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest

from analysis.control.capability import capability_of, normal_indices
from analysis.control.results import BatchSeries, Specification
from analysis.control.spreads import share_outside, spreads_of

HERE = Path(__file__).parent / "capability"
LOAVES = Specification(response="loaf weight", unit="g", lower=395, upper=410)


def expected(case):
    return json.loads((HERE / f"{case}.json").read_text())["expected"]


def series(case, batch=None):
    values: dict[str, list[float]] = {}
    with (HERE / f"{case}.csv").open() as file:
        for at, row in enumerate(csv.DictReader(file)):
            values.setdefault(row[batch] if batch else str(at + 1), []).append(float(row["g"]))
    return BatchSeries(
        response="loaf weight", unit="g", batches=tuple(values), values=tuple(map(tuple, values.values()))
    )


def by_name(answer):
    return {one.index: one for one in answer.indices}


def test_indices_from_a_summary():
    # NIST/SEMATECH e-Handbook 6.1.6: limits 8 and 20, mean 16, s 2, n 50; digits by R 4.2.2; Bissell 1990.
    given = expected("nist_capability")
    found = normal_indices(
        mean=16, sd=2, n=50, df=49, specification=Specification(response="thickness", lower=8, upper=20)
    )
    assert found["p"][0] == pytest.approx(given["published"]["Cp"], abs=1e-12)
    assert found["p"][1:] == pytest.approx(given["Cp_ci95"], rel=1e-9)
    assert found["pu"][0] == pytest.approx(given["CPU"], rel=1e-12)
    assert found["pl"][0] == pytest.approx(given["CPL"], rel=1e-12)
    assert found["pk"][0] == pytest.approx(given["published"]["Cpk"], abs=5e-5)
    assert found["pk"][1:] == pytest.approx(given["Cpk_ci95_bissell"], rel=1e-9)
    assert 1e6 * share_outside(16.0, 2.0, 8, 20) == pytest.approx(given["expected_ppm"], rel=1e-9)


def test_sixty_loaves():
    given = expected("loaf_weight_one_sided")["two_sided"]
    answer = capability_of(series("loaf_weight_one_sided"), LOAVES, stable=True)
    found = by_name(answer)
    for index in ("Cp", "CPU", "CPL", "Cpk", "Cpm"):
        assert found[index].value == pytest.approx(given[index], rel=1e-9)
    assert (found["Cp"].low, found["Cp"].high) == pytest.approx(tuple(given["Cp_ci95"]), rel=1e-9)
    assert (found["Cpk"].low, found["Cpk"].high) == pytest.approx(tuple(given["Cpk_ci95_bissell"]), rel=1e-9)
    assert 1e6 * answer.outside.value == pytest.approx(given["expected_ppm"], rel=1e-9)
    assert answer.spreads.overall == pytest.approx(given["sd"], rel=1e-12)


def test_sixty_loaves_with_a_lower_limit_only():
    given = expected("loaf_weight_one_sided")["one_sided_lower"]
    specification = Specification(response="loaf weight", unit="g", lower=395)
    found = by_name(capability_of(series("loaf_weight_one_sided"), specification, stable=False))
    assert set(found) == {"PPL", "Ppk"}
    assert found["PPL"].value == pytest.approx(given["PPL"], rel=1e-9)


def test_batches_of_four_loaves_within_and_overall():
    # Synthetic, with real differences between batches; R 4.2.2 by its own formulae.
    given = expected("loaf_weight_within_overall")
    loaves = series("loaf_weight_within_overall", "subgroup")
    answer = capability_of(loaves, LOAVES, stable=True)
    found = by_name(answer)
    for index, group in (("Cp", "within"), ("Cpk", "within"), ("Pp", "overall"), ("Ppk", "overall")):
        assert found[index].value == pytest.approx(given[group][index], rel=1e-9)
        ends = tuple(given[group][f"{index}_ci95"])
        assert (found[index].low, found[index].high) == pytest.approx(ends, rel=1e-9)
    spreads = spreads_of(loaves.values)
    assert spreads.within == pytest.approx(given["sigma_within_pooled"], rel=1e-12)
    assert spreads.overall == pytest.approx(given["sigma_overall"], rel=1e-12)
    assert 1e6 * answer.outside.value == pytest.approx(given["expected_ppm_overall"], rel=1e-9)
    within = share_outside(spreads.mean, spreads.within, 395, 410)
    assert 1e6 * within == pytest.approx(given["expected_ppm_within"], rel=1e-9)
    assert answer.outside.seen == given["observed_ppm"] == 0
    # Batches do differ, so the index to go by is that of a piece of any batch, and its interval is wider.
    assert answer.main == "Ppk over batches"
    assert found[answer.main].high - found[answer.main].low > found["Ppk"].high - found["Ppk"].low
