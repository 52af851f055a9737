"""How is a check of the fit said: scatter, drift, shape, and what the model could not carry?"""

from __future__ import annotations

from collections.abc import Callable

from analysis.words.facts import Facts, listed, listed_terms, said_p
from analysis.words.finding_parts import say_term
from analysis.words.numbers import say_count, say_fixed, say_number, say_p, say_share, say_signed


def _spread(facts: Facts, fine: bool) -> str:
    between = facts.get("between", "treatments")
    groups = "treatments" if between == "treatments" else f"levels of {between}"
    if facts.get("with") == "height" or between == "fitted":
        groups = "low and high fitted values"
    if facts.get("allowed"):
        return f"the scatter is not equally wide for all {groups}{said_p(facts)}; the intervals here allow for that."
    if fine:
        return f"the scatter is about as wide between {groups} as one scatter for all would give{said_p(facts)}."
    return (
        f"the scatter is not equally wide for all {groups}{said_p(facts)}. Intervals are too short where bakes scatter "
        "widely and too long where they do not."
    )


def _odd_bakes(facts: Facts, fine: bool) -> str:
    odd = facts.get("bakes", ())
    if fine or not odd:
        return "no bake lies further from the fitted values than its fellows would lead one to expect."
    what = "bake" if len(odd) == 1 else "bakes"
    hidden = facts.get("masked", ())
    hid = f" ({listed(hidden)} only showed once the others were set aside)" if hidden and len(odd) > 1 else ""
    return (
        f"{what} {listed(odd)} {'lies' if len(odd) == 1 else 'lie'} far from the fitted values{hid}. Look at the bench "
        f"sheet; leave a bake out only for a reason found there.{_moves(facts)}"
    )


def _moves(facts: Facts) -> str:
    """``moves``: how far fitted values go when odd bakes weigh less; None when that could not be worked out."""
    moves = facts.get("moves")
    if moves is None:
        return ""
    return f" With odd bakes weighed down, no fitted value moves by more than {say_number(moves)}."


def _order(facts: Facts, fine: bool) -> str:
    if facts.get("tested") is False:
        return (
            "the rows stand in the order of the settings, so a drift over the order of baking cannot be seen."
            if fine
            else "the order of baking went along with the settings, so a drift cannot be told from their effects."
        )
    if fine:
        return f"no drift over the order of baking stands out from the scatter{said_p(facts)}."
    drift = facts.get("drift")
    block = f" of one {facts['within']}" if facts.get("within") else ""
    size = "" if drift is None else f", by {say_signed(drift)} from the first to the last bake{block}"
    return (
        f"the residuals drift along the order of baking{size}{said_p(facts)}. Oven, dough or reader may have changed "
        "through the day; bake in random order and in blocks."
    )


def _lack_of_fit(facts: Facts, fine: bool) -> str:
    if facts.get("of"):
        return _surface_missed(facts, str(facts["of"]), fine)
    if facts.get("tested") is False or (fine and facts.get("p") is None):
        return "without replicate bakes of the same dose, the shape of the curve cannot be checked against pure error."
    if fine:
        return f"the bakes scatter around the curve about as much as replicate bakes do{said_p(facts)}."
    return (
        f"the bakes lie further from the curve than replicate bakes lie from each other{said_p(facts)}: the shape "
        "does not follow the response well."
    )


def _surface_missed(facts: Facts, model: str, fine: bool) -> str:
    """``of``: "surface" or "blending model"; a ``df`` of 0 leaves the model nothing to miss."""
    if facts.get("tested") is False:
        why = "it passes through every treatment" if not facts.get("df") else "no treatment was baked twice"
        return f"whether the bakes follow the {model} cannot be checked, as {why}."
    if fine:
        return f"the bakes scatter around the {model} about as much as bakes of one treatment do{said_p(facts)}."
    if facts.get("order") == 1:
        return (
            f"the treatments lie further from the {model} than bakes of one treatment lie from each other"
            f"{said_p(facts)}. As was asked, each factor was fitted by itself: how the effect of one depends on "
            "another, or bends, stays hidden, and each effect is an average over the rest."
        )
    return (
        f"the treatments lie further from the {model} than bakes of one treatment lie from each other"
        f"{said_p(facts)}: something is at work that the model does not hold, such as a sharper bend."
    )


def _shape_choice(facts: Facts, fine: bool) -> str:
    shape, rival = facts.get("shape", "this shape"), facts.get("second") or facts.get("rival")
    weight = facts.get("weight")
    share = f" ({say_share(round(float(weight), 2))} of the weight)" if isinstance(weight, int | float) else ""
    if facts.get("forced"):
        return f"the shape, {shape}, was asked for and not chosen from the data."
    if facts.get("not_flat_p") is not None:
        other = f"; {rival} may be true as well" if rival else ""
        return (
            f"so few bakes have AICc keep a flat response, but the doses differ ({say_p(float(facts['not_flat_p']))}, "
            f"one test of a line, a parabola and the doses by themselves): {shape} is used{other}. Its limits are "
            "wide, and a few more bakes would settle the shape."
        )
    if fine:
        return f"of the shapes tried, {shape} describes the bakes best{share}."
    other = f"; {rival} would do about as well" if rival else ""
    return (
        f"more than one shape may be true: {shape} is used{share}{other}. What the shapes say between the doses may "
        "differ."
    )


def _few_doses(facts: Facts, fine: bool) -> str:
    doses = facts.get("doses")
    counted = say_count(doses, "dose") if isinstance(doses, int) else "these doses"
    if fine:
        return f"{counted} are enough for the shapes that were tried."
    return f"with {counted}, only the simplest shapes could be tried; a bend between the doses would go unseen."


def _edge_of_range(facts: Facts, fine: bool) -> str:
    if fine and facts.get("best", "seen") is None:
        return "no dose was seen to be best, so there is none that could lie at an edge of what was baked."
    if fine and facts.get("best") == "plateau":
        return "the response stops changing inside the range that was baked."
    if fine:
        return "the best dose lies inside the range that was baked."
    edge = {"low": "lowest", "high": "highest"}.get(str(facts.get("edge", "")), "outermost")
    level = f" with {facts['level']}" if facts.get("level") else ""
    return f"the response is best at the {edge} dose{level}, so the best may lie beyond what was baked."


def _saturated(facts: Facts, fine: bool) -> str:
    left = "each treatment was baked once and every effect was fitted, so no scatter between like bakes is left."
    if facts.get("judged"):
        return f"{left} Effects are judged against the small ones among them; that works only while few are large."
    return f"{left} There is nothing to judge the effects against. Bake the treatments again."


def _few_error_df(facts: Facts, fine: bool) -> str:
    df = facts.get("df_error", 0)
    looks = say_count(df, "degree", "degrees") + " of freedom"
    between, shared = facts.get("between"), facts.get("stratum", "bakes")
    what = "the error rests"
    if between:
        what = f"the scatter between {between} rests"
    elif shared not in ("bakes", "readings", ""):
        what = f'what was set for a whole "{shared}" is judged by an error that rests'
    if fine:
        return f"{what} on {looks}, enough to judge by."
    return f"{what} on only {looks}: intervals are wide and the checks see little. Bake more replicates."


def _squares_differ(facts: Facts, fine: bool) -> str:
    term = say_term(str(facts.get("term", "a term")))
    if "p_type_2" in facts and "p_type_3" in facts:
        return (
            f"for {term} the type of sums of squares changes the answer: type 2 gives {say_p(facts['p_type_2'])}, "
            f"type 3 {say_p(facts['p_type_3'])}. The treatments were not baked equally often."
        )
    if "p_type_1" in facts:
        return (
            f"for {term} the order of the terms changes the answer: in their order it gets {say_p(facts['p_type_1'])}, "
            f"after all others {say_p(facts['p_type_2'])}. The treatments were not baked equally often."
        )
    return f"for {term} the type of sums of squares changes the answer, as treatments were not baked equally often."


def _curvature(facts: Facts, fine: bool) -> str:
    factor = facts.get("factor", "the amount")
    if facts.get("tested") is False:
        return f"too few bakes are left to see whether the response bends along {factor}."
    if fine:
        return f"no bend along {factor} stands out from the scatter{said_p(facts)}."
    return (
        f"the response bends along {factor}{said_p(facts)}: a straight line from low to high does not tell all of it."
    )


def _dropped_terms(facts: Facts, fine: bool) -> str:
    terms = listed_terms(facts.get("terms", ()))
    why = {
        "partly aliased": "they are mixed with each other in these bakes",
        "never blended": "no bake blended them",
        "no error df": "nothing would be left to judge the rest against",
    }.get(str(facts.get("because", "")), "the bakes cannot carry them")
    return f"{terms or 'some interactions'} were left out of the model, because {why}. They are taken to be small."


def _partly_mixed(facts: Facts, fine: bool) -> str:
    left = "interactions of two factors and bends" if facts.get("bends") else "interactions of two factors"
    widened = " What they do also widens the error that effects are judged by." if facts.get("in_error") else ""
    mixed = facts.get("mixed", ())
    if fine or not mixed:
        nearly = "hardly anything" if mixed else "nothing"
        return f"{left} were left out of the model, and {nearly} of them passes for the effect of a factor.{widened}"
    term, other, share = mixed[0]
    return (
        f"{left} were left out of the model; where one is real, a part of it passes for the effect of other factors, "
        f"such as {say_fixed(abs(share), 2)} of {say_term(other)} for that of {term}.{widened}"
    )


def _alone_not_baked(facts: Facts, fine: bool) -> str:
    """``shares``: those whose whole was never baked by itself."""
    shares = facts.get("shares", ())
    if not shares:
        return "each ingredient was baked alone, so its coefficient is a response that was seen."
    return (
        f"{listed(shares)} {'was' if len(shares) == 1 else 'were'} never baked alone: the coefficients foretell "
        "blends outside what was baked and are not to be relied on as such."
    )


def _no_scatter(facts: Facts, fine: bool) -> str:
    return (
        "like bakes gave exactly the same value, so there is no scatter to judge an effect against. Read the response "
        "more finely, or see whether values were copied."
    )


FIT_CHECKS: dict[str, Callable[[Facts, bool], str]] = {
    "spread": _spread,
    "odd bakes": _odd_bakes,
    "order": _order,
    "lack of fit": _lack_of_fit,
    "shape choice": _shape_choice,
    "few doses": _few_doses,
    "edge of range": _edge_of_range,
    "no scatter": _no_scatter,
    "saturated": _saturated,
    "dropped terms": _dropped_terms,
    "partly mixed": _partly_mixed,
    "alone not baked": _alone_not_baked,
    "few error df": _few_error_df,
    "sums of squares differ": _squares_differ,
    "curvature": _curvature,
}
