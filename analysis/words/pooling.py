"""How is it said what several trials taught together?"""

from __future__ import annotations

from textwrap import wrap

from analysis.pooling.results import PooledEffect, Pooling
from analysis.words.numbers import (
    half_width,
    join_words,
    say_digits,
    say_dose,
    say_interval,
    say_number,
    say_signed,
    start,
    true_minus,
    with_unit,
)

WIDTH = 100
TINY = 1e-3  # of the standard error of the shared effect
FEW = 5  # trials below which their spread is hardly known


def pooling_text(pooling: Pooling) -> str:
    """What a terminal shows: one block for each effect."""
    blocks = [f"Pooled: {join_words(pooling.trials)}."]
    for effect in pooling.effects:
        lines = ["\n".join(wrap(said, WIDTH, initial_indent="  - ", subsequent_indent="    ")) for said in
                 say_pooled(effect, pooling.confidence)]  # fmt: skip
        blocks.append("\n".join([title_of(effect), *lines]))
    rest = [f"{one.response} and {one.factor} were not pooled: {one.why}." for one in pooling.not_pooled]
    rest += list(pooling.remarks)
    if rest:
        blocks.append("\n".join("\n".join(wrap(start(said), WIDTH)) for said in rest))
    return true_minus("\n\n".join(blocks))


def title_of(effect: PooledEffect) -> str:
    """ "Rise height: powder from 1 to 4"."""
    return start(f"{effect.response}: {say_contrast(effect)}")


def say_contrast(effect: PooledEffect) -> str:
    """What is compared: "powder from 1 to 4 % flour", "acid: yogurt against lemon juice", "best soda with yogurt"."""
    if effect.kind == "amount":
        return f"{effect.factor} from {effect.first} to {with_unit(effect.second, effect.factor_unit)}"
    if effect.kind == "slope":
        return f"each further {effect.factor_unit or 'unit'} of {effect.factor}"
    if effect.kind == "levels":
        return f"{effect.factor} {effect.first} against {effect.second}"
    return f"best {effect.factor}{f' with {effect.level}' if effect.level else ''}"


def say_pooled(effect: PooledEffect, confidence: float) -> tuple[str, ...]:
    """The shared effect, how far trials lie apart, what a next one would bring, who stands apart, what was learnt."""
    said = [_shared(effect, confidence), _spread(effect, confidence), *_next(effect, confidence)]
    said += [*_common(effect, confidence), *_opposed(effect), *_apart(effect), *_learnt(effect)]
    return tuple(map(start, said))


def _size(effect: PooledEffect, value: float, low: float | None, high: float | None) -> str:
    if effect.kind == "best dose":
        return with_unit(say_dose(value, low, high), effect.unit)
    return with_unit(say_signed(value, half_width(low, high)), effect.unit)


def _shared(effect: PooledEffect, confidence: float) -> str:
    """The headline: the shared effect against the difference that matters."""
    many = len(effect.trials)
    size = _size(effect, effect.estimate, effect.low, effect.high)
    interval = say_interval(effect.low, effect.high, confidence)
    said = f"over {many} trials, {say_contrast(effect)} comes to {size} ({interval})"
    if effect.kind == "best dose":
        return f"{said}."
    m = None if effect.matters_size is None else with_unit(say_number(effect.matters_size), effect.unit)
    if effect.matters == "yes":
        way = "raises" if effect.estimate > 0 else "lowers"
        more = f"by more than the {m} that matter" if m else "on average"
        return f"{said}: it {way} {effect.response} {more}."
    if effect.matters == "no":
        return f"{said}: on average less than the {m} that matter."
    return f"{said}: the trials together cannot tell yet whether it moves {effect.response}{' enough' if m else ''}."


def _spread(effect: PooledEffect, confidence: float) -> str:
    size = with_unit(say_number(effect.spread, effect.spread), effect.unit)
    few = len(effect.trials) < FEW
    known = ""
    # Where the trials are more alike than their scatter, the interval may shrink to nothing but 0: no news.
    if effect.spread_low is not None and effect.spread_high is not None and effect.spread_high > TINY * effect.se:
        step = half_width(effect.spread_low, effect.spread_high)
        ends = f"{say_number(effect.spread_low, step)} to {say_number(effect.spread_high, step)}"
        known = (
            f"; anything from {ends} would fit"
            if few
            else f" ({say_interval(effect.spread_low, effect.spread_high, confidence)})"
        )
    if effect.spread == 0:
        hardly = f", but from {len(effect.trials)} trials that is hardly known" if few else ""
        return f"the trials differ no more than their own scatter explains{hardly}{known}."
    hardly = f", hardly known from {len(effect.trials)} trials" if few else ""
    return f"the true effect varies from trial to trial by about {size} (standard deviation){hardly}{known}."


def _next(effect: PooledEffect, confidence: float) -> list[str]:
    if effect.next_low is None or effect.next_high is None:
        return ["two trials cannot say what a third would bring; bake a further trial before you rely on the spread."]
    return [f"the true effect in a further trial is expected within {_ends(effect, confidence)}."]


def _ends(effect: PooledEffect, confidence: float) -> str:
    step = half_width(effect.next_low, effect.next_high)
    low, high = say_number(effect.next_low, step), say_number(effect.next_high, step)
    return f"{with_unit(f'{low} to {high}', effect.unit)} ({say_digits(100 * confidence, 4)} % interval)"


def _common(effect: PooledEffect, confidence: float) -> list[str]:
    """Worth saying where few trials make the shared interval wide."""
    if len(effect.trials) >= FEW:
        return []
    size = _size(effect, effect.common, effect.common_low, effect.common_high)
    return [
        f"if trials did not differ at all it would be {size} "
        f"({say_interval(effect.common_low, effect.common_high, confidence)})."
    ]


def _opposed(effect: PooledEffect) -> list[str]:
    return [f"{a} and {b} contradict each other: one surely points up, the other down." for a, b in effect.opposed]


def _apart(effect: PooledEffect) -> list[str]:
    return [
        f"{one.trial} stands apart: {with_unit(say_number(one.estimate), effect.unit)}, where the other trials "
        f"foretell {with_unit(say_number(one.expected), effect.unit)}. Look for what was different there."
        for one in effect.apart
    ]


def _learnt(effect: PooledEffect) -> list[str]:
    """Since which trial the answer stands as it does now."""
    verdicts = [step.matters for step in effect.steps]
    if verdicts[-1] == "unsure" or effect.kind == "best dose":
        return []
    since = len(verdicts) - 1
    while since > 0 and verdicts[since - 1] == verdicts[-1]:
        since -= 1
    return [f"this stands since {effect.steps[since].trial}, trial {since + 1} of {len(verdicts)} in order of time."]
