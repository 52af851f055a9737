"""What will a plan be able to tell, before anyone has baked?

A few lines to read on a screen; everything else stands in the JSON document.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from analysis.designs.judgement import FEWEST_DF
from analysis.words.numbers import (
    join_words,
    say_count,
    say_digits,
    say_fixed,
    say_level,
    say_list,
    say_number,
    start,
    with_unit,
)
from analysis.words.plurals import one_of, several

if TYPE_CHECKING:
    from analysis.designs.plan import Design, Plan
    from analysis.designs.requests import DesignResponse
    from analysis.designs.treatments import Property

MODELS: Mapping[str, str] = {
    "main effects": "what each thing does by itself",
    "interactions": "what each thing does, and each two together",
    "quadratic": "what each thing does, each two together, and where a dose is best",
    "mixture linear": "what each part of the blend does by itself",
    "mixture quadratic": "what each part of the blend does, and each two together",
    "mixture special cubic": "what each part of the blend does, and each two or three together",
}
CRITERIA = {"D": "searched so that effects are as sure as can be", "I": "searched for sure predictions"}
FAR_OUT = "star points lie {} times as far from the middle as the corners"
PROPERTIES: Mapping[str, Callable[[Property], str | None]] = {
    "alpha": lambda v: None if v == 1 else FAR_OUT.format(say_digits(float(v), 3)),
    "rotatable": lambda v: "the answer is equally sure in all directions from the middle" if v else None,
    "orthogonal_blocks": lambda v: "the blocks can be taken out without touching any effect" if v else None,
    "criterion": lambda v: CRITERIA[str(v)],
}
MOST_ALIASES = 6
MOST_PAIRS = 2
PLACES = ("oven place",)  # a label inside a group, no group of its own


def plan_lines(plan: Plan, responses: Sequence[DesignResponse] = ()) -> list[str]:
    """What is baked, what it is for, how it is judged, and how sure the answer will be."""
    design = plan.design
    return [
        _first(design),
        f"it tells {_told(plan)}",
        *_settings(plan),
        *_uneven(design),
        *_unlike_blocks(plan),
        *_groups(plan),
        *_strata(design),
        *_properties(design),
        *_meetings(design),
        *_aliases(design),
        *(line for response in responses for line in _response(design, response)),
        *_prediction(design),
    ]


def plan_parts(plan: Plan, responses: Sequence[DesignResponse] = ()) -> Mapping[str, tuple[str, ...]]:
    """The same as sentences, by what they tell: ``tells``, ``sure``, ``mixed``, ``how``."""
    design = plan.design
    parts = {
        "tells": [f"it tells {_told(plan)}"],
        "sure": [*(line for response in responses for line in _response(design, response)), *_prediction(design)],
        "mixed": [*design.alias_words],
        "how": [
            *_settings(plan),
            *_uneven(design),
            *_unlike_blocks(plan),
            *_groups(plan),
            *_strata(design),
            *_properties(design),
        ],
    }
    parts["how"] += _meetings(design)
    return {key: tuple(_sentence(line) for line in lines) for key, lines in parts.items()}


def _sentence(line: str) -> str:
    return start(line) + ("" if line.endswith((".", ":", "!", "?")) else ".")


def _first(design: Design) -> str:
    blocks = f" in {say_count(design.blocks, design.block)}" if design.block else ""
    return f"{design.kind}, {say_count(design.n_runs, 'run')}{blocks}, seed {design.seed}"


def _told(plan: Plan) -> str:
    design = plan.design
    if len(design.settings) == 1:
        (name,) = design.settings
        return f"how readings follow {name}" if name in plan.units else f"how the kinds of {name} differ"
    apart = ", as far as these can be told apart" if design.judgement.cannot_tell else ""
    return MODELS[design.model] + apart


def _settings(plan: Plan) -> Iterator[str]:
    for name, values in plan.design.settings.items():
        told = say_list([say_level(value) for value in values])
        yield with_unit(f"{name}: {told}", plan.units.get(name, ""))


def _uneven(design: Design) -> Iterator[str]:
    """Categories of which one level is baked more often than another; doses are uneven on purpose."""
    for name, counts in design.evenness.items():
        if all(isinstance(value, str) for value in design.settings[name]) and len(set(counts.values())) > 1:
            told = ", ".join(f"{level} {say_count(count, 'time')}" for level, count in counts.items())
            yield f"{name} is not even: {told}"


def _unlike_blocks(plan: Plan) -> Iterator[str]:
    """How many runs each block holds, where they do not hold as many."""
    sizes = Counter(run.block for run in sorted(plan.runs, key=lambda run: run.bake_order) if run.block is not None)
    if len(set(sizes.values())) > 1:
        told = join_words([str(size) for size in sizes.values()])
        yield f"the {several(plan.design.block or 'block')} hold {told} runs"


def _groups(plan: Plan) -> Iterator[str]:
    """How often what is hard to change is set, and how many oven loads there are."""
    design = plan.design
    for group in dict.fromkeys(name for run in plan.runs for name in run.groups):
        if group == design.block or group in PLACES:
            continue
        # Labels of whole plots count through the trial; those of rows start anew in each block.
        labels = {(run.block if group in design.error_groups else None, run.groups.get(group)) for run in plan.runs}
        kept = _kept(plan, group)
        count = say_count(len(labels), group)
        if group in design.error_groups and kept:
            times = say_count(len(labels), "time")
            yield f"{join_words(kept)}: set {times}, each time anew, for {one_of(group)} of bakes"
        else:
            yield f"{count}"


def _kept(plan: Plan, group: str) -> list[str]:
    """The factors that stay as they are within every label of a group."""
    found = []
    for name in plan.design.settings:
        met: dict[tuple[str | None, str | None], set[object]] = {}
        for run in plan.runs:
            met.setdefault((run.block, run.groups.get(group)), set()).add(run.settings[name])
        if all(len(values) == 1 for values in met.values()):
            found.append(name)
    return found


def _strata(design: Design) -> Iterator[str]:
    judging = [stratum for stratum in design.judgement.strata if stratum["terms"]]
    if len(judging) < 2:
        yield f"judged by {design.judgement.judged_by}"
        return
    for stratum in judging:
        terms = join_words([_term(name) for name in stratum["terms"]])
        many = len(stratum["terms"]) > 1
        error = "single bakes" if stratum["group"] == "bakes" else several(stratum["group"])
        few = "" if stratum["df_error"] >= FEWEST_DF else ": few, so intervals will be wide"
        df = say_count(stratum["df_error"], "degree of freedom", "degrees of freedom")
        yield f"{terms} {'are' if many else 'is'} judged by how {error} differ, {df}{few}"


def _term(name: str) -> str:
    if name.endswith("^2"):
        return f"the bend of {name[:-2]}"
    return name.replace(":", " with ")


def _properties(design: Design) -> Iterator[str]:
    told = [PROPERTIES[key](value) for key, value in design.properties.items() if key in PROPERTIES]
    if any(told):
        yield "; ".join(words for words in told if words)


def _meetings(design: Design) -> Iterator[str]:
    """How often treatments meet where a block cannot hold all of them, and what that costs."""
    block, properties = design.block, design.properties
    if block is None or "fewest_meetings" not in properties:
        return
    fewest, most = int(properties["fewest_meetings"]), int(properties["most_meetings"])
    if properties["balanced"]:
        yield f"every two treatments meet in {say_count(fewest, block)}: all differences are known alike"
    elif fewest:
        yield f"two treatments meet in {fewest} to {most} {several(block)}: differences are known nearly alike"
    else:
        yield (
            f"some two treatments never meet in one {block}, others in up to {say_count(most, block)}: "
            "the first are compared through others, less surely"
        )
    share = 100 * float(properties["efficiency"])
    even = f"{one_of(block)} as even as these held every treatment"
    yield f"each bake tells {say_fixed(share, 0)} % of what it would if {even}"


def _aliases(design: Design) -> Iterator[str]:
    yield from design.alias_words[:MOST_ALIASES]
    more = len(design.alias_words) - MOST_ALIASES
    if more > 0:
        yield f"… and {more} more such (--json lists all)."


def _response(design: Design, response: DesignResponse) -> Iterator[str]:
    """Half-widths of single effects and pairs, and the chance to see what matters."""
    widths = design.judgement.half_widths.get(response.name)
    if not widths:
        return
    unit = f" (in {response.unit})" if response.unit else ""
    told = _together({name: f"± {say_number(width, width)}" for name, width in widths.items()})
    yield f"how closely effects on {response.name} would be known{unit}: {told}"
    chances = design.judgement.power.get(response.name)
    single = {name: say_chance(chance) for name, chance in (chances or {}).items() if name in design.settings}
    if single and response.matters is not None:
        yield _power(response, single)


def _together(said: Mapping[str, str]) -> str:
    """ "soda and fat ± 1.8; each two together ± 3.5": terms that are known alike in one breath."""
    alike: dict[str, list[str]] = {}
    for name, words in said.items():
        alike.setdefault(words, []).append(name)
    parts = []
    for words, names in alike.items():
        pairs = [name for name in names if ":" in name]
        named = [_term(name) for name in names if name not in pairs]
        if len(pairs) > MOST_PAIRS:
            named.append(f"{len(pairs)} pairs of them")
        else:
            named += map(_term, pairs)
        parts.append(f"{join_words(named)} {words}")
    return "; ".join(parts)


def _power(response: DesignResponse, said: Mapping[str, str]) -> str:
    matters = with_unit(say_number(response.matters), response.unit)
    alike: dict[str, list[str]] = {}
    for name, chance in said.items():
        alike.setdefault(chance, []).append(name)
    if len(alike) == 1:
        seen = f"in {next(iter(alike))} trials"
    else:
        seen = "; ".join(f"in {chance} trials for {join_words(names)}" for chance, names in alike.items())
    return f"a difference of {matters} in {response.name} would be seen {seen}"


def say_chance(power: float) -> str:
    """0.861 as "86 of 100"; never a round 0 or 100 that is none."""
    if power > 0.99:
        return "more than 99 of 100"
    if power < 0.01:
        return "fewer than 1 of 100"
    return f"{say_fixed(100 * power, 0)} of 100"


def _prediction(design: Design) -> Iterator[str]:
    if design.prediction is None:
        return
    average, largest = (
        say_digits(value**0.5, 2) for value in (design.prediction.average_variance, design.prediction.largest_variance)
    )
    worst = f", at worst {largest} times" if largest != average else ""
    yield f"a predicted mean is off by about {average} times as much as one bake{worst}"
