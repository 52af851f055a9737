"""What a plan promises is what the analysis finds: terms, strata, error degrees of freedom, aliases, half-widths.

Beside the cases of each kind through the command (tests/tracker/commands/test_each_kind.py): every kind
with other models than its own, single replicates, blocks, centre points and too few runs; and trials
that grew by additions.
"""

from dataclasses import replace
from itertools import product

import numpy as np
import pandas as pd
import pytest

from analysis.designs.extending import extend
from analysis.designs.further import Further
from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse
from analysis.engine import analyse
from analysis.questions import Factor, Question, Response

RISE = DesignResponse(name="rise", spread=1.0, matters=2.0)
PLAIN = (None, "main effects", "interactions", "quadratic")
BLENDS = (None, "mixture linear", "mixture quadratic", "mixture special cubic")


def amounts(names, **more):
    return tuple(DesignFactor(name=name, kind="amount", low=10, high=30, **more) for name in names)


def category(name, levels, **more):
    return (DesignFactor(name=name, kind="category", levels=tuple("pqrstuvw"[:levels]), **more),)


def shares(names, bounds=()):
    bounds = dict(zip(names, bounds, strict=False))
    return tuple(
        DesignFactor(
            name=name,
            kind="share",
            unit="%",
            of="flour",
            total=100,
            low=bounds.get(name, (None, None))[0],
            high=bounds.get(name, (None, None))[1],
        )
        for name in names
    )


HARD = {"hard_to_change": True}
A_DAY = {"block": "day"}
DESIGNS = {
    "2^3 twice": ("full factorial", amounts("abc"), {"levels": 2, "replicates": 2}),
    "2^4 once": ("full factorial", amounts("abcd"), {"levels": 2}),
    "3^2 once": ("full factorial", amounts("ab"), {"levels": 3}),
    "2^3 with centre in blocks": (
        "full factorial",
        amounts("abc"),
        {"levels": 2, "centre_points": 4, "block": "day", "block_size": 6},
    ),
    "2^3 in days of 16 and 8": (
        "full factorial",
        amounts("abc"),
        {"levels": 2, "replicates": 3, **A_DAY, "block_size": 16},
    ),
    "2^2 with centre in days of 10 and 5": (
        "full factorial",
        amounts("ab"),
        {"levels": 2, "replicates": 3, "centre_points": 3, **A_DAY, "block_size": 10},
    ),
    "three kinds in days of 9 and 6": (
        "complete blocks",
        category("k", 3),
        {"replicates": 5, **A_DAY, "block_size": 9},
    ),
    "two by three in days of 12, 12 and 6": (
        "full factorial",
        amounts("a") + category("k", 3),
        {"levels": 2, "replicates": 5, **A_DAY, "block_size": 12},
    ),
    "three doses by three levels": ("full factorial", amounts("a") + category("k", 3), {"levels": 3, "replicates": 2}),
    "two by three levels once": ("full factorial", category("k", 2) + category("l", 3), {}),
    "2^(6-2) once": ("fractional factorial", amounts("abcdef"), {"runs": 16}),
    "2^(6-2) with centre": ("fractional factorial", amounts("abcdef"), {"runs": 16, "centre_points": 4}),
    "2^(6-3)": ("fractional factorial", amounts("abcdef"), {"runs": 8}),
    **{f"12 runs of {k}": ("plackett-burman", amounts("abcdefghijk"[:k]), {"runs": 12}) for k in (5, 7, 9, 10, 11)},
    "12 runs of 7 twice": ("plackett-burman", amounts("abcdefg"), {"runs": 12, "replicates": 2}),
    "12 runs of 7 with centre": ("plackett-burman", amounts("abcdefg"), {"runs": 12, "centre_points": 3}),
    "8 runs of 7": ("plackett-burman", amounts("abcdefg"), {"runs": 8}),
    "three doses of 6": ("definitive screening", amounts("abcdef"), {"centre_points": 3}),
    "three doses of 4": ("definitive screening", amounts("abcd"), {}),
    "star": ("central composite", amounts("ab"), {"centre_points": 5}),
    "star in blocks": (
        "central composite",
        amounts("abc"),
        {"axial": "orthogonal", "centre_points": 6, "block": "day"},
    ),
    "star on half": ("central composite", amounts("abcde"), {"resolution": 5, "centre_points": 6}),
    "edges": ("box-behnken", amounts("abcd"), {"centre_points": 3, "block": "day"}),
    "shell": ("doehlert", amounts("abc"), {"centre_points": 4}),
    "blocks of three": ("incomplete blocks", category("k", 7), {"block": "day", "block_size": 3, "replicates": 3}),
    "square": ("latin square", category("k", 5), {"rows": "shelf", "columns": "turn"}),
    "square twice": ("latin square", category("k", 4), {"rows": "shelf", "columns": "turn", "replicates": 2}),
    "graeco": ("graeco-latin square", category("k", 5) + category("l", 5), {"rows": "shelf", "columns": "turn"}),
    "whole plots": ("split-plot", category("o", 2, **HARD) + category("k", 3), {"whole_plots": 8}),
    "whole plots in blocks": (
        "split-plot",
        amounts("o", **HARD) + amounts("k"),
        {"levels": 3, "block": "day", "replicates": 3},
    ),
    "strips": (
        "strip-plot",
        amounts("o", **HARD) + category("k", 3, **HARD),
        {"levels": 3, "rows": "batch", "columns": "load", "block": "day", "replicates": 3},
    ),
    "best": ("optimal", amounts("ab") + category("k", 2), {"runs": 18, "levels": 3, "starts": 10}),
    "best in plots": ("optimal", amounts("ab") + amounts("o", **HARD), {"runs": 24, "whole_plots": 8, "levels": 3}),
    "best under a limit": (
        "optimal",
        amounts("ab"),
        {"runs": 14, "levels": 3, "starts": 10, "constraints": ("a + b <= 45",)},
    ),
}
MIXTURES = {
    "lattice once": ("mixture lattice", shares("abc"), {"degree": 2}),
    "lattice twice": ("mixture lattice", shares("abcd"), {"degree": 2, "replicates": 2}),
    "fine lattice": ("mixture lattice", shares("abc"), {"degree": 3}),
    "centroid once": ("mixture centroid", shares("abc"), {}),
    "centroid in blocks": ("mixture centroid", shares("abc"), {"replicates": 2, "block": "day"}),
    "bounded": ("constrained mixture", shares("abc", [(20, 60), (10, 50), (10, 40)]), {"replicates": 2}),
    "beside a category": ("optimal", shares("abc") + category("k", 2), {"runs": 20, "starts": 10}),
    "in plots": (
        "optimal",
        shares("abc") + category("k", 2, **HARD),
        {"runs": 32, "whole_plots": 8, "starts": 10},
    ),
    "centroid of four": ("mixture centroid", shares("abcd"), {}),
    "beside an amount": ("mixture lattice", shares("abc") + amounts("t"), {"degree": 2, "levels": 2}),
}
CASES = [
    pytest.param(kind, factors, {**keys, "model": model}, id=f"{name}, {model}")
    for table, models in ((DESIGNS, PLAIN), (MIXTURES, BLENDS))
    for (name, (kind, factors, keys)), model in product(table.items(), models)
]


def baked(request, design, runs):
    """(table, question): what the trial's record would hand to the engine, with made-up readings."""
    names = [factor.name for factor in request.factors]
    table = pd.DataFrame({name: [run.settings[name] for run in runs] for name in names})
    for group in sorted({group for run in runs for group in run.groups}):
        table[group] = [run.groups.get(group, "1") for run in runs]  # what stood before the additions is stage 1
    table["bake"] = [run.code for run in runs]
    table["rise"] = np.random.Generator(np.random.PCG64(5)).normal(50, 1, len(table))
    crossed = design.crossed_groups
    return table, Question(
        factors=tuple(Factor(name=f.name, kind=f.kind, levels=f.levels) for f in request.factors),
        responses=(Response(name="rise", matters=2.0),),
        blocks=design.fixed_groups,
        group=() if crossed else design.error_groups,
        strips=design.error_groups if crossed else (),
        model=design.model,
        bake="bake",
    )


@pytest.mark.parametrize(("kind", "factors", "keys"), CASES)
def test_a_plan_is_read_back_as_it_was_promised(kind, factors, keys):
    request = DesignRequest(kind=kind, factors=factors, seed=7, responses=(RISE,), accept_few_df=True, **keys)
    plan = lay_out(request)
    _require_kept(request, plan.design, plan.runs)


ADDED = {
    "replicates": Further(way="replicates"),
    "centre points": Further(way="centre points", count=3),
    "star points": Further(way="axial runs", axial=1.5),
    "fold-over": Further(way="fold-over"),
    "best": Further(way="best", count=4),
}
GROWN = [
    *product(["2^4 once", "2^(6-2) once", "2^(6-3)", "2^3 twice", "12 runs of 7"], ADDED),
    ("12 runs of 11", "fold-over"),
    ("star", "centre points"),
    ("edges", "best"),
    ("whole plots", "replicates"),
    ("three doses of 6", "best"),
    ("best", "replicates"),
]


@pytest.mark.parametrize(("name", "way"), [case for case in GROWN if case != ("2^(6-2) once", "best")])
def test_a_trial_that_grew_is_read_back_as_it_was_promised(name, way, standing):
    kind, factors, keys = DESIGNS[name]
    request = DesignRequest(kind=kind, factors=factors, seed=7, responses=(RISE,), accept_few_df=True, **keys)
    plan = lay_out(request)
    further = ADDED[way] if (name, way) != ("2^(6-3)", "best") else Further(way="best", count=16)
    grown = extend(request, standing(plan), further)
    _require_kept(request, grown.design, [*plan.runs, *(each.run for each in grown.added)])


@pytest.mark.parametrize(
    ("beside", "keys", "needed"),
    [
        (category("k", 2), {"replicates": 2}, 2),
        (category("k", 3), {"replicates": 2}, 4),
        (amounts("t"), {"replicates": 2, "block": "day"}, 2),
    ],
)
def test_what_stands_beside_a_blend_is_asked_at_the_cost_that_the_plan_told(beside, keys, needed):
    request = DesignRequest(
        kind="mixture centroid", factors=(*shares("abc"), *beside), seed=7, responses=(RISE,), **keys
    )
    plan = lay_out(request)
    _require_kept(request, plan.design, plan.runs)
    (told,) = [words for words in plan.warnings if "same to every blend" in words]
    df = plan.design.judgement.df_error
    assert f"at least {needed} of the {df} degrees of freedom" in told
    table, question = baked(request, plan.design, plan.runs)
    as_planned = analyse(table, question).responses[0].family
    asked = analyse(table, replace(question, kind="mixture", model="mixture linear")).responses[0].family
    linear = analyse(table, replace(question, model="mixture linear")).responses[0].family
    assert not any(":" + beside[0].name in coefficient.term for coefficient in as_planned.coefficients)
    assert linear.residual.df - asked.residual.df == needed  # the products with the single shares
    assert analyse(table, replace(question, kind="mixture")).responses[0].family.residual.df <= df - needed


def test_too_few_runs_for_the_products_are_told_so():
    once = lay_out(
        DesignRequest(
            kind="mixture lattice", factors=(*shares("ab"), *category("k", 2)), seed=7, accept_few_df=True, degree=1
        )
    )
    assert any("cannot tell whether it does" in words for words in once.warnings)
    alone = lay_out(DesignRequest(kind="mixture lattice", factors=shares("abc"), seed=7, accept_few_df=True))
    assert not any("every blend" in words for words in alone.warnings)


def _require_kept(request, design, runs):
    factors = request.factors
    table, question = baked(request, design, runs)
    found = analyse(table, question).responses[0].family
    promised = design.judgement
    by_lenth = "Lenth" in promised.judged_by
    assert found.residual.df == promised.df_error
    assert any(effect.pse for effect in found.effects) == by_lenth

    single_shares = {factor.name for factor in factors if factor.kind == "share"}
    tests = {test.term: test for test in found.tests}
    terms = {term: stratum for stratum in promised.strata for term in stratum["terms"] if term not in single_shares}
    assert set(terms) <= set(tests)
    if not by_lenth:
        assert set(tests) - set(question.blocks) - {"linear blending", "curvature"} == set(terms)
        for term, stratum in terms.items():
            assert tests[term].stratum == stratum["group"], term
            assert _as_sure(tests[term].df_error or 0, stratum["df_error"], exact=found.model.estimation != "REML"), (
                term
            )

    chains = {frozenset(chain) for chain in found.aliases if any(term.count(":") < 2 for term in chain)}
    assert chains <= {frozenset(chain) for chain in design.aliases}
    _same_half_widths(found, promised, factors, by_lenth=by_lenth)


def _as_sure(found, promised, *, exact):
    """Where whole plots are not alike, Kenward and Roger's df are near the promised ones and need not be whole."""
    return found == promised if exact else 0.7 * promised <= found <= 1.2 * promised


def _same_half_widths(found, promised, factors, *, by_lenth):
    widths = promised.half_widths["rise"]
    if widths is None or by_lenth or len(promised.strata) > 1:
        return
    many = {factor.name for factor in factors if len(factor.levels) > 2}  # their comparisons are adjusted
    compared = 0
    for finding in found.evidence:
        term = ":".join(finding.variables) + ("^2" if finding.kind == "bend" else "")
        if finding.kind == "centre":  # how far the centre lies off the corners: a plan promises no width for it
            continue
        if finding.low is not None and not many & set(finding.variables):
            width = (finding.high - finding.low) / 2 / found.residual.sd
            assert width == pytest.approx(widths[term], rel=1e-6), term
            compared += 1
    assert compared or many
