"""What are the tests, the coefficients and the checks of a blending model?"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analysis.blends.lines import change_by, model_row, row_at
from analysis.blends.terms import BlendDesign
from analysis.estimates import Coefficient, Test
from analysis.linear import design_checks, residual_checks
from analysis.linear.coding import Term, term_row
from analysis.linear.coefficients import parts_of
from analysis.linear.distributions import f_tail, t_tails
from analysis.linear.lack_of_fit import lack_of_fit
from analysis.linear.least_squares import explained
from analysis.linear.stratum import Model, Stratum
from analysis.linear.tables import all_tests
from analysis.questions import Question
from analysis.results import Check

Floats = NDArray[np.float64]

LINEAR = "linear blending"


def blend_tests(design: BlendDesign, model: Model) -> list[Test]:
    """Blocks and other factors, linear blending as one, then each blend of several after the terms it does not hold."""
    lines = dict(zip(model.terms, all_tests(model, 2), strict=True))
    beside = [line for term, line in lines.items() if not design.is_share(term) and not design.is_product(term)]
    joint = [line for term, line in lines.items() if design.is_share(term) and term.order > 1]
    strata = [stratum for stratum in model.strata if _singles(design, stratum)]
    linear = [
        _linear(design, stratum, LINEAR if stratum is strata[-1] else f"{LINEAR} between {stratum.name}")
        for stratum in strata
    ]
    return [*beside, *linear, *joint, *_products(design, model)]


def _products(design: BlendDesign, model: Model) -> list[Test]:
    """Does what a factor does depend on the blend? All products of one degree together."""
    found = []
    for stratum in model.strata:
        kinds: dict[tuple[tuple[int, ...], int], list[Term]] = {}
        for term in stratum.terms:
            if design.is_product(term):
                kinds.setdefault((design.beside_blend(term), len(design.in_blend(term))), []).append(term)
        for (beside, size), terms in kinds.items():
            higher = [t for t in stratum.terms if any(t.contains(term) for term in terms)]
            others = [term for term in stratum.terms if term not in terms and term not in higher]
            columns = np.hstack([stratum.fit.x[:, stratum.spans[term]] for term in terms])
            of = {1: LINEAR, 2: "blends of two"}[size]
            name = ":".join([of, *(model.variables[at].name for at in beside)])
            found.append(_line(stratum, name, explained(stratum.columns(others), columns, stratum.fit.y), columns))
    return found


def _line(stratum: Stratum, name: str, sum_sq: float, columns: Floats) -> Test:
    df, mean_sq, df_error = columns.shape[1], stratum.mean_sq, stratum.fit.df
    value = sum_sq / df / mean_sq if mean_sq else None
    return Test(
        term=name,
        df=df,
        sum_sq=sum_sq,
        mean_sq=sum_sq / df,
        df_error=float(df_error) if mean_sq else None,
        value=value,
        p=None if value is None else f_tail(value, df, df_error),
        stratum=stratum.name,
    )


def _singles(design: BlendDesign, stratum: Stratum) -> list[Term]:
    return [term for term in stratum.terms if design.is_share(term) and term.order == 1]


def _linear(design: BlendDesign, stratum: Stratum, name: str) -> Test:
    """All shares of a stratum together, averaged over what blending adds: against one mean for all blends."""
    singles = _singles(design, stratum)
    fixed = [term for term in stratum.terms if not design.is_share(term) and not design.is_product(term)]
    held = [part for term, part in stratum.finer.items() if design.is_share(term) and term.order > 1]
    readings = stratum.fit.y + sum(held, np.zeros(len(stratum.fit.y)))
    columns = np.hstack([stratum.fit.x[:, stratum.spans[term]] for term in singles])
    return _line(stratum, name, explained(stratum.columns(fixed), columns, readings), columns)


def scheffe_coefficients(design: BlendDesign, model: Model, confidence: float) -> list[Coefficient]:
    """A share's coefficient is the response predicted for that ingredient alone."""
    found = []
    for name, row, offset in _rows(design, model):
        contrast = model.contrast(row)
        low, high = contrast.interval(confidence)
        estimate = contrast.estimate + offset
        t = estimate / contrast.se if contrast.se else None
        found.append(
            Coefficient(
                term=name,
                estimate=estimate,
                se=contrast.se,
                low=None if low is None else low + offset,
                high=None if high is None else high + offset,
                df=contrast.df,
                t=t,
                p=None if t is None or contrast.df is None else t_tails(t, contrast.df),
            )
        )
    return found


def _rows(design: BlendDesign, model: Model) -> Iterator[tuple[str, Floats, float]]:
    """(name, row, constant that was taken off the readings and belongs to it)."""
    for at, name in enumerate(design.blends.names):
        yield name, row_at(design, model, np.eye(len(design.blends.names))[at]), model.offset
    with_products = {at for term in model.terms if design.is_product(term) for at in design.beside_blend(term)}
    for term in model.terms:
        if design.is_share(term) and term.order > 1:
            yield term.name, _only(model, term, np.ones(1)), 0.0
        elif not design.is_share(term) and not design.is_product(term) and term.members[0] not in with_products:
            for name, values in parts_of(model, term):
                yield name, _only(model, term, values), 0.0
    for at in sorted(with_products):
        yield from _product_rows(design, model, at)


def _product_rows(design: BlendDesign, model: Model, at: int) -> Iterator[tuple[str, Floats, float]]:
    """What a factor beside the blend does to each ingredient alone, then to each blend of two."""
    alone = model.find(at)
    assert alone is not None
    for label, values in parts_of(model, alone):
        none = 0 * values
        for share, name in enumerate(design.blends.names):
            blend = np.eye(len(design.blends.names))[share]
            yield f"{name}:{label}", change_by(design, model, at, none, values, blend), 0.0
        for term in model.terms:
            if design.beside_blend(term) == (at,) and len(design.in_blend(term)) > 1:
                joint = ":".join(model.variables[share].name for share in design.in_blend(term))
                yield f"{joint}:{label}", _only(model, term, values), 0.0


def _only(model: Model, wanted: Term, values: Floats) -> Floats:
    return model_row(
        model, lambda term: values if term == wanted else 0 * term_row(model.variables, term, {}), constant=0.0
    )


def blend_checks(
    design: BlendDesign, model: Model, question: Question, bakes: pd.DataFrame, raw: Floats, fitted: Floats
) -> list[Check]:
    """Design first, then the error, then the leftovers."""
    factors = [variable for variable in model.variables if not variable.block]
    order = bakes["order"].to_numpy(dtype=np.int64)
    whole = model.variables[: design.first] if design.ground.plots is None else model.variables
    found: list[Check | None] = [
        design_checks.check_unit(question, len(raw), factors),
        design_checks.check_evenness(factors),
        *_still(design),
        *design_checks.check_whole_plots(whole, design.ground, order),
        *_left_out(design),
        *_error(model),
        _alone(design),
        _lack_of_fit(design, model),
        residual_checks.check_spread(factors, raw, raw - fitted, residual_checks.bakes_stratum(model).fit.df),
        residual_checks.check_odd_bakes(model, design.ground.per_plot, [str(name) for name in bakes["bake"]]),
        residual_checks.check_order(model, order),
    ]
    return [check for check in found if check is not None]


def _still(design: BlendDesign) -> list[Check]:
    return [
        Check(check="constant", verdict="look here", facts={"factor": factor.name, "level": "the same share"})
        for factor in design.blends.still
    ]


def _left_out(design: BlendDesign) -> list[Check]:
    """Blends that were never baked are told beside what could not be told or judged."""
    never = tuple(term.name for term in design.selection.empty)
    found = [] if not never else [_dropped(never, "never blended")]
    return [*found, *(c for c in design_checks.selection_checks(design.selection, 3) if c.check != "empty cells")]


def _dropped(terms: tuple[str, ...], because: str) -> Check:
    facts = {"terms": terms, "order": 2, "because": because}
    return Check(check="dropped terms", verdict="look here", facts=facts)


def _error(model: Model) -> list[Check | None]:
    if any(stratum.noiseless for stratum in model.strata):
        return [Check(check="no scatter", verdict="do not rely", facts={})]
    return [design_checks.check_error_df(model)]


def _alone(design: BlendDesign) -> Check:
    """Was each ingredient baked alone, as its coefficient foretells it?"""
    highest = design.blends.parts.max(axis=0)
    beyond = tuple(name for name, part in zip(design.blends.names, highest, strict=True) if part < 1 - 1e-9)
    return Check(check="alone not baked", verdict="fine", facts={"shares": beyond})


def _lack_of_fit(design: BlendDesign, model: Model) -> Check | None:
    """Between treatments (blends, and what else was set) against between bakes of one treatment, within blocks."""
    if len(model.strata) > 1:
        return None
    stratum = model.strata[0]
    others = [model.variables[at].codes[:, None] for at in design.others]
    settings = np.hstack([np.round(design.blends.parts, 9), *others])
    _, codes = np.unique(settings, axis=0, return_inverse=True)
    blocks = [variable.columns for variable in model.variables if variable.block]
    fixed = np.hstack([np.ones((len(codes), 0)), *blocks])
    return lack_of_fit(stratum.fit, codes.ravel().astype(np.int64), fixed, of="blending model")
