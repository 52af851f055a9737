"""Open data sets with rows and whole cells taken out, through the command, against R.

The data are cited in open_data/open_data.R, which also made the expected figures (R 4.2.2, lme4 1.1-31, lmerTest
3.1-3, pbkrtest 0.5.2, emmeans 1.8.4-1). Tolerances: 1e-4 for mixed models, 1e-6 for fixed ones.
"""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Iterable
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from tracker.commands import main

HERE = Path(__file__).parent / "open_data"
EXPECTED = json.loads((HERE / "open_data.json").read_text())
MIXED, FIXED = 1e-4, 1e-6


def lines_of(name: str) -> list[str]:
    return (HERE / f"{name}.csv").read_text().splitlines()


def without(name: str, gone: Iterable[int] = (), *, where: Callable[[str], bool] = lambda line: False) -> str:
    """The file without data rows ``gone`` (counted from 1, as R does) and without rows that ``where`` picks."""
    head, *rows = lines_of(name)
    kept = [row for at, row in enumerate(rows, 1) if at not in set(gone) and not where(row)]
    return "\n".join([head, *kept])


@pytest.fixture
def asked(tmp_path: Path) -> Callable[..., SimpleNamespace]:
    def ask(text: str, *words: str) -> SimpleNamespace:
        path = tmp_path / "data.csv"
        path.write_text(text, encoding="utf-8")
        out, notes = io.StringIO(), io.StringIO()
        with redirect_stdout(out), redirect_stderr(notes):
            code = main(["analyse", str(path), *words, "--json"])
        assert code == 0, notes.getvalue()
        (response,) = json.loads(out.getvalue())["responses"]
        return SimpleNamespace(
            terms=response["model"]["terms"],
            tests={line["term"]: line for line in response["tests"]},
            variances={line["group"]: line["variance"] for line in response["variances"] or ()},
            coefficients={line["term"]: line for line in response["coefficients"]},
            pairs={(line["a"], line["b"]): line for line in response["comparisons"] if not line["at"]},
            checks={check["check"]: check for check in response["checks"]},
            notes=notes.getvalue(),
        )

    return ask


def same(line: dict[str, Any], given: dict[str, Any], close: float) -> None:
    assert line["df"] == given["df"]
    assert (line["df_error"], line["value"]) == pytest.approx((given["df_error"], given["value"]), rel=close)
    assert line["p"] == pytest.approx(given["p"], rel=10 * close, abs=1e-12)


def same_pairs(pairs: dict[tuple[str, str], dict[str, Any]], given: list[dict[str, Any]]) -> None:
    for one in given:
        a, b = one["contrast"].split(" - ")
        sign = 1 if (a, b) in pairs else -1
        line = pairs[(a, b) if sign == 1 else (b, a)]
        assert (sign * line["difference"], line["se"]) == pytest.approx((one["estimate"], one["SE"]), rel=MIXED)
        assert line["p_adjusted"] == pytest.approx(one["p.value"], rel=1e-3)
        low, high = (line["low"], line["high"]) if sign == 1 else (-line["high"], -line["low"])
        assert (low, high) == pytest.approx((one["lower.CL"], one["upper.CL"]), rel=MIXED)


def test_casks_within_batches_beside_a_column_that_names_them_once_more(asked):
    found = asked(without("pastes"), "--response", "strength", "--group", "batch+cask")
    given = EXPECTED["pastes"]
    assert "it tells the same bakes apart as batch+cask: sample" in found.notes
    assert found.terms == []
    for group, name in (("batch", "batch"), ("batch+cask", "batch:cask"), ("residual", "Residual")):
        assert found.variances[group] == pytest.approx(given["variances"][name], rel=MIXED)
    line = found.coefficients["intercept"]
    mean = given["mean"]
    assert (line["estimate"], line["se"], line["df"]) == pytest.approx(
        (mean["Estimate"], mean["Std. Error"], mean["df"]), rel=MIXED
    )


def test_a_column_that_names_the_meeting_of_two_groups_is_no_factor(asked):
    found = asked(without("pastes"), "--response", "strength", "--group", "batch", "--group", "cask")
    assert found.terms == []
    assert set(found.variances) == {"batch", "cask", "residual"}


def test_a_cell_that_was_never_baked_leaves_the_rest_of_the_joint_effect_to_be_tested(asked):
    text = without("oats", where=lambda row: ",Victory,0.6," in row)
    found = asked(
        text, "--response", "yield", "--factor", "Variety:category", "--factor", "nitro:category",
        "--group", "Block+Variety",
    )  # fmt: skip
    given = EXPECTED["oats_cell"]
    assert found.terms == ["Variety", "nitro"]
    same(found.tests["Variety"], given["additive"]["Variety"], MIXED)
    same(found.tests["nitro"], given["additive"]["nf"], MIXED)
    same(found.tests["Variety:nitro"], given["joint"], MIXED)
    check = found.checks["empty cells"]["words"]
    assert "does not show that it does (p = 0.89), which does not rule it out" in check


def test_a_split_plot_with_lost_plots(asked):
    found = asked(
        without("oats", (1, 5, 14, 33, 60)), "--response", "yield", "--factor", "Variety:category",
        "--factor", "nitro:category", "--group", "Block+Variety",
    )  # fmt: skip
    given = EXPECTED["oats_gap"]
    for term, name in (("Variety", "Variety"), ("nitro", "nf"), ("Variety:nitro", "Variety:nf")):
        same(found.tests[term], given["tests"][name], MIXED)
    for group, name in (("Block", "Block"), ("Block+Variety", "Block:Variety"), ("residual", "Residual")):
        assert found.variances[group] == pytest.approx(given["variances"][name], rel=MIXED)
    same_pairs({pair: line for pair, line in found.pairs.items() if pair[0][0].isalpha()}, given["pairs"])


@pytest.mark.parametrize("method", ["kenward-roger", "satterthwaite"])
def test_machines_with_lost_rows(asked, method):
    found = asked(
        without("machines", (2, 3, 6, 17, 19, 20, 21, 40, 41)), "--response", "score",
        "--factor", "Machine:category", "--group", "Worker+Machine", "--small-sample", method,
    )  # fmt: skip
    given = EXPECTED["machines_gap"]
    same(found.tests["Machine"], given["kr" if method == "kenward-roger" else method]["Machine"], MIXED)
    if method == "kenward-roger":
        same_pairs(found.pairs, given["pairs"])


def test_two_pairs_of_factors_with_cells_never_baked(asked):
    """Names with spaces and letters beyond ASCII, columns in another order, rows turned round: nothing moves."""
    head, *rows = lines_of("loaves_cells")
    assert head == "flour,fat,oven,height"
    turned = [",".join(cells[i] for i in (3, 1, 0, 2)) for cells in (row.split(",") for row in reversed(rows))]
    text = "\n".join(["höhe der Laibe (mm),fat,Mehl sorte,oven", *turned])
    found = asked(
        text, "--response", "höhe der Laibe", "--factor", "Mehl sorte:category", "--factor", "fat:category",
        "--factor", "oven:category",
    )  # fmt: skip
    given = EXPECTED["loaves_cells"]
    assert found.terms == ["Mehl sorte", "fat", "oven", "Mehl sorte:fat"]
    for term, name in (("Mehl sorte:oven", "flour:oven"), ("fat:oven", "fat:oven")):
        same(found.tests[term], given[name], FIXED)
        assert found.tests[term]["sum_sq"] == pytest.approx(given[name]["sum_sq"], rel=FIXED)


@pytest.mark.parametrize(
    ("case", "response", "amounts"),
    [
        ("ccd_yield_13run", "yield", ("x1", "x2")),
        ("bbd_loaf_volume", "volume", ("hydration", "mix_min", "proof_min")),
    ],
)
def test_a_design_for_a_surface_is_read_as_one_without_being_told(asked, case, response, amounts):
    """Sources stand in the JSON beside each data set: Montgomery ch. 11; synthetic. Digits: R 4.2.2."""
    folder = HERE.parent / "response_surface"
    words = [part for name in amounts for part in ("--factor", f"{name}:amount")]
    found = asked((folder / f"{case}.csv").read_text(), "--response", response, *words)
    given = json.loads((folder / f"{case}.json").read_text())["expected"]["coef"]
    names = {f"I({name}^2)": f"{name}^2" for name in amounts}
    expected = {names.get(term, term): numbers for term, numbers in given.items() if term != "(Intercept)"}
    assert set(found.terms) == set(expected)
    for term, numbers in expected.items():
        line = found.coefficients[term]
        assert (line["estimate"], line["se"]) == pytest.approx((numbers["Estimate"], numbers["Std. Error"]), rel=FIXED)


def test_a_dose_curve_over_whole_plots_names_its_groups_once_and_calls_no_days_a_drift(asked):
    """Rows stand in the order of their blocks: what lies between blocks is their scatter, no drift of the oven."""
    head, *rows = lines_of("oats")
    turned = [rows[(at * 25) % len(rows)] for at in range(len(rows))]
    blocks = sorted(turned, key=lambda row: ("I", "II", "III", "IV", "V", "VI").index(row.split(",")[0]))
    found = asked(
        "\n".join([head, *blocks]), "--response", "yield", "--factor", "Variety:category", "--factor", "nitro:amount",
        "--group", "Block+Variety",
    )  # fmt: skip
    assert list(found.variances) == ["Block", "Block+Variety", "residual"]
    assert "order" not in found.checks
