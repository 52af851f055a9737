"""What do scores say in tables that are turned round, renamed, counted, or hostile?"""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.errors import AnalysisError, NotPossible, TrialDataError
from analysis.questions import Factor, Margin, Question, Response
from analysis.serialise import analysis_json
from analysis.words import analysis_text, say_model, say_next


def tasted(seed=1, *, assessors=8, effect=1.2):
    chance = np.random.Generator(np.random.PCG64(seed))
    rows = []
    for assessor in range(assessors):
        own = chance.normal(0, 1)
        for oven, fat in (("deck", 10.0), ("deck", 20.0), ("fan", 10.0), ("fan", 20.0)):
            hidden = own + effect * (oven == "fan") - 0.05 * (fat - 15) + chance.logistic()
            rows.append((f"a{assessor}", oven, fat, float(1 + np.digitize(hidden, [-1.5, -0.4, 0.8, 2.0]))))
    return pd.DataFrame(rows, columns=["assessor", "oven", "fat", "crumb"])


FACTORS = (Factor(name="oven", kind="category", levels=("deck", "fan")), Factor(name="fat", kind="amount", unit="g"))


def asked(table, *, response=None, factors=FACTORS, **more):
    response = response or Response(name="crumb", scale="score")
    return analyse(table, Question(factors=factors, responses=(response,), kind="score", **more)).responses[0]


def effects(result):
    return {one.term: one for one in result.family.coefficients}


def test_scores_turned_round_turn_every_effect():
    table = tasted()
    turned = table.assign(crumb=6 - table["crumb"])
    for more in ({}, {"group": ("assessor",)}):
        there, back = effects(asked(table, **more)), effects(asked(turned, **more))
        for term in there:
            assert back[term].estimate == pytest.approx(-there[term].estimate, rel=1e-4)
            assert back[term].se == pytest.approx(there[term].se, rel=1e-4)


def test_only_the_order_of_scores_counts_for_effects():
    table = tasted()
    wide = table.assign(crumb=table["crumb"].map({1: 1.0, 2: 3.0, 3: 4.0, 4: 8.0, 5: 9.0}))
    there, other = effects(asked(table)), effects(asked(wide))
    assert [one.estimate for one in other.values()] == pytest.approx([one.estimate for one in there.values()])


def test_weights_are_rows_seen_so_often():
    table = tasted()
    counted = table.assign(often=np.arange(len(table)) % 3 + 1.0)
    expanded = counted.loc[counted.index.repeat(counted["often"].astype(int))].reset_index(drop=True)
    there, other = effects(asked(counted, weights="often")), effects(asked(expanded))
    for term in there:
        assert there[term].estimate == pytest.approx(other[term].estimate, rel=1e-7)
        assert there[term].se == pytest.approx(other[term].se, rel=1e-7)


def test_another_reference_moves_no_mean_and_no_test():
    table = tasted()
    other = (Factor(name="oven", kind="category", levels=("deck", "fan"), reference="fan"), FACTORS[1])
    first, second = asked(table), asked(table, factors=other)
    assert [m.mean for m in second.family.means] == pytest.approx([m.mean for m in first.family.means], rel=1e-6)
    assert [t.value for t in second.family.tests] == pytest.approx([t.value for t in first.family.tests], rel=1e-6)


def test_amounts_may_come_in_another_unit():
    table = tasted()
    kilograms = table.assign(fat=table["fat"] / 1000)
    first, second = asked(table), asked(kilograms)
    assert effects(second)["fat"].estimate == pytest.approx(1000 * effects(first)["fat"].estimate, rel=1e-6)
    sizes = [[f.size for f in sorted(r.family.evidence, key=lambda f: f.variables)] for r in (first, second)]
    assert sizes[1] == pytest.approx(sizes[0], rel=1e-5)
    assert [t.estimate for t in second.family.thresholds] == pytest.approx(
        [t.estimate for t in first.family.thresholds]
    )


def test_yes_and_no_are_a_score_of_two():
    table = tasted().assign(crumb=lambda t: (t["crumb"] > 2).astype(float))
    binomial = effects(asked(table, response=Response(name="crumb", scale="yes-no")))
    ordinal = effects(asked(table))
    assert binomial["oven[fan]"].estimate == pytest.approx(ordinal["oven[fan]"].estimate)


def test_affected_pieces_may_be_counted_or_shared():
    table = pd.DataFrame(
        {
            "oven": ["deck", "fan"] * 3,
            "cracked": [2.0, 9, 1, 7, 3, 8],
            "pieces": [12.0] * 6,
            "fat": [10.0, 10, 20, 20, 30, 30],
        }
    )
    response = Response(name="cracked", scale="yes-no")
    counted = asked(table, response=response, weights="pieces")
    shared = asked(table.assign(cracked=table["cracked"] / 12), response=response, weights="pieces")
    assert effects(shared)["oven[fan]"] == effects(counted)["oven[fan]"]
    assert counted.family.means[0].mean < counted.family.means[1].mean < 1
    with pytest.raises(TrialDataError, match="more pieces"):
        asked(table.assign(cracked=13.0), response=response, weights="pieces")


def test_readings_of_one_bake_are_no_bakes():
    # Eight assessors agree about four bakes of two treatments: the bakes decide, not the readings.
    chance = np.random.Generator(np.random.PCG64(3))
    rows = []
    for bake, oven in enumerate(["deck", "deck", "deck", "fan", "fan", "fan"]):
        own = chance.normal(0, 2.5)
        for assessor in range(10):
            hidden = own + chance.logistic()
            rows.append((f"b{bake}", f"a{assessor}", oven, float(1 + np.digitize(hidden, [-2, -0.6, 0.6, 2]))))
    table = pd.DataFrame(rows, columns=["bake", "assessor", "oven", "crumb"])
    factors = FACTORS[:1]
    naive = asked(table, factors=factors)
    honest = asked(table, factors=factors, bake="bake")
    assert [v.group for v in honest.family.variances] == ["bake"]
    assert honest.family.tests[0].df_error == 5
    assert honest.family.tests[0].p > naive.family.tests[0].p
    assert honest.n_bakes == 6
    once = asked(table[table["bake"].isin(["b0", "b3"])], factors=factors, bake="bake")
    assert {c.check: c.verdict for c in once.checks}["bakes of scores"] == "do not rely"


def test_separation_says_at_least_how_much():
    table = pd.DataFrame(
        {"oven": ["deck"] * 8 + ["fan"] * 8, "crumb": [1.0, 2, 1, 2, 2, 1, 1, 2, 3.0, 4, 5, 4, 4, 3, 5, 4]}
    )
    result = asked(table, factors=FACTORS[:1])
    fan = effects(result)["oven[fan]"]
    assert fan.low > 0
    assert fan.high is None
    assert result.family.evidence[0].low > 0
    said = analysis_text(
        analyse(table, Question(factors=FACTORS[:1], responses=(Response(name="crumb", scale="score"),), kind="score"))
    )
    assert "no upper limit" in said.replace("\n", " ").replace("    ", " ")


def test_a_difference_that_matters_is_in_scores():
    result = asked(
        tasted(effect=4.0, assessors=20),
        response=Response(name="crumb", scale="score", matters=1.0),
        group=("assessor",),
    )
    oven = next(f for f in result.findings if f.variables == ("oven",))
    assert oven.matters == "yes"
    assert 1 < oven.low < oven.size < oven.high < 4
    fat = next(f for f in result.findings if f.variables == ("fat",))
    assert fat.matters in ("no", "unsure")


def test_interactions_are_tested_and_fitted_when_asked():
    chance = np.random.Generator(np.random.PCG64(5))
    oven, fat = np.repeat(["deck", "fan"], 40), np.tile([10.0, 20.0], 40)
    hidden = 3 * ((oven == "fan") & (fat > 15)) + chance.logistic(size=80)
    table = pd.DataFrame({"oven": oven, "fat": fat, "crumb": 1.0 + np.digitize(hidden, [-1, 1, 3])})
    plain = asked(table)
    assert {c.check: c.facts.get("terms") for c in plain.checks}["interaction of scores"] == ("oven:fat",)
    whole = asked(table, model="interactions")
    joint = next(f for f in whole.findings if f.kind == "interaction")
    assert joint.low > 0
    assert joint.facts["effect_at_to"] > joint.facts["effect_at_from"]


def test_the_predictor_gives_the_fitted_scores():
    result = asked(tasted(), group=("assessor",))
    predictor = result.family.predictor
    settings = pd.DataFrame({"oven": ["deck", "fan"], "fat": [15.0, 15.0]})
    means = {m.level: m.mean for m in result.family.means}
    assert predictor.mean(settings) == pytest.approx([means["deck"], means["fan"]], rel=1e-6)
    draws = predictor.draws(settings, count=4000, seed=1)
    assert draws.std(axis=0) == pytest.approx(predictor.se(settings), rel=0.15)
    assert predictor.spans["fat"].baked == (10.0, 20.0)


@pytest.mark.parametrize(
    ("change", "what"),
    [
        (lambda t: t.assign(crumb=3.0), NotPossible),
        (lambda t: t.head(3), NotPossible),
        (lambda t: t.assign(oven="deck", fat=10.0), AnalysisError),
        (lambda t: t.assign(crumb=np.linspace(0.1, 7.7, len(t))), NotPossible),
    ],
)
def test_what_cannot_be_compared_is_refused_in_words(change, what):
    with pytest.raises(what) as caught:
        asked(change(tasted()))
    assert caught.value.try_this


def no_gaps(value):
    if isinstance(value, dict):
        return all(map(no_gaps, value.values()))
    if isinstance(value, list):
        return all(map(no_gaps, value))
    return not isinstance(value, float) or math.isfinite(value)


def test_hostile_tables_are_answered_or_refused():
    chance = np.random.Generator(np.random.PCG64(20261125))
    answered, refused = 0, []
    for _ in range(30):
        n = int(chance.integers(4, 40))
        scale = str(chance.choice(["score", "yes-no", "count"]))
        top = {"score": int(chance.integers(2, 9)), "yes-no": 2, "count": 60}[scale]
        table = pd.DataFrame(
            {
                "oven": chance.choice(["a", "b", "c"], n),
                "fat": chance.choice([0.0, 1e-9, 1e6, 3.0], n),
                "day": chance.choice(["d1", "d2", "d3", "d4"], n),
                "crumb": chance.integers(0, top, n).astype(float),
            }
        )
        if chance.random() < 0.4:
            table["crumb"] = (table["oven"] == "a") * (top - 1.0)
        factors = (Factor(name="oven", kind="category"), Factor(name="fat", kind="amount"))
        more = {"group": ("day",)} if chance.random() < 0.4 else {"blocks": ("day",)} if chance.random() < 0.3 else {}
        question = Question(factors=factors, responses=(Response(name="crumb", scale=scale),), kind="score", **more)
        try:
            analysis = analyse(table, question)
        except AnalysisError as problem:
            refused.append(problem)
            continue
        answered += 1
        assert no_gaps(json.loads(json.dumps(analysis_json(analysis))))
        assert analysis_text(analysis)
    assert answered >= 14
    assert all(problem.what and problem.try_this for problem in refused)


def test_a_response_that_turns_is_told_and_fitted_when_asked():
    chance = np.random.Generator(np.random.PCG64(6))
    fat = np.tile([10.0, 15.0, 20.0], 30)
    hidden = 3.0 * (fat == 15) + chance.logistic(size=90)
    table = pd.DataFrame({"fat": fat, "crumb": 1.0 + np.digitize(hidden, [-1, 1, 3])})
    plain = asked(table, factors=FACTORS[1:])
    assert {c.check: c.facts.get("terms") for c in plain.checks}["bend of scores"] == ("fat^2",)
    bent = asked(table, factors=FACTORS[1:], model="quadratic")
    bend = next(f for f in bent.findings if f.kind == "bend")
    assert bend.low > 0.5
    assert bend.variables == ("fat",)


def test_doses_of_a_share_with_a_control_at_zero():
    table = pd.DataFrame({"salt": [0.0, 1.0, 2.0, 3.0, 4.0], "bad": [2.0, 9, 20, 31, 38], "loaves": [40.0] * 5})
    salt = Factor(name="salt", kind="amount", unit="%")
    response = Response(name="bad", scale="yes-no")
    result = asked(table, factors=(salt,), response=response, weights="loaves", dose="salt", effective=(0.2,))
    low, half, most = result.family.parts[0].effective
    assert [one.fraction for one in (low, half, most)] == [0.2, 0.5, 0.9]
    effect = effects(result)
    assert half.dose == pytest.approx(-effect["intercept"].estimate / effect["salt"].estimate, rel=1e-6)
    assert half.fieller_low < half.dose < half.fieller_high
    assert half.dose == pytest.approx(2.0, abs=0.05)
    with pytest.raises(TrialDataError, match="between 0 and 1"):
        asked(table, factors=(salt,), response=response, weights="loaves", dose="salt", effective=(1.0,))


@pytest.mark.parametrize("adjust", ["holm", "bonferroni", "scheffe", "none", "auto"])
def test_every_allowance_is_made_and_named(adjust):
    chance = np.random.Generator(np.random.PCG64(9))
    table = pd.DataFrame({"oven": list("abc") * 30, "crumb": 1.0 + chance.integers(0, 5, 90)})
    factors = (Factor(name="oven", kind="category", levels=("a", "b", "c")),)
    pairs = asked(table, factors=factors, adjust=adjust).family.parts[0].pairs
    names = {"holm": "Holm", "bonferroni": "Bonferroni", "scheffe": "Scheffé", "none": "z", "auto": "Tukey-Kramer"}
    assert {pair.method for pair in pairs} == {names[adjust]}
    plain = asked(table, factors=factors, adjust="none").family.parts[0].pairs
    assert all(one.p_adjusted >= other.p_adjusted - 1e-9 for one, other in zip(pairs, plain, strict=True))


def test_what_is_not_done_is_refused():
    with pytest.raises(NotPossible, match="resampling"):
        asked(tasted(), intervals="bootstrap")
    with pytest.raises(NotPossible, match="random groups"):
        asked(tasted(), intervals="profile", group=("assessor",))


def test_counts_that_scatter_within_days_are_not_taken_for_sure():
    chance = np.random.Generator(np.random.PCG64(12))
    table = pd.DataFrame({"day": np.repeat([f"d{i}" for i in range(8)], 6), "oven": ["deck", "fan"] * 24})
    own = np.repeat(chance.normal(0, 0.4, 8), 6)
    table["crumb"] = chance.poisson(np.exp(1.5 + own) * chance.gamma(1.0, 1.0, 48)).astype(float)
    response = Response(name="crumb", scale="count")
    result = asked(table, response=response, factors=FACTORS[:1], group=("day",))
    part = result.family.parts[0]
    assert part.widened
    assert part.dispersion > 1.5
    assert result.family.tests[0].statistic == "F"
    plain = part.approximations[0].coefficients[1]
    assert effects(result)["oven[fan]"].se == pytest.approx(plain.se * part.dispersion**0.5, rel=0.05)


def test_chosen_contrasts_of_shares_are_those_of_the_effect():
    chance = np.random.Generator(np.random.PCG64(8))
    table = pd.DataFrame({"oven": ["deck", "fan"] * 30, "fat": np.repeat([10.0, 20.0, 30.0], 20)})
    table["cracked"] = (chance.random(60) < np.where(table["oven"] == "fan", 0.7, 0.2)).astype(float)
    response = Response(name="cracked", scale="yes-no")
    asked_for = ("oven: fan = 1, deck = -1", "fat: slope", "fat: linear")
    found = asked(table, response=response, contrasts=asked_for)
    oven, slope, trend = found.family.contrasts
    effect = next(one for one in found.findings if one.variables == ("oven",))
    assert (oven.estimate, oven.low, oven.high) == pytest.approx((effect.size, effect.low, effect.high))
    fat = next(one for one in found.findings if one.variables == ("fat",))
    assert (slope.estimate, slope.low, slope.high) == pytest.approx((fat.size / 20, fat.low / 20, fat.high / 20))
    assert trend.p == pytest.approx(slope.p, rel=0.2)
    ratio = found.family.parts[0].contrasts[0]
    assert ratio.ratio == pytest.approx(math.exp(effects(found)["oven[fan]"].estimate))
    assert effects(found)["oven[fan]"].p == oven.p == ratio.p


def test_contrasts_are_read_at_each_level_of_what_interacts():
    table = tasted(4, assessors=20)
    factors = (*FACTORS[:1], Factor(name="fat", kind="category", levels=("10", "20")))
    table["fat"] = table["fat"].map({10.0: "10", 20.0: "20"})
    found = asked(table, factors=factors, model="interactions", contrasts=("oven: fan = 1, deck = -1",))
    assert [one.at for one in found.family.contrasts] == [{}, {"fat": "10"}, {"fat": "20"}]
    with pytest.raises(TrialDataError, match="add up to 0"):
        asked(table, factors=factors, contrasts=("oven: fan = 1, deck = 1",))


@pytest.mark.parametrize(("scale", "margin"), [("score", 1.0), ("yes-no", 0.3), ("count", 1.5)])
def test_a_margin_is_judged_with_p_and_interval_alike(scale, margin):
    chance = np.random.Generator(np.random.PCG64(12))
    table = pd.DataFrame({"oven": ["deck", "fan"] * 40})
    draw = {"score": lambda: chance.integers(1, 6, 80), "yes-no": lambda: chance.integers(0, 2, 80)}
    table["crumb"] = draw.get(scale, lambda: chance.poisson(4, 80))().astype(float)
    verdicts = set()
    for size in (0.02, margin / 3, margin, 2 * margin):
        response = Response(name="crumb", scale=scale, margin=Margin(low=-size, high=size))
        result = asked(table, response=response, factors=FACTORS[:1])
        (one,) = result.family.equivalence
        assert (one.p < 0.05) == (one.equivalent == "yes") == (-size < one.low and one.high < size)
        assert one.p == max(one.p_low, one.p_high)
        assert min(one.p_low, one.p_high) >= 0
        assert any(finding.kind == "equivalence" for finding in result.findings)
        verdicts.add(one.equivalent)
    assert verdicts >= {"yes", "unsure"}


def test_a_ratio_of_counts_is_judged_on_logarithms():
    chance = np.random.Generator(np.random.PCG64(13))
    table = pd.DataFrame({"oven": ["deck", "fan"] * 40}).assign(crumb=chance.poisson(9, 80).astype(float))
    response = Response(name="crumb", scale="count", margin=Margin(low=0.8, high=1.25, ratio=True))
    (one,) = asked(table, response=response, factors=FACTORS[:1]).family.equivalence
    effect = effects(asked(table, response=replace(response, margin=None), factors=FACTORS[:1]))["oven[fan]"]
    assert one.estimate == pytest.approx(math.exp(effect.estimate))
    assert 0 < one.low < one.estimate < one.high
    assert one.equivalent == "yes"
    below = Response(name="crumb", scale="score", margin=Margin(low=0.8, high=1.25, ratio=True))
    with pytest.raises(NotPossible, match="ratio"):
        asked(table.assign(crumb=chance.integers(-2, 3, 80).astype(float)), response=below, factors=FACTORS[:1])


def test_a_dose_of_a_share_is_never_below_none():
    """Most are bad without any salt: half is reached below 0 only; the limits of 90 % end at 0."""
    table = pd.DataFrame({"salt": [0.0, 1.0, 2.0, 3.0], "bad": [7.0, 8, 8, 10], "loaves": [10.0] * 4})
    salt = Factor(name="salt", kind="amount")
    response = Response(name="bad", scale="yes-no")
    result = asked(table, factors=(salt,), response=response, weights="loaves", dose="salt", effective=(0.7,))
    half, more, most = result.family.parts[0].effective
    assert half.dose is None
    assert more.low == 0
    assert 0 < more.dose < most.dose
    assert most.low >= 0


def test_weighted_rows_count_as_readings_and_pieces():
    table = tasted(6)
    table["fat"] = 10.0
    seen = table.groupby(["oven", "crumb"], as_index=False).size().astype({"size": float})
    counted = asked(seen, factors=FACTORS[:1], weights="size")
    plain = asked(table, factors=FACTORS[:1])
    assert (counted.n_bakes, counted.n_readings) == (plain.n_bakes, plain.n_readings) == (32, 32)
    trays = pd.DataFrame({"oven": ["deck", "fan"] * 3, "cracked": [2.0, 9, 1, 7, 3, 8], "pieces": [12.0] * 6})
    shares = asked(trays, factors=FACTORS[:1], response=Response(name="cracked", scale="yes-no"), weights="pieces")
    assert (shares.n_bakes, shares.n_readings) == (6, 72)
    counts = asked(trays, factors=FACTORS[:1], response=Response(name="cracked", scale="count"), weights="pieces")
    assert (counts.n_bakes, counts.n_readings) == (6, 6)


def test_words_of_scores_speak_of_readings():
    table = tasted(7, assessors=3, effect=0.3)
    response = Response(name="crumb", scale="score", matters=0.5)
    question = Question(factors=FACTORS[:1], responses=(response,), kind="score")
    found = analyse(table, question)
    asked_for = [one for one in found.responses[0].next_bakes if one.why == "more bakes"]
    assert asked_for
    assert "more readings" in " ".join(say_next(one, question) for one in asked_for)
    assert "12 readings, not averaged" in say_model(found.responses[0], question)
