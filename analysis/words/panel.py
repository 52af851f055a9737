"""How is it said how the assessors of a panel compare? By number only, never by name."""

from __future__ import annotations

from typing import TYPE_CHECKING

from analysis.words.numbers import (
    half_width,
    join_words,
    say_count,
    say_fixed,
    say_interval,
    say_number,
    say_share,
    say_signed,
    start,
    with_unit,
)

if TYPE_CHECKING:
    from analysis.scores.assessors import Assessor, Panel, Share

CLEAR = 0.05

# Common practice with panels, no source.
CONSENT = (
    "Who tastes has agreed to it beforehand, is told what is in it, and may stop at any time without a reason.",
    "Ask for allergies before every session: wheat, milk, egg, nuts and soy are the usual ones. Health answers and "
    "names stay in the kitchen's own list; this page knows assessors by number only.",
    "Serve baked goods only; raw flour and raw egg can carry germs.",
)
APART = "assessors scored too few of the same bakes to be compared: let each bake be scored by all of them."
STILL_TASTED = (
    "A tasting is still open. Until it is closed this page says nothing of treatments, so that no code is given away; "
    "how the assessors compare stands below."
)
STILL_BLIND = (
    "Not every run is baked and scored yet. Until then this page says nothing of treatments, so that no code is given "
    "away; how the assessors compare stands below."
)
HOW = (
    "Each assessor is compared with the mean of the others on the bakes both scored (difference with Student's t); "
    "the spread is the standard deviation over bakes, beside that of the others. Telling treatments apart: one-way "
    "analysis of variance of one assessor's bakes. Agreement: intraclass correlations of single scores over the bakes "
    "that everyone scored (Shrout and Fleiss 1979). Scores are taken as numbers here."
)


def say_missing(response: str, people: int) -> str:
    """Why the assessors of a response cannot be compared."""
    if not people:
        return f"No score of {response} stands in the record yet."
    return (
        f"All scores of {response} were given by one assessor, so how assessors compare cannot be told. Record each "
        "score under the number of who gave it (--person), two assessors or more for a bake."
    )


def say_panel(panel: Panel, confidence: float) -> tuple[str, ...]:
    """Who lies apart, who tells treatments apart, and how far the panel agrees."""
    compared = any(one.bias is not None for one in panel.assessors)
    said = [*_bias(panel, confidence), *_telling(panel)]
    said += _agreement(panel, confidence) if compared else [APART]
    return tuple(map(start, said))


def say_alt(panel: Panel) -> str:
    """What the picture shows: the furthest assessor."""
    known = [one for one in panel.assessors if one.bias is not None]
    far = max(known, key=lambda one: abs(one.bias or 0.0))
    size = say_signed(far.bias or 0.0, half_width(far.bias_low, far.bias_high))
    return f"{len(known)} assessors against the rest of the panel: assessor {far.person} lies furthest, {size}."


def _bias(panel: Panel, confidence: float) -> list[str]:
    apart = [one for one in panel.assessors if one.bias_low is not None and not _holds_zero(one)]
    if not apart:
        known = any(one.bias is not None for one in panel.assessors)
        return [f"no assessor's mean {panel.response} lies clearly apart from the rest of the panel."] if known else []
    return [_one_bias(one, panel, confidence) for one in sorted(apart, key=lambda one: -abs(one.bias or 0.0))]


def _one_bias(one: Assessor, panel: Panel, confidence: float) -> str:
    bias = one.bias or 0.0
    size = with_unit(say_number(abs(bias), half_width(one.bias_low, one.bias_high)), panel.unit)
    low, high = sorted((abs(one.bias_low or 0.0), abs(one.bias_high or 0.0)))
    way = "higher" if bias > 0 else "lower"
    return f"assessor {one.person} scores {size} {way} than the others ({say_interval(low, high, confidence)})."


def _holds_zero(one: Assessor) -> bool:
    return (one.bias_low or 0.0) <= 0 <= (one.bias_high or 0.0)


def _telling(panel: Panel) -> list[str]:
    tested = [one for one in panel.assessors if one.p is not None]
    if not tested:
        why = next((one.why for one in panel.assessors if one.why), "")
        return [f"whether single assessors tell the treatments apart cannot be told: {why}."] if why else []
    deaf = [str(one.person) for one in tested if one.p is not None and one.p >= CLEAR]
    if not deaf:
        return [f"each of {say_count(len(tested), 'assessor')} told the treatments apart (p below 0.05 each)."]
    who = f"{'assessor' if len(deaf) == 1 else 'assessors'} {join_words(deaf)}"
    return [f"{who} could not be shown to tell the treatments apart; that may be chance where few bakes were scored."]


def _agreement(panel: Panel, confidence: float) -> list[str]:
    over = say_count(panel.bakes_by_all, "bake")
    said = [
        f"{what}: {_share(share, confidence)}, over {over} that all scored (1 is complete, 0 is none)."
        for what, share in (("agreement on which is better", panel.order), ("on the score itself", panel.scores))
        if share is not None
    ]
    if not said:
        said = ["too few bakes were scored by everyone to say how far the panel agrees."]
    if panel.between is not None and panel.within is not None:
        between, within = (with_unit(say_number(sd, sd), panel.unit) for sd in (panel.between, panel.within))
        said.append(f"assessors differ by {between} (standard deviation), and one score scatters by {within} besides.")
    return said


def _share(share: Share, confidence: float) -> str:
    low, high = (say_fixed(end, 2) for end in (share.low, share.high))
    return f"{say_fixed(share.value, 2)} ({say_share(confidence)} interval {low} to {high})"
