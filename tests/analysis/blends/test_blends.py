"""Blends are read as a whole: shares have effects along a line, and the model never invents a number."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from analysis.blends.family import blend_model
from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse
from analysis.engine import analyse
from analysis.errors import NotPossible, TrialDataError
from analysis.linear.finite import numbers
from analysis.questions import Factor, Question, Response
from analysis.words import say_check, say_finding

RISE = Response(name="rise", unit="mm", matters=2.0)
NAMES = ("wheat", "rye", "oat")
PLAIN = "mixture quadratic"  # as a plan names it: what is beside the blend adds to it and no more
FACTORS = tuple(Factor(name=name, kind="share", unit="%") for name in NAMES)


def question(**more):
    return Question(**{"factors": FACTORS, "responses": (RISE,), **more})


def bakes(blends, rise, **columns):
    frame = pd.DataFrame(blends, columns=list(NAMES)).astype(float).assign(rise=rise, **columns)
    return frame.assign(bake=[str(i + 1) for i in range(len(frame))], order=range(len(frame)), readings=1)


def lattice(replicates=2):
    rows = [(100, 0, 0), (0, 100, 0), (0, 0, 100), (50, 50, 0), (50, 0, 50), (0, 50, 50)]
    return np.array(rows * replicates, dtype=float)


def truth(blends):
    x = blends / blends.sum(axis=1, keepdims=True)
    return 40 * x[:, 0] + 30 * x[:, 1] + 35 * x[:, 2] + 12 * x[:, 0] * x[:, 1]


def test_effects_run_along_the_line_that_keeps_the_others_in_proportion():
    blends = lattice()
    noise = np.repeat([0.1, -0.1], 6)  # the second bake of each blend misses the other way
    found = blend_model(bakes(blends, truth(blends) + noise), RISE, question())
    wheat = next(f for f in found.evidence if f.kind == "effect" and f.variables == ("wheat",))
    # From the even blend of rye and oat to wheat alone: 40 - (30 + 35) / 2.
    assert wheat.size == pytest.approx(7.5, abs=0.3)
    assert wheat.matters == "yes"
    pair = next(f for f in found.evidence if f.variables == ("wheat", "rye"))
    assert pair.size == pytest.approx(12 / 4, abs=0.3)


def test_the_half_widths_a_plan_promises_are_those_of_the_analysis():
    factors = tuple(DesignFactor(name=n, kind="share", unit="%", of="flour", total=100) for n in NAMES)
    rise = DesignResponse(name="rise", spread=1.0)
    plan = lay_out(
        DesignRequest(kind="mixture lattice", factors=factors, seed=1, responses=(rise,), replicates=3, degree=2)
    )
    blends = np.array([[run.settings[name] for name in NAMES] for run in plan.runs])
    rng = np.random.Generator(np.random.PCG64(4))
    found = blend_model(bakes(blends, truth(blends) + rng.normal(0, 1, len(blends))), RISE, question())
    assert found.residual.df == plan.design.judgement.df_error
    for finding in found.evidence:
        promised = plan.design.judgement.half_widths["rise"][":".join(finding.variables)]
        assert (finding.high - finding.low) / 2 == pytest.approx(promised * found.residual.sd, rel=1e-9)


def test_intervals_cover_the_truth():
    blends = lattice(3)
    rng = np.random.Generator(np.random.PCG64(9))
    covered = 0
    for _ in range(300):
        found = blend_model(bakes(blends, truth(blends) + rng.normal(0, 2, len(blends))), RISE, question())
        wheat = next(f for f in found.evidence if f.variables == ("wheat",))
        covered += wheat.low <= 7.5 <= wheat.high
    assert abs(covered / 300 - 0.95) < 3 * (0.95 * 0.05 / 300) ** 0.5


def test_blocks_and_other_factors_stand_beside_the_blend():
    blends = lattice(4)
    day = np.repeat(["1", "2"], 12)
    oven = np.tile(np.repeat(["hot", "mild"], 6), 2)
    rise = truth(blends) + 3.0 * (day == "2") - 4.0 * (oven == "mild") + np.tile([0.2, -0.2, 0.1, -0.1], 6)
    frame = bakes(blends, rise, day=pd.Categorical(day), oven=pd.Categorical(oven))
    asked = question(
        factors=(*FACTORS, Factor(name="oven", kind="category", levels=("hot", "mild"))), blocks=("day",), model=PLAIN
    )
    found = blend_model(frame, RISE, asked)
    assert found.residual.df == 24 - 6 - 1 - 1
    oven_finding = next(f for f in found.evidence if f.variables == ("oven",))
    assert oven_finding.size == pytest.approx(-4, abs=0.2)
    assert {"day", "oven"} <= {test.term for test in found.tests}


def test_words_name_the_share_and_the_blend():
    blends = lattice()
    noise = np.repeat([0.1, -0.1], 6)  # the second bake of each blend misses the other way
    answer = analyse(bakes(blends, truth(blends) + noise), question(bake="bake"), source="made up")
    said = [say_finding(f, RISE, 0.95) for f in answer.responses[0].findings]
    assert any("wheat" in words and "raised" in words for words in said)
    assert any("even blend of wheat and rye gives more rise" in words for words in said)


@pytest.mark.parametrize(
    ("blends", "more", "error", "match"),
    [
        (lattice() + np.eye(12, 3) * 5, {}, TrialDataError, "add up to"),
        (np.tile([50.0, 25.0, 25.0], (8, 1)), {}, NotPossible, "same blend"),
        (lattice(1)[:3], {}, NotPossible, "too few"),
        (lattice(), {"strips": ("day", "bake")}, NotPossible, "strips"),
        (np.array([[a, a, 100 - 2 * a] for a in (10, 20, 30, 40)] * 2), {}, NotPossible, "moved together"),
    ],
)
def test_what_is_no_blend_says_why(blends, more, error, match):
    frame = bakes(blends, np.arange(len(blends)) * 1.0, day="1")
    with pytest.raises(error, match=match):
        blend_model(frame, RISE, question(**more))


@pytest.mark.parametrize("more", [{"kind": "factors"}, {"kind": "dose"}, {"model": "quadratic"}, {"kind": "surface"}])
def test_a_share_is_refused_an_analysis_of_its_own(more):
    blends = lattice()
    with pytest.raises(NotPossible, match="share"):
        analyse(bakes(blends, truth(blends)), question(bake="bake", **more), source="made up")


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 10_000), st.integers(4, 20), st.sampled_from([None, "mixture linear", "mixture special cubic"]))
def test_a_blend_never_gives_what_is_no_number(seed, count, model):
    rng = np.random.Generator(np.random.PCG64(seed))
    blends = 100 * rng.dirichlet((1, 1, 1), count)
    if seed % 3 == 0:
        blends = np.round(blends / 25) * 25
        blends[:, 2] = 100 - blends[:, :2].sum(axis=1)
    try:
        found = blend_model(bakes(blends, np.round(rng.normal(50, 3, count), seed % 3)), RISE, question(model=model))
    except (NotPossible, TrialDataError) as refused:
        told = [float(len(refused.try_this))]
    else:
        told = [value for _, value in numbers(found)]
    assert told
    assert all(np.isfinite(value) for value in told)


def checks(found):
    return {check.check: check for check in found.checks}


def test_too_few_bakes_say_how_many_are_missing():
    with pytest.raises(NotPossible) as caught:
        blend_model(bakes(lattice(1)[:3], np.arange(3.0)), RISE, question())
    assert "at least 1 more" in caught.value.try_this


def test_blends_of_two_are_given_up_whole_when_no_error_is_left():
    blends = lattice(1)
    found = blend_model(bakes(blends, truth(blends)), RISE, question())
    assert found.model.terms == NAMES
    assert found.residual.df == 3
    assert checks(found)["dropped terms"].facts["terms"] == ("wheat:rye", "wheat:oat", "rye:oat")


def test_blends_that_are_mixed_with_each_other_are_left_out_whole():
    # Five blends tell three shares and two more things: not which of three pairs.
    blends = np.repeat(100 * np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1], [0.5, 0.3, 0.2], [0.2, 0.3, 0.5]]), 3, axis=0)
    found = blend_model(bakes(blends, truth(blends) + np.tile([0.1, 0, -0.1], 5)), RISE, question())
    assert found.model.terms == NAMES
    assert checks(found)["dropped terms"].facts["because"] == "partly aliased"


def test_a_blend_that_nobody_baked_is_said_and_the_others_stay():
    blends = np.array([(100, 0, 0), (0, 100, 0), (0, 0, 100), (50, 50, 0), (50, 0, 50)] * 2, dtype=float)
    found = blend_model(bakes(blends, truth(blends) + np.repeat([0.1, -0.1], 5)), RISE, question())
    assert found.model.terms == (*NAMES, "wheat:rye", "wheat:oat")
    dropped = next(check for check in found.checks if check.facts.get("because") == "never blended")
    assert dropped.facts["terms"] == ("rye:oat",)
    assert "no bake blended them" in say_check(dropped)


def test_ingredients_never_baked_alone_are_named():
    blends = lattice() * 0.6 + np.array([20.0, 10.0, 10.0])
    noise = np.repeat([0.1, -0.1], 6)
    found = blend_model(bakes(blends, truth(blends) + noise), RISE, question())
    assert checks(found)["alone not baked"].facts["shares"] == NAMES
    assert (
        checks(blend_model(bakes(lattice(), truth(lattice()) + noise), RISE, question()))["alone not baked"].facts[
            "shares"
        ]
        == ()
    )


def test_a_share_that_never_changed_is_no_part_of_the_blend():
    blends = np.hstack([lattice() * 0.9, np.full((12, 1), 10.0)])
    frame = bakes(blends[:, :3], truth(lattice()) + np.repeat([0.1, -0.1], 6), salt=10.0)
    factors = (*FACTORS, Factor(name="salt", kind="share", unit="%"))
    found = blend_model(frame, RISE, question(factors=factors))
    assert "salt" not in found.model.terms
    assert checks(found)["constant"].facts["factor"] == "salt"
    wheat = next(f for f in found.evidence if f.kind == "effect" and f.variables == ("wheat",))
    assert (wheat.facts["from"], wheat.facts["to"]) == ("0", "90")


def test_levels_of_a_category_beside_the_blend_are_all_compared():
    blends = lattice(6)
    oven = np.repeat(["hot", "mild", "slow"], 12)
    rise = truth(blends) - 4.0 * (oven == "mild") + np.tile([0.2, -0.2, 0.1, -0.1], 9)
    frame = bakes(blends, rise, oven=pd.Categorical(oven))
    asked = question(factors=(*FACTORS, Factor(name="oven", kind="category", levels=("hot", "mild", "slow"))))
    found = blend_model(frame, RISE, asked)
    finding = next(f for f in found.evidence if f.variables == ("oven",))
    assert {finding.facts["from"], finding.facts["to"]} & {"mild"}
    assert abs(finding.size) == pytest.approx(4, abs=0.3)
    assert [mean.level for mean in found.means] == ["hot", "mild", "slow"]
    assert len(found.comparisons) == 3


def in_plots(rng, sd=(2.0, 1.0), plots=8):
    """Each oven load (whole plot) takes a lattice of blends; the oven is set once for it."""
    rows = lattice(1)
    blends = np.vstack([rows] * plots)
    load = np.repeat([f"load {i}" for i in range(plots)], len(rows))
    oven = np.repeat(["hot", "mild"] * (plots // 2), len(rows))
    shared = np.repeat(rng.normal(0, sd[0], plots), len(rows))
    rise = truth(blends) - 3.0 * (oven == "mild") + shared + rng.normal(0, sd[1], len(blends))
    return bakes(blends, rise, load=load, oven=pd.Categorical(oven))


IN_PLOTS = question(
    factors=(*FACTORS, Factor(name="oven", kind="category", levels=("hot", "mild"))), group=("load",), model=PLAIN
)


def test_blends_within_whole_plots_and_the_oven_between_them():
    found = blend_model(in_plots(np.random.Generator(np.random.PCG64(3))), RISE, IN_PLOTS)
    judged = {test.term: (test.stratum, test.df, test.df_error) for test in found.tests}
    # 8 loads less the mean and the oven; 48 bakes less 8 loads, 2 for linear blending and 3 pairs.
    assert judged["oven"] == ("load", 1, 6)
    assert judged["linear blending"] == ("bakes", 2, 35)
    assert judged["wheat:rye"] == ("bakes", 1, 35)


def test_a_blend_mixed_once_for_several_bakes_is_judged_between_batches():
    rng = np.random.Generator(np.random.PCG64(5))
    rows = lattice(2)
    blends, load = np.repeat(rows, 2, axis=0), np.repeat([f"dough {i}" for i in range(12)], 2)
    oven = np.tile(["hot", "mild"], 12)
    frame = bakes(blends, truth(blends) + rng.normal(0, 1, 24), load=load, oven=pd.Categorical(oven))
    judged = {t.term: (t.stratum, t.df, t.df_error) for t in blend_model(frame, RISE, IN_PLOTS).tests}
    assert judged["linear blending"] == ("load", 2, 6)
    assert judged["wheat:oat"] == ("load", 1, 6)
    assert judged["oven"] == ("bakes", 1, 11)


def test_intervals_in_whole_plots_cover_the_truth():
    rng = np.random.Generator(np.random.PCG64(14))
    truths, covered = {("wheat",): 7.5, ("oven",): -3.0, ("wheat", "rye"): 3.0}, dict.fromkeys(range(3), 0)
    for _ in range(200):
        found = {f.variables: f for f in blend_model(in_plots(rng), RISE, IN_PLOTS).evidence}
        for at, (name, size) in enumerate(truths.items()):
            covered[at] += found[name].low <= size <= found[name].high
    assert all(abs(count / 200 - 0.95) < 3 * (0.95 * 0.05 / 200) ** 0.5 for count in covered.values()), covered


def test_blends_that_all_gave_the_same_tell_nothing():
    found = blend_model(bakes(lattice(), np.full(12, 40.0)), RISE, question())
    assert {finding.kind for finding in found.evidence} == {"cannot tell"}
    assert checks(found)["constant"].verdict == "do not rely"
    assert found.residual is None
