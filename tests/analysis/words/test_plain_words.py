"""Words that a first reader stumbled over say what they mean, once and without a contradiction."""

from dataclasses import replace
from types import SimpleNamespace

import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.results import Check, Finding
from analysis.words.averaged import say_averaged
from analysis.words.blends import say_blend
from analysis.words.checks import say_check
from analysis.words.findings import say_finding

RISE = Response(name="rise", unit="mm", matters=2)


@pytest.mark.parametrize(
    ("low", "said"),
    [
        (0.9, "Rise follows powder differently for each brand, but this trial cannot tell whether by as much as"),
        (-0.9, "This trial cannot tell whether rise follows powder differently for each brand"),
    ],
)
def test_curves_that_differ_by_an_unsettled_size_do_differ(low, said):
    finding = Finding(
        response="rise", kind="curves differ", variables=("powder", "brand"), size=3.4, low=low, high=6.0, unit="mm",
        direction="none", matters="unsure",
    )  # fmt: skip
    assert say_finding(finding, RISE, 0.95).startswith(said)


def test_a_shape_with_more_weight_than_the_one_used_is_not_close_behind():
    facts = {"shape": "linear-plateau", "weight": 0.18, "second": "logistic-4"}
    said = say_check(Check(check="shape choice", verdict="look here", facts=facts))
    assert "linear-plateau is used (18 % of the weight); logistic-4 would do about as well" in said


def test_a_flat_response_set_aside_is_told_with_its_test():
    facts = {"shape": "quadratic", "weight": 0.45, "second": None, "not_flat_p": 0.0012}
    said = say_check(Check(check="shape choice", verdict="look here", facts=facts))
    assert "AICc keep a flat response, but the doses differ (p = 0.001" in said
    assert "quadratic is used. Its limits are wide" in said


def test_one_pair_of_brackets_holds_correlation_and_p():
    facts = {"correlation": 0.37, "p": 0.0001}
    assert "(correlation 0.37, p < 0.001)" in say_check(Check(check="neighbours", verdict="look here", facts=facts))


def test_weights_of_shapes_are_whole_percents():
    dose = SimpleNamespace(
        level=None, dose=3.0, low=2.0, high=4.0, best=5.0, best_low=None, best_high=None,
        shapes={"linear": 0.2999, "logistic-4": 0.6932, "hormesis-5": 0.006845},
    )  # fmt: skip
    part = SimpleNamespace(doses=(dose,), dose="powder", unit="%")
    said = say_averaged(part, SimpleNamespace(response=RISE), Question(factors=(), responses=(RISE,)))
    assert said[-1] == "Weights of the shapes: logistic-4 69 %, linear 30 %, hormesis-5 less than 1 %."


def test_a_share_that_no_good_blend_holds_is_called_so():
    blends = [(1, 0), (0, 0), (0, 1), (0.5, 0), (0.5, 0.5), (0, 0.5), (0.34, 0.33)] * 2
    oat, rye = (list(column) for column in zip(*blends, strict=True))
    wheat = [round(1 - a - b, 4) for a, b in blends]
    rise = [
        30 * w + 35 * a + 20 * b + 20 * w * a + 0.1 * (i % 3)
        for i, (w, a, b) in enumerate(zip(wheat, oat, rye, strict=False))
    ]
    factors = tuple(Factor(name=name, kind="share") for name in ("wheat", "oat", "rye"))
    question = Question(factors=factors, responses=(replace(RISE, matters=None, goal="maximise"),))
    result = analyse(pd.DataFrame({"wheat": wheat, "oat": oat, "rye": rye, "rise": rise}), question).responses[0]
    said = " ".join(say_blend(next(p for p in result.family.parts if p.key == "blend"), result, question))
    assert "and no rye" in said
    assert "0.00 to 0.00" not in said
    assert "rise is highest at 0.00 (" in said
