"""Which answers are pages and pictures tested on without any fitting?

The numbers hang together (fitted + residual = observed, low < size < high), but nothing
here was baked and nothing was estimated.
"""

from __future__ import annotations

import math
from itertools import combinations, product

import pandas as pd

from analysis.dose_results import Candidate, Curve, CurvePoint, DosePart, LackOfFit, Optimum, Recommended
from analysis.estimates import Coefficient, Effect, Interval, Mean, Residual, Test
from analysis.questions import Factor, Question, Response
from analysis.results import (
    Analysis,
    BakePoint,
    Check,
    FamilyResult,
    Finding,
    LeftOut,
    ModelNote,
    NextBakes,
    ResponseResult,
)

RISE = Response(name="rise height", unit="mm", goal="maximise", matters=3.0, plausible=(10, 120))
SCORE = Response(name="crumb score", scale="score", goal="maximise", matters=1.0, anchors=("gummy", "fair", "fine"))
ACIDS = ("lemon juice", "yogurt", "cream of tartar")


def noise(i: int, size: float) -> float:
    """A fixed scatter of about ``size``: the golden-ratio sequence, no chance in it."""
    return size * 2 * ((i * 0.6180339887498949 + 0.31) % 1.0 - 0.5)


def answer(question: Question, *results: ResponseResult, left_out: tuple[LeftOut, ...] = ()) -> Analysis:
    ranked = tuple(f for result in results for f in result.findings)
    used = results[0].n_readings
    return Analysis(
        question=question,
        source="by hand",
        rows_read=used + len(left_out),
        rows_used=used,
        left_out=left_out,
        responses=results,
        findings=ranked,
    )


def result(response: Response, family: FamilyResult, next_bakes: tuple[NextBakes, ...] = ()) -> ResponseResult:
    ranked = tuple(
        Finding(**{**finding.__dict__, "rank": place}) for place, finding in enumerate(family.evidence, start=1)
    )
    return ResponseResult(
        response=response,
        n_bakes=len(family.points),
        n_readings=2 * len(family.points),
        family=family,
        findings=ranked,
        next_bakes=next_bakes,
        checks=family.checks,
    )


def found(
    kind: str, response: Response, variables: tuple[str, ...], size: float | None, half: float | None, **more
) -> Finding:
    ends = (None, None) if half is None or size is None else (size - half, size + half)
    more = {"direction": "up", "matters": "unsure", "unit": response.unit, **more}
    return Finding(kind=kind, response=response.name, variables=variables, size=size, low=ends[0], high=ends[1], **more)


def height(dose: float, acid: int) -> float:
    return 62 + (0.0, 2.4, -1.0)[acid] - 8.0 * (dose - (1.7, 1.5, 1.85)[acid]) ** 2


def dose_answer(shift: float = 0.0) -> Analysis:
    """Soda amount with one curve for each of three acid sources, over two bake days."""
    doses = (0.5, 1.0, 1.5, 2.0, 2.5)
    points, curves = [], []
    for i, (day, dose, acid) in enumerate(product((1, 2), doses, range(3))):
        fitted = height(dose, acid) + (1.4 if day == 2 else -1.4)
        points.append(
            BakePoint(
                bake=f"B{i + 1:02d}",
                order=(i * 7) % 30 + 1,
                settings={"soda": dose, "acid source": ACIDS[acid]},
                block=f"day {day}",
                observed=fitted + noise(i, 1.8),
                fitted=fitted,
                residual=noise(i, 1.8),
                readings=2,
            )
        )
    grid = [0.5 + 0.05 * i for i in range(41)]
    for acid, name in enumerate(ACIDS):
        best = (1.7, 1.5, 1.85)[acid] + shift
        optimum = Optimum(
            dose=best,
            low=best - 0.14,
            high=best + 0.17,
            response=height(best, acid),
            method="profile",
            response_low=height(best, acid) - 1,
            response_high=height(best, acid) + 1,
        )
        good = Recommended(
            dose=best - 0.61,
            low=best - 0.7,
            high=best - 0.5,
            response=height(best, acid) - 3,
            as_good_to=best + 0.61,
            within=3.0,
        )
        band = [
            CurvePoint(
                dose=d,
                mean=height(d, acid),
                low=height(d, acid) - 1 - abs(d - 1.5),
                high=height(d, acid) + 1 + abs(d - 1.5),
            )
            for d in grid
        ]
        curves.append(
            Curve(
                level=name,
                parameters={"peak": Interval(estimate=62.0, se=0.5, low=61.0, high=63.0)},
                optimum=optimum,
                recommended=good,
                effective=(),
                points=tuple(band),
            )
        )
    shapes = (("quadratic", 61.2, 0.93), ("quadratic-plateau", 66.3, 0.07), ("straight line", 120.0, 0.0))
    part = DosePart(
        dose="soda",
        by="acid source",
        shape="quadratic",
        curves=tuple(curves),
        candidates=tuple(Candidate(shape=s, aicc=a, weight=w, parameters={}, rss=40.0, df=20) for s, a, w in shapes),
        lack_of_fit=LackOfFit(df=6, df_error=14, sum_sq=5.2, value=0.7, p=0.65),
    )
    best = curves[0].optimum
    assert best is not None
    evidence = (
        found(
            "best dose",
            RISE,
            ("soda",),
            best.dose,
            0.15,
            direction="hump",
            matters="yes",
            unit="% flour",
            facts={"factor_unit": "% flour", "level": ACIDS[0]},
        ),
        found(
            "effect",
            RISE,
            ("soda",),
            6.6 + shift,
            2.1,
            matters="yes",
            p=0.0002,
            facts={"factor_kind": "amount", "factor_unit": "% flour", "from": 0.5, "to": 2.5},
        ),
        found("curves differ", RISE, ("soda", "acid source"), 4.9, 2.4, matters="unsure", direction="mixed", p=0.012),
        found(
            "effect",
            RISE,
            ("acid source",),
            2.3,
            1.9,
            matters="unsure",
            p=0.02,
            facts={"factor_kind": "category", "from": "cream of tartar", "to": "yogurt", "method": "Tukey-Kramer"},
        ),
    )
    family = FamilyResult(
        model=ModelNote(kind="dose", terms=("bake day", "soda", "acid source"), estimation="nonlinear least squares"),
        residual=Residual(df=20, sum_sq=38.0, mean_sq=1.9, sd=1.38, r_squared=0.94),
        tests=(Test(term="soda", df=2, df_error=20, sum_sq=410.0, mean_sq=205.0, value=107.9, p=1e-9),),
        dose=part,
        evidence=evidence,
        points=tuple(points),
        checks=(Check(check="leading digits", verdict="look here", facts={"digits": 3, "spread": 1.8}),),
    )
    question = Question(
        factors=(
            Factor(name="soda", kind="amount", unit="% flour"),
            Factor(name="acid source", kind="category", levels=ACIDS),
        ),
        responses=(RISE,),
        kind="dose",
        dose="soda",
        by="acid source",
        blocks=("bake day",),
        bake="bake",
        seed=20261125,
    )
    out = (
        LeftOut(row=17, why="failed: the tin tipped over"),
        LeftOut(row=18, why="no reading", response="rise height"),
    )
    return answer(question, result(RISE, family), left_out=out)


def screening_answer(powder: float = 4.2) -> Analysis:
    """Five variables at two levels in sixteen bakes, unreplicated: Lenth's margins only."""
    names = ("powder", "sugar", "mixing time", "rest time", "oven temperature")
    units = ("% flour", "% flour", "min", "min", "°C")
    ranges = ((1.0, 2.5), (45, 65), (2, 5), (5, 45), (175, 200))
    real = {("powder",): powder, ("oven temperature",): -1.9, ("powder", "rest time"): 1.4}
    terms = [(n,) for n in names] + list(combinations(names, 2))
    sizes = {term: real.get(term, 0.0) + noise(i, 0.5) for i, term in enumerate(terms)}
    effects = tuple(
        Effect(term=":".join(t), effect=s, low=s - 0.9, high=s + 0.9, pse=0.35, margin=0.9, simultaneous_margin=1.82)
        for t, s in sizes.items()
    )
    response = Response(name="rise height", unit="mm", goal="maximise", matters=1.0)
    evidence = []
    for term in sorted(terms, key=lambda t: -abs(sizes[t])):
        place = names.index(term[0])
        facts = {
            "factor_kind": "amount",
            "factor_unit": units[place],
            "from": ranges[place][0],
            "to": ranges[place][1],
            "method": "Lenth",
        }
        if len(term) == 2:
            facts = {
                "of": term[0],
                "of_unit": units[place],
                "from": ranges[place][0],
                "to": ranges[place][1],
                "method": "Lenth",
                "by": term[1],
                "by_from": "low",
                "by_to": "high",
                "effect_at_from": 3.0,
                "effect_at_to": 4.0,
            }
        matters = "yes" if abs(sizes[term]) > 1.9 else "unsure"
        evidence.append(
            found(
                "effect" if len(term) == 1 else "interaction",
                response,
                term,
                sizes[term],
                0.9,
                matters=matters,
                facts=facts,
            )
        )
    points = []
    for i in range(16):
        signs = [1 if i >> k & 1 else -1 for k in range(4)]
        signs.append(math.prod(signs))
        settings = {n: float(r[s > 0]) for n, r, s in zip(names, ranges, signs, strict=True)}
        value = 14 + sum(sizes[(n,)] / 2 * s for n, s in zip(names, signs, strict=True))
        points.append(
            BakePoint(
                bake=f"C{i + 1:02d}",
                order=i + 1,
                settings=settings,
                block=None,
                observed=value,
                fitted=value,
                residual=0.0,
                readings=3,
            )
        )
    family = FamilyResult(
        model=ModelNote(kind="factors", terms=tuple(e.term for e in effects), estimation="least squares, saturated"),
        effects=effects,
        evidence=tuple(evidence),
        points=tuple(points),
        reasons={"tests": "no error degrees of freedom"},
        coefficients=(Coefficient(term="powder", estimate=powder / 2),),
        aliases=(("powder:sugar", "mixing time:rest time:oven temperature"),),
    )
    factors = tuple(Factor(name=n, kind="amount", unit=u) for n, u in zip(names, units, strict=True))
    return answer(Question(factors=factors, responses=(response,)), result(response, family))


def factorial_answer(
    gain: float = 5.0, names: tuple[str, ...] = ("by hand", "whisk", "paddle"), replicates: int = 2
) -> Analysis:
    """Powder amount by way of mixing, replicated over two days, with an interaction; two responses."""
    powders = (1.0, 2.0, 3.0)
    slope = {name: gain + 2.5 * i for i, name in enumerate(names)}
    points = []
    for i, (day, powder, name) in enumerate(product(range(1, replicates + 1), powders, names)):
        fitted = 30 + slope[name] * powder + (0.8 if day == 2 else 0.0)
        points.append(
            BakePoint(
                bake=f"D{i + 1:02d}",
                order=(i * 5) % (9 * replicates) + 1,
                settings={"powder": powder, "mixing": name},
                block=f"day {day}",
                observed=fitted + noise(i, 2.0),
                fitted=fitted,
                residual=noise(i, 2.0),
                readings=2,
            )
        )
    means = [
        Mean(
            factor="powder",
            level=f"{p:g}",
            mean=30 + sum(slope.values()) / len(slope) * p,
            se=0.8,
            low=28.3 + sum(slope.values()) / len(slope) * p,
            high=31.7 + sum(slope.values()) / len(slope) * p,
            df=8,
        )
        for p in powders
    ]
    means += [
        Mean(
            factor="mixing",
            level=n,
            mean=30 + 2 * slope[n],
            se=0.8,
            low=28.3 + 2 * slope[n],
            high=31.7 + 2 * slope[n],
            df=8,
            letters="ab"[i % 2],
        )
        for i, n in enumerate(names)
    ]
    means += [
        Mean(
            factor="powder",
            level=f"{p:g}",
            mean=30 + slope[n] * p,
            se=1.2,
            low=27.5 + slope[n] * p,
            high=32.5 + slope[n] * p,
            df=8,
            at={"mixing": n},
        )
        for n in names
        for p in powders
    ]
    steps = {"factor_kind": "amount", "factor_unit": "% flour", "from": 1.0, "to": 3.0}
    change = 2 * (slope[names[-1]] - slope[names[0]])
    evidence = (
        found(
            "effect", RISE, ("powder",), 2 * sum(slope.values()) / len(slope), 2.2, matters="yes", p=1e-6, facts=steps
        ),
        found(
            "interaction",
            RISE,
            ("powder", "mixing"),
            change,
            4.1,
            matters="yes" if change > 7.1 else "unsure",
            p=0.004,
            facts={
                "of": "powder",
                "of_unit": "% flour",
                "from": 1.0,
                "to": 3.0,
                "by": "mixing",
                "by_from": names[0],
                "by_to": names[-1],
                "effect_at_from": 2 * slope[names[0]],
                "effect_at_to": 2 * slope[names[-1]],
            },
        ),
        found(
            "effect",
            RISE,
            ("mixing",),
            2 * (slope[names[-1]] - slope[names[0]]),
            2.9,
            matters="yes",
            p=0.001,
            facts={"factor_kind": "category", "from": names[0], "to": names[-1], "method": "Tukey-Kramer"},
        ),
    )
    family = FamilyResult(
        model=ModelNote(
            kind="factors",
            terms=("day", "powder", "mixing", "powder:mixing"),
            sums_of_squares="type 2",
            coding="sum to zero",
        ),
        tests=(
            Test(term="powder", df=2, df_error=8, sum_sq=900.0, mean_sq=450.0, value=120.0, p=1e-6),
            Test(term="mixing", df=2, df_error=8, sum_sq=210.0, mean_sq=105.0, value=28.0, p=0.0003),
            Test(term="powder:mixing", df=4, df_error=8, sum_sq=95.0, mean_sq=23.8, value=6.3, p=0.014),
        ),
        residual=Residual(df=8, sum_sq=30.0, mean_sq=3.75, sd=1.94, r_squared=0.97),
        coefficients=(
            Coefficient(term="powder[1]", estimate=-7.5, se=0.6, low=-8.9, high=-6.1, df=8, t=-12.5, p=1e-6),
        ),
        means=tuple(means),
        evidence=evidence,
        points=tuple(points),
    )
    score_points = tuple(BakePoint(**{**p.__dict__, "observed": 2.0, "fitted": 2.0, "residual": 0.0}) for p in points)
    score = FamilyResult(
        model=ModelNote(kind="factors", terms=("powder", "mixing")),
        points=score_points,
        evidence=(
            found(
                "cannot tell",
                SCORE,
                ("powder", "mixing"),
                None,
                None,
                direction="none",
                facts={"why": "every bake scored the same"},
            ),
        ),
        reasons={"tests": "constant"},
    )
    factors = (
        Factor(name="powder", kind="amount", unit="% flour"),
        Factor(name="mixing", kind="category", levels=names),
    )
    question = Question(factors=factors, responses=(RISE, SCORE), blocks=("day",))
    return answer(question, result(RISE, family), result(SCORE, score))


def taste_notes() -> pd.DataFrame:
    rows = [
        (f"soda {dose}", tags, words)
        for dose, tags, words in (
            ("0.5", ["gummy"], "wet streak in the middle"),
            ("0.5", ["gummy", "sour"], "tart, pleasant"),
            ("1.5", ["fine"], "even all through"),
            ("1.5", ["fine", "tender"], "small bubbles"),
            ("1.5", [], "nothing to say"),
            ("2.5", ["soapy"], "like soap"),
            ("2.5", ["soapy", "coarse"], "bitter; yellow crumb"),
            ("2.5", ["coarse"], "big holes, dry"),
        )
    ]
    return pd.DataFrame(rows, columns=["treatment", "tags", "words"])
