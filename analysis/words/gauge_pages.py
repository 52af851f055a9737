"""How is a page on the measuring said: headings, captions, alt texts, how it was laid out and worked out?"""

from __future__ import annotations

from analysis.control.gauge.results import MEND, STAYS, Component, Fit, GaugeAnswer
from analysis.words.gauge import LABELS, say_component
from analysis.words.numbers import join_words, say_amount, say_count, say_number, say_p, say_percent, say_share

WHY_MISSING = {
    "one person": "one person read everything",
    "own pieces": "each person had their own pieces",
    "pooled": "not seen, and counted with the repeats",
    "no repeats": "not to be told from the repeats: nobody read a piece twice",
    "not told apart": "not to be told from the pieces",
}
METHODS = {
    "chi-squared": "exact, from chi-squared",
    "modified large sample": "modified large sample",
}
SHARES = (
    "Two kinds of share stand side by side. Shares of the variance add up to 100 %. Shares of the spread compare "
    "standard deviations, which is how large a scatter looks; they add up to more than 100 %."
)
PICKED = "The spread between pieces, and every share of it, holds for pieces that differ as these did."
TITLES = {
    "answer": "The answer",
    "parts": "What the spread is made of",
    "people": "Who reads how",
    "worth": "How many readings are worth taking",
    "sure": "Can this be trusted?",
    "made": "How it was worked out",
    "provenance": "Where this comes from",
}
PEOPLE_CAPTION = "How each person reads: off the average of all, and how well they repeat"
WORTH_CAPTION = "Readings of a bake when the same people read every bake"
TABLE_CAPTION = "Mean squares"
BY_HAND = "The same by averages and ranges, as with pencil and paper"
QUESTION = "Is the measuring good enough, and what would make it better?"
EVERY_READING = "one person"
NAMED = 8  # rows left out that are named


def say_layout(answer: GaugeAnswer) -> str:
    """ "3 people read the same 10 pieces 3 times each: 90 readings." """
    low, high = answer.repeats
    times = {1: "once", 2: "twice"}.get(low, f"{low} times") if low == high else f"{low} to {high} times"
    pieces = say_count(answer.pieces, "piece")
    if len(answer.people) == 1:
        return f"One person read {pieces}, each {times}: {answer.readings} readings."
    whose = f"their own pieces ({answer.pieces} in all)" if answer.nested else f"the same {pieces}"
    return f"{len(answer.people)} people read {whose}, each {times}: {answer.readings} readings."


def say_methods(answer: GaugeAnswer) -> tuple[str, ...]:
    """How it was worked out, for the part that is read last."""
    used = answer.used
    ways = {
        "strata": "Everyone read equally often, so the parts come from mean squares; a negative part is set to 0.",
        "restricted likelihood": "Readings are uneven, so the parts come from restricted maximum likelihood.",
    }
    said = [ways[used.method]]
    if answer.interaction is not None:
        test = answer.interaction
        kept = used.model == "with person by piece"
        found = f"{say_p(test.p)} (F = {say_number(test.f)} on {test.df} and {test.df_error} df)"
        said.append(
            "People who read some pieces higher than others do are a part of their own when the F test of that gives p "
            f"below {say_number(STAYS)}; here {found}, so it was {'kept' if kept else 'counted with the repeats'}."
        )
    methods = list(dict.fromkeys(METHODS[one.method] for one in used.components.values()))
    said.append(f"Intervals of {say_share(answer.question.confidence)}: {join_words(methods)}.")
    said.append(
        "A share of the tolerance is six standard deviations of the measuring against its width. "
        "Intervals between people allow for all people (Bonferroni)."
    )
    said += [f"Part not known: {LABELS[key]} ({WHY_MISSING[why]})." for key, why in used.missing.items()]
    return tuple(said)


def say_ranges(answer: GaugeAnswer) -> str:
    """The way by hand beside ours; "" where it cannot be done."""
    by_hand, unit = answer.ranges, answer.question.unit
    if by_hand is None:
        return ""
    gauge = answer.used.components["gauge"]
    return (
        f"By averages and ranges, as with pencil and paper, the measuring comes to an SD of "
        f"{say_amount(by_hand.gauge, unit)} (here {say_component(gauge, unit)})."
    )


def title_of_fit(fit: Fit) -> str:
    """Which of the ways of taking the spread apart it is."""
    return {
        "with person by piece": "with people on some pieces as a part of their own",
        "without person by piece": "with people on some pieces counted as repeats",
        "nested": "each person with their own pieces",
        "one person": "one person",
    }[fit.model]


def say_left_out_readings(answer: GaugeAnswer) -> str:
    """ "2 rows were left out: row 4 (no reading), row 9 (no person named)." """
    out = answer.left_out
    if not out:
        return f"All {answer.readings} rows were used."
    named = [f"row {one.row} ({one.why})" for one in out[:NAMED]]
    more = [f"{len(out) - NAMED} more"] if len(out) > NAMED else []
    return f"{say_count(len(out), 'row')} {'was' if len(out) == 1 else 'were'} left out: {join_words([*named, *more])}."


def shown_components(answer: GaugeAnswer) -> tuple[Component, ...]:
    """The parts in the order of a picture; people are told apart from pieces only where that was seen."""
    used = answer.used.components
    both = "person by piece" in used
    wanted = ("repeatability", "person", "person by piece", "reproducibility", "gauge", "piece", "total")
    return tuple(used[key] for key in wanted if key in used and (both or key != "reproducibility"))


def say_component_alt(answer: GaugeAnswer) -> str:
    """What the picture of the parts shows, with its number."""
    gauge, piece = answer.used.components["gauge"], answer.used.components["piece"]
    of = "the tolerance" if answer.judged_by == "tolerance" else "the spread of all readings"
    unit = answer.question.unit
    size = f"SD {say_component(gauge, unit)} against {say_component(piece, unit)} between pieces"
    return f"The measuring takes {say_percent(answer.judged.value)} of {of}: {size}."


def say_components_caption(answer: GaugeAnswer, *, cut: bool) -> str:
    """``cut``: an interval goes on beyond the picture."""
    of = "the tolerance" if answer.judged_by == "tolerance" else "the spread of all readings"
    return (
        f"Each part as six SD, with its {say_share(answer.question.confidence)} interval. Band: {of}. Dashed: "
        f"{say_percent(MEND)} of it, the most that measuring should take."
        f"{' An arrow goes on beyond the picture.' if cut else ''}"
    )


def say_limit(answer: GaugeAnswer) -> str:
    """What the band of the picture is called."""
    return "tolerance" if answer.judged_by == "tolerance" else "all readings"


def say_readings_alt(answer: GaugeAnswer) -> str:
    """What the picture of the readings shows, with its number."""
    unit = answer.question.unit
    if answer.pair is not None and answer.pair.difference > 0:
        pair = answer.pair
        apart = say_amount(pair.difference, unit, pair.difference)
        chance = "" if _beyond_chance(answer) else ", which may be chance"
        return f"{pair.higher} reads {apart} higher than {pair.lower} over {answer.pieces} pieces{chance}."
    own = say_component(answer.used.components["repeatability"], unit)
    return f"Readings of the same piece scatter with an SD of {own} over {answer.pieces} pieces."


def _beyond_chance(answer: GaugeAnswer) -> bool:
    return any(one.kind == "people differ" and one.verdict == "yes" for one in answer.findings)


def say_readings_caption(answer: GaugeAnswer, *, every: int = 1, drawn: int = 1) -> str:
    """``every``: one piece in so many is named; ``drawn``: one reading in so many is drawn."""
    order = "Each person's own pieces, from low to high." if answer.nested else "Pieces from low to high."
    thinned = "" if every == 1 else f" One piece in {every} is named."
    joined = " Lines join each person's means." if len(answer.people) > 1 else " The line joins the means."
    joined += " The broad bar is the average." if answer.nested else ""
    first = "Every reading." if drawn == 1 else f"One reading in {drawn}."
    return f"{first} {order}{joined}{thinned}"


def say_term(term: str) -> str:
    """The name of a part, as a row of a table has it."""
    return LABELS[term]


READING_COLUMNS = ("piece", "person", "readings", "mean", "lowest", "highest")
COMPONENT_COLUMNS = ("part", "SD", "low", "high", "of the variance", "of the spread")
OF_TOLERANCE = "of the tolerance"
HAND_COLUMNS = ("part", "SD by ranges", "SD here")
FIT_COLUMNS = ("term", "df", "sum of squares", "mean square", "F", "p")
PERSON_COLUMNS = ("person", "readings", "mean", "off the average", "low", "high", "SD of repeats", "from", "to")
WORTH_COLUMNS = ("people", "readings each", "SD of a bake's mean", "of it measuring", "gained by the last reading")


def spread_of(response: str) -> str:
    return f"Spread of {response}"


def readings_of(response: str) -> str:
    return f"Readings of {response}"


def six_sd_of(response: str) -> str:
    return f"six SD of {response}"
