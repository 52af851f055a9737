"""How are designs of one kind told apart where they are offered beside each other?

A kind alone names several: a dose ladder of four doses and one of six. What differs stands behind it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from analysis.designs.trying import Option
from analysis.words.numbers import say_count

# Where the star points of a central composite lie (axial, inside).
STARS: dict[tuple[str | float | None, bool], str] = {
    ("face", False): "star points no further than the corners",
    (None, True): "far star points, closer corners",
}


def tell_apart(options: Sequence[Option]) -> tuple[str, ...]:
    """A name for each: its kind and, where others are of that kind, how it differs: "dose ladder: 4 doses, 2 days"."""
    kinds = Counter(option.request.kind for option in options)
    return tuple(
        option.request.kind
        if kinds[option.request.kind] == 1
        else _beside(option, [each for each in options if each.request.kind == option.request.kind])
        for option in options
    )


def _beside(option: Option, alike: Sequence[Option]) -> str:
    own = list(_features(option))
    others = [list(_features(each)) for each in alike]
    telling = [at for at in range(len(own)) if len({each[at] for each in others}) > 1]
    differ = [own[at] for at in telling if own[at]]
    if sum(all(each[at] == own[at] for at in telling) for each in others) > 1:
        differ.append(say_count(option.bakes, "bake"))
    return f"{option.request.kind}: {', '.join(differ)}" if differ else option.request.kind


def _features(option: Option) -> Iterator[str]:
    """Always as many, so that they can be compared one by one; "" where there is nothing to say."""
    request = option.request
    doses = option.why.facts.get("doses")
    different = len({tuple(run.settings.items()) for run in option.plan.runs})
    yield say_count(doses, "dose") if doses else say_count(different, "treatment")
    yield STARS.get((request.axial, request.inside), "") if request.kind == "central composite" else ""
    yield say_count(request.whole_plots, "whole plot") if request.whole_plots else ""
    yield _times(request.replicates)
    yield "" if option.days is None else say_count(option.days, "day")


def _times(repeats: int) -> str:
    return {1: "each once", 2: "each twice"}.get(repeats, f"each {repeats} times")
