"""Models of scores, shares and counts against figures computed by others, through the library and the command.

Sources: the JSON beside each csv (R 4.2.2 with ordinal, MASS, stats); ordinal/scores_further.R for crossed
groups, counts and Firth's penalty. Laplace figures of bread_liking_clmm were computed with the loose inner
steps that ordinal takes by default (its log-likelihood is -108.9271; with gradTol = 1e-9 it prints -108.93,
variance 1.721, which is ours); they are held to 0.6 %, everything else to the tolerance of its case.
"""

from __future__ import annotations

import json
from pathlib import Path

import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from tracker.commands import main

HERE = Path(__file__).parent
WINE = ("--kind", "score", "--response", "rating", "--scale", "rating:score")
BOTH = ("--factor", "temp:category", "--factor", "contact:category")


def expected(case):
    return json.loads((HERE / f"{case}.json").read_text())["expected"]


@pytest.fixture
def asked(capsys):
    """The JSON of one response, as the command prints it."""

    def ask(case, *words):
        assert main(["analyse", str(HERE / f"{case}.csv"), *words, "--json"]) == 0
        return json.loads(capsys.readouterr().out)["responses"][0]

    return ask


def by(records, key, value="estimate"):
    return {record[key]: record[value] for record in records}


def same_table(answer, table, names, rel):
    """Estimates and standard errors of effects and thresholds; ``names``: theirs -> ours."""
    own = {one["term"]: one for one in answer["coefficients"]} | {t["between"]: t for t in answer["thresholds"]}
    for theirs, line in table.items():
        found = own[names.get(theirs, theirs)]
        estimate = line.get("Estimate", line.get("Value"))
        assert found["estimate"] == pytest.approx(estimate, rel=rel), theirs
        assert found["se"] == pytest.approx(line["Std. Error"], rel=rel), theirs


WINE_NAMES = {"tempwarm": "temp[warm]", "contactyes": "contact[yes]"}


def test_wine_with_both_links(asked):
    # Christensen's vignette prints 2.503, 1.528 and -86.49.
    case = expected("ordinal/wine_clm_clmm")
    for link in ("logit", "probit"):
        answer = asked("ordinal/wine_clm_clmm", *WINE, *BOTH, "--link", link)
        same_table(answer, case[link]["coef"], WINE_NAMES, 1e-4)
        assert answer["scores"]["loglik"] == pytest.approx(case[link]["loglik"], rel=1e-8)
        assert answer["scores"]["link"] == link


def test_wine_intervals_tests_and_shares(asked):
    case, odds = expected("ordinal/wine_clm_clmm")["logit"], expected("ordinal/wine_proportional_odds_tests")
    answer = asked("ordinal/wine_clm_clmm", *WINE, *BOTH)
    for theirs, (low, high) in case["profile_ci"].items():
        own = next(c for c in answer["coefficients"] if c["term"] == WINE_NAMES[theirs])
        assert [own["low"], own["high"]] == pytest.approx([low, high], rel=1e-4)
    ratios = by(answer["scores"]["odds_ratios"], "term", "ratio")
    assert ratios == pytest.approx({WINE_NAMES[k]: v for k, v in case["odds_ratios"].items()}, rel=1e-4)
    assert answer["scores"]["aic"] == pytest.approx(case["AIC"], rel=1e-8)
    tests = by(answer["tests"], "term", "value")
    assert tests["contact"] == pytest.approx(case["lrt_contact"]["chi2"], rel=1e-6)
    assert tests["temp"] == pytest.approx(odds["single_term_lr"]["temp"]["lrt"], rel=1e-6)
    assert {one["statistic"] for one in answer["tests"]} == {"LR chi-square"}
    for key, name in (("proportional_odds", "nominal"), ("equal_spread", "scale")):
        for one in answer["scores"][key]:
            theirs = odds[name][one["term"]]
            assert one["df"] == theirs["df"]
            assert one["statistic"] == pytest.approx(theirs["lrt"], rel=1e-3)
            assert one["p"] == pytest.approx(theirs["p"], rel=1e-3)
            assert one["loglik"] == pytest.approx(theirs["loglik"], rel=1e-6)
    shares = {f"{t['settings']['temp']}:{t['settings']['contact']}": t for t in answer["scores"]["treatments"]}
    for treatment, theirs in case["pred_prob"].items():
        assert list(shares[treatment]["fitted"].values()) == pytest.approx(theirs, rel=1e-4)


def test_wine_with_random_judges(asked):
    # The vignette prints 3.063, 1.835, variance 1.279 and -81.57.
    case = expected("ordinal/wine_clm_clmm")
    answer = asked("ordinal/wine_clm_clmm", *WINE, *BOTH, "--group", "judge")
    same_table(answer, case["random_judge_laplace"]["coef"], WINE_NAMES, 1e-4)
    ways = {one["method"]: one for one in answer["scores"]["approximations"]}
    for way, name in (("laplace", "random_judge_laplace"), ("quadrature", "random_judge_agq10")):
        same_table(ways[way], case[name]["coef"], WINE_NAMES, 1e-4)
        assert ways[way]["variances"][0]["variance"] == pytest.approx(case[name]["var_judge"], rel=1e-4)
        assert ways[way]["loglik"] == pytest.approx(case[name]["loglik"], rel=1e-6)
    assert answer["variances"][0]["group"] == "judge"
    assert answer["scores"]["group_tests"][0]["statistic"] == pytest.approx(9.85302814704318, rel=1e-4)


def test_bread_with_random_panelists(asked):
    case = expected("ordinal/bread_liking_clmm")
    words = ("--kind", "score", "--response", "liking", "--factor", "bread:category")
    names = {"breadsour": "bread[sour]", "breadwholegrain": "bread[wholegrain]"}
    plain = asked("ordinal/bread_liking_clmm", *words)
    same_table(plain, case["clm"]["coef"], names, 1e-3)
    assert plain["scores"]["loglik"] == pytest.approx(case["clm"]["loglik"], rel=1e-6)
    # Quadrature moves the variance by a tenth, so its figures are the answer.
    answer = asked("ordinal/bread_liking_clmm", *words, "--group", "panelist")
    same_table(answer, case["agq10"]["coef"], names, 1e-3)
    assert answer["variances"][0]["variance"] == pytest.approx(case["agq10"]["var"], rel=1e-3)
    assert answer["scores"]["loglik"] == pytest.approx(case["agq10"]["loglik"], rel=1e-6)
    assert answer["tests"][0]["value"] == pytest.approx(case["agq10"]["lrt_bread"], rel=1e-3)
    laplace = next(one for one in answer["scores"]["approximations"] if one["method"] == "laplace")
    same_table(laplace, case["laplace"]["coef"], names, 6e-3)
    assert laplace["loglik"] == pytest.approx(case["laplace"]["loglik"], rel=2e-5)
    for one in answer["comparisons"]:
        theirs = case["pairs_tukey"][f"{one['a']} - {one['b']}"]
        found = [one["difference"], one["se"], one["low"], one["high"], one["p_adjusted"]]
        wanted = [theirs[key] for key in ("estimate", "SE", "asymp.LCL", "asymp.UCL", "p.value")]
        assert found == pytest.approx(wanted, rel=1e-3)


def test_housing_counted_by_a_column_and_scored_in_words(asked):
    # Venables & Ripley, MASS, section 7.3, print a residual deviance of 3479.149.
    case = expected("ordinal/housing_weighted_polr")
    factors = [word for name in ("Infl", "Type", "Cont") for word in ("--factor", f"{name}:category")]
    for scale in ("Sat:score(Low<Medium<High)", "Sat:score"):
        answer = asked(
            "ordinal/housing_weighted_polr", "--kind", "score", "--response", "Sat", "--scale", scale, *factors,
            "--weights", "Freq",
        )  # fmt: skip
        names = {
            theirs: f"{theirs[:4]}[{theirs[4:]}]" for theirs in case["coef"] if theirs[:4] in ("Infl", "Type", "Cont")
        }
        same_table(answer, case["coef"], names, 1e-4)
        # R 4.2.2, ordinal: confint, drop1, nominal_test and scale_test of the same clm.
        type_ = {one["term"]: one for one in answer["tests"]}["Type"]
        assert (type_["value"], type_["p"]) == pytest.approx((55.910, 4.391e-12), rel=1e-3)
        high = {one["term"]: (one["low"], one["high"]) for one in answer["coefficients"]}["Infl[High]"]
        assert high == pytest.approx((1.0409699, 1.53958146), rel=1e-5)
        freed = by(answer["scores"]["proportional_odds"], "term", "statistic")
        assert freed == pytest.approx({"Infl": 1.1065, "Type": 5.7337, "Cont": 2.4446}, rel=1e-4)
        spread = by(answer["scores"]["equal_spread"], "term", "statistic")
        assert spread == pytest.approx({"Infl": 2.3934, "Type": 2.3873, "Cont": 5.6559}, rel=1e-4)
        assert -2 * answer["scores"]["loglik"] == pytest.approx(case["deviance"], rel=1e-8)


def test_mould_over_the_log_of_the_dose(asked):
    case = expected("dose_response/mould_logit")
    answer = asked(
        "dose_response/mould_logit", "--kind", "score", "--response", "affected", "--scale", "affected:yes-no",
        "--weights", "total", "--dose", "dose",
    )  # fmt: skip
    same_table(answer, case["coef"], {"(Intercept)": "intercept"}, 1e-5)
    # R 4.2.2: confint(glm(cbind(affected, total - affected) ~ log(dose), binomial)), by profile likelihood
    # (a spline through the profile; ours closes in on the root).
    limits = {one["term"]: (one["low"], one["high"]) for one in answer["coefficients"]}
    assert limits["intercept"] == pytest.approx((3.763717, 6.226906), rel=5e-5)
    assert limits["log(dose)"] == pytest.approx((2.046835, 3.383716), rel=5e-5)
    scores = answer["scores"]
    found = [scores["deviance"], scores["pearson"], scores["df"]]
    assert found == pytest.approx([case["deviance"], case["pearson_x2"], case["df"]], rel=1e-5)
    for limit, name in zip(scores["effective"], ("ED50", "ED90"), strict=True):
        theirs = case[name]
        found = [limit[key] for key in ("dose", "se", "se_log", "low", "high", "fieller_low", "fieller_high")]
        wanted = [theirs["dose"], theirs["se_dose"], theirs["se_log"], *theirs["ci_delta_log"], *theirs["ci_fieller"]]
        assert found == pytest.approx(wanted, rel=1e-5)


def further():
    return json.loads((HERE / "ordinal/scores_further.json").read_text())


def test_assessors_crossed_with_days(asked):
    case = further()["crossed"]
    answer = asked(
        "ordinal/assessors_days", "--kind", "score", "--response", "score", "--factor", "recipe:category",
        "--reference", "butter", "--group", "assessor", "--group", "day",
    )  # fmt: skip
    effects = {one["term"]: one for one in answer["coefficients"]}
    own = [effects["recipe[oil]"], effects["recipe[plain]"]]
    assert [one["estimate"] for one in own] == pytest.approx(case["recipe"], rel=1e-3)
    assert [one["se"] for one in own] == pytest.approx(case["se"], rel=1e-3)
    assert [one["estimate"] for one in answer["thresholds"]] == pytest.approx(case["thresholds"], abs=2e-3)
    spread = by(answer["variances"], "group", "variance")
    assert spread["assessor"] == pytest.approx(case["assessor"], rel=5e-3)
    assert spread["day"] == pytest.approx(case["day"], rel=5e-3)
    assert answer["scores"]["loglik"] == pytest.approx(case["loglik"], rel=1e-6)
    assert answer["tests"][0]["value"] == pytest.approx(case["lr"], rel=1e-3)


def counted(asked, *more):
    return asked(
        "ordinal/blisters", "--kind", "score", "--response", "blisters", "--scale", "blisters:count",
        "--factor", "oven:category", "--factor", "hydration:amount", "--weights", "pieces", *more,
    )  # fmt: skip


def test_counts_that_scatter_more_than_counting(asked):
    case = further()["counts"]
    answer = counted(asked)
    effects = {one["term"]: one for one in answer["coefficients"]}
    own = [effects[name] for name in ("intercept", "oven[fan]", "hydration")]
    assert [one["estimate"] for one in own] == pytest.approx(case["coef"], rel=1e-6)
    assert [one["se"] for one in own] == pytest.approx(case["se"], rel=1e-6)
    assert answer["scores"]["dispersion"] == pytest.approx(case["dispersion"], rel=1e-6)
    assert answer["scores"]["deviance"] == pytest.approx(case["deviance"], rel=1e-6)
    oven = next(one for one in answer["tests"] if one["term"] == "oven")
    assert oven["statistic"] == "F"
    assert oven["value"] == pytest.approx(_f_by_pearson(case), rel=1e-6)


def _f_by_pearson(case):
    """R's drop1 divides by the deviance over its df, ours by Pearson's dispersion, which its standard errors use."""
    df = 45
    return case["f_oven"] * (case["deviance"] / df) / case["dispersion"]


def test_counts_of_days(asked):
    case = further()["counts_day"]
    answer = counted(asked, "--group", "day")
    way = next(one for one in answer["scores"]["approximations"] if one["method"] == "laplace")
    effects = {one["term"]: one for one in way["coefficients"]}
    own = [effects[name] for name in ("intercept", "oven[fan]", "hydration")]
    assert [one["estimate"] for one in own] == pytest.approx(case["coef"], rel=1e-3)
    assert [one["se"] for one in own] == pytest.approx(case["se"], rel=5e-3)  # its Hessian is by differences of values
    assert way["variances"][0]["variance"] == pytest.approx(case["variance"], rel=1e-3)
    assert way["loglik"] == pytest.approx(case["loglik"], rel=1e-6)


def test_separation_is_answered_by_firths_penalty_and_a_bound():
    case = further()["firth"]
    table = pd.DataFrame(
        {"cracked": [0.0, 0, 1, 0, 1, 0, 1, 1, 1, 1, 1, 1], "steam": ["with"] * 6 + ["without"] * 6,
         "salt": [1.0, 2, 3] * 4}
    )  # fmt: skip
    factors = (Factor(name="steam", kind="category"), Factor(name="salt", kind="amount"))
    question = Question(factors=factors, responses=(Response(name="cracked", scale="yes-no"),), kind="score")
    result = analyse(table, question).responses[0]
    effects = {one.term: one for one in result.family.coefficients}
    own = [effects[name] for name in ("intercept", "steam[without]", "salt")]
    assert [one.estimate for one in own] == pytest.approx(case["coef"], rel=1e-6)
    assert [one.se for one in own] == pytest.approx(case["se"], rel=1e-6)
    steam = effects["steam[without]"]
    assert steam.low is not None
    assert steam.high is None
    assert "coefficients.steam[without]" in result.family.reasons
    assert {check.check: check.facts for check in result.checks}["separation"]["terms"] == ("steam",)


def test_contrasts_and_margins_of_scores(asked):
    # emmeans' mean score and latent difference, and two one-sided tests of the first (scores_contrasts.R).
    case = json.loads((HERE / "ordinal/scores_contrasts.json").read_text())["wine"]
    answer = asked(
        "ordinal/wine_clm_clmm", *WINE, *BOTH, "--contrast", "temp: warm = 1, cold = -1", "--margin", "rating:2",
        "--reference", "temp:cold",
    )  # fmt: skip
    found = answer["contrasts"][0]
    assert (found["estimate"], found["se"]) == pytest.approx(case["mean"], rel=1e-5)
    its = answer["scores"]["contrasts"][0]
    assert (its["estimate"], its["se"]) == pytest.approx(case["latent"], rel=1e-5)
    judged = next(one for one in answer["equivalence"] if one["factor"] == "temp")
    assert judged["p"] == judged["p_high"] == pytest.approx(case["p_upper"], rel=1e-4)
    assert (judged["equivalent"] == "yes") == (judged["p"] < 0.05)


def test_contrasts_of_counts(asked):
    case = json.loads((HERE / "ordinal/scores_contrasts.json").read_text())["blisters"]
    first, *others = case["levels"]
    weights = ", ".join([f"{first} = 1", *(f"{level} = -1/{len(others)}" for level in others)])
    answer = asked(
        "ordinal/blisters", "--kind", "score", "--response", "blisters", "--scale", "blisters:count",
        "--factor", "oven:category", "--factor", "hydration:amount", "--weights", "pieces",
        "--contrast", f"oven: {weights}",
    )  # fmt: skip
    found, its = answer["contrasts"][0], answer["scores"]["contrasts"][0]
    assert (its["estimate"], its["se"]) == pytest.approx(case["link"], rel=1e-5)
    assert (found["estimate"], found["se"]) == pytest.approx(case["count"], rel=1e-5)
    assert (found["low"] > 0) == (its["ratio_low"] > 1)
