"""How is it said that a bake leans on an answer, a scatter grows, or a covariate was moved?"""

from __future__ import annotations

from collections.abc import Callable

from analysis.words.facts import Facts, listed, said_p
from analysis.words.finding_parts import say_term
from analysis.words.numbers import say_number, say_share

# How a scale is called in a sentence, and how it is asked for.
SCALES = {
    "log": "logarithm",
    "square root": "square root",
    "reciprocal": "reciprocal",
    "reciprocal square root": "reciprocal of the square root",
    "logit": "logit",
}


def _neighbours(facts: Facts, fine: bool) -> str:
    if fine:
        return f"bakes that follow each other are no more alike than any two{said_p(facts)}."
    alike = "more alike" if float(facts.get("correlation", 0)) > 0 else "less alike"
    size = say_number(facts.get("correlation"), 0.1)
    sure = f", {said_p(facts).strip(' ()')}" if said_p(facts) else ""
    return (
        f"bakes that follow each other are {alike} than any two (correlation {size}{sure}). Intervals "
        "take bakes as independent; bake in blocks, and name what neighbours shared as the group."
    )


def _transformation(facts: Facts, fine: bool) -> str:
    if facts.get("why") == "not above 0":
        return "no transformation was chosen: a power of the response needs every reading to be above 0."
    if facts.get("why"):
        return "no transformation could be chosen: too little scatter is left to go by."
    where = f"best power {say_number(facts.get('power'), 0.2)}, {_powers(facts)}"
    chosen = str(facts.get("chosen", "none"))
    if facts.get("auto"):
        if chosen == "none":
            return f"the readings were analysed as they are: of the common scales that fits best ({where})."
        return f"the {SCALES[chosen]} was chosen: of the common scales it fits best ({where})."
    if fine and facts.get("against"):
        return (
            "the scatter does not visibly grow with the mean, so the readings stay as they are, though another scale "
            f"would fit a little better ({where})."
        )
    if fine:
        return f"nothing asks for another scale of the response ({where})."
    return (
        f"the scatter grows or shrinks with the mean, and the {SCALES.get(chosen, chosen)} of the response would fit "
        f'better ({where}). Analyse again with the transformation "{chosen}".'
    )


def _powers(facts: Facts) -> str:
    low, high = facts.get("low"), facts.get("high")
    if low is None and high is None:
        return "any power would do"
    if low is None:
        return f"any up to {say_number(high, 0.2)} would do"
    if high is None:
        return f"any from {say_number(low, 0.2)} on would do"
    return f"any from {say_number(low, 0.2)} to {say_number(high, 0.2)} would do"


def _normality(facts: Facts, fine: bool) -> str:
    if facts.get("many") and facts.get("p", 1) < 0.05:
        return f"what is left over is not bell-shaped{said_p(facts)}, which does little harm with so many bakes."
    if fine:
        return f"what is left over could well be plain bell-shaped scatter{said_p(facts)}."
    return (
        f"what is left over is not bell-shaped{said_p(facts)}. With few bakes the intervals may be off. Look at "
        "odd bakes first; then try a transformation, or weigh odd bakes down."
    )


def _influence(facts: Facts, fine: bool) -> str:
    bake, term = facts.get("bake", "one bake"), say_term(str(facts.get("term", "a factor")))
    size, levels = _moved(facts), facts.get("levels") or ()
    term += f" ({levels[0]} against {levels[1]})" if levels else ""
    if fine:
        return f"no single bake carries the answer. Bake {bake} moves most, the effect of {term}{size}."
    beyond = "what matters" if facts.get("beyond") == "what matters" else "its interval reaches"
    return f"the effect of {term} leans on bake {bake}: without it, it moves{size}, further than {beyond}."


def _moved(facts: Facts) -> str:
    """ " from 3.2 to 2.1"; on a transformed scale nothing, as the numbers are not in the response's unit."""
    if facts.get("scale") or facts.get("size") is None:
        return ""
    step = abs(float(facts.get("shift", 0.0))) or None
    return f" from {say_number(facts['size'], step)} to {say_number(facts['without'], step)}"


def _robust(facts: Facts, fine: bool) -> str:
    if not facts.get("settled", True):
        return "odd bakes could not be weighed down, as the robust fit did not settle; least squares was used."
    down = facts.get("bakes", ())
    if not down:
        return "no bake lay far enough out to be weighed down."
    said = listed([f"{bake} (counts {say_share(round(weight, 2))})" for bake, weight in down])
    return f"bakes that lie far out were weighed down: {said}."


def _covariate(facts: Facts, fine: bool) -> str:
    name = facts.get("name", "the covariate")
    if facts.get("still"):
        return f"{name} was the same for every bake, so that it explains nothing."
    if facts.get("moved") is None:
        return f"whether the treatments moved {name} could not be tested."
    if fine:
        return f"the treatments did not visibly move {name}{said_p(facts)}."
    return (
        f"{name} itself went along with the treatments{said_p(facts)}. To take it out then takes out part of what they "
        "do, or blames them for what it did. Look at the answer without it too."
    )


def _bakes_for_scatter(facts: Facts, fine: bool) -> str:
    fewest = facts.get("fewest", 2)
    if fine:
        return f"each treatment was baked at least {fewest} times, enough to know its own scatter roughly."
    if facts.get("alone"):
        return (
            "what was baked once only shows no scatter of its own; it was taken to scatter as all bakes together do. "
            "Bake it again."
        )
    return (
        f"each treatment keeps its own scatter, but some were baked only {fewest} times: what "
        "is said of those is very wide."
    )


TRUST_CHECKS: dict[str, Callable[[Facts, bool], str]] = {
    "neighbours": _neighbours,
    "transformation": _transformation,
    "normality": _normality,
    "influence": _influence,
    "robust": _robust,
    "covariate": _covariate,
    "scatter of each": _bakes_for_scatter,
}
