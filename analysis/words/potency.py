"""How is it said what one dose of an acid is worth beside another, and whether that has an answer?"""

from __future__ import annotations

from typing import Any

from analysis.words.numbers import as_written, join_words, say_dose, say_fixed, say_number


def say_potency(part: Any, about: Any, question: Any) -> tuple[str, ...]:
    """The ratio of each level with its interval beside what neutralising values predict; then the tests."""
    said = [_ratio(level, one, part) for level, one in part.ratios.items()]
    response = about.response.name
    if part.verdict == "not parallel":
        said.append(
            f"The curves of {response} are not parallel ({_test(part.parallelism)}): what one dose is worth beside "
            f"{part.reference} changes with the height of {response}, so no one ratio is given."
        )
        known = {level: value for level, value in part.predicted.items() if value is not None}
        if known:
            listed = join_words([f"{say_number(value, 0.01)} for {level}" for level, value in known.items()])
            said.append(f"Neutralising values would predict {listed}, beside {part.reference}.")
        return tuple(said)
    if not part.ratios:
        said.append(f"The bakes do not fix how many doses of {part.reference} one dose of the others is worth.")
    how = "straight lines over the logarithm of the dose" if part.model == "parallel lines" else f"{part.shape} curves"
    if part.parallelism is None:
        said.append(f"That rests on {how} taken as parallel, which these bakes cannot test.")
    elif part.verdict == "not refused":
        said.append(
            f"That rests on {how} taken as parallel; so few bakes would hardly show otherwise "
            f"({_test(part.parallelism)})."
        )
    elif any(check.check == "lack of fit" and check.verdict != "fine" for check in about.family.checks):
        said.append(
            f"That rests on {how} taken as parallel, and these miss the bakes: a test of parallel curves "
            f"({_test(part.parallelism)}) says little then."
        )
    else:
        said.append(f"That rests on parallel {how}; nothing speaks against it ({_test(part.parallelism)}).")
    if part.linearity is not None:
        said.append(f"Nothing speaks against straight lines either ({_test(part.linearity)}).")
    if "potency at dose 0" in part.reasons:
        said.append(f"{_start(part.reasons['potency at dose 0'])}.")
    return tuple(said)


def _ratio(level: str, one: Any, part: Any) -> str:
    low, high = one["low"], one["high"]
    ratio, first, last = (say_dose(value, low, high) for value in (one["ratio"], low, high))
    measured = f"{ratio} ({first} to {last})"
    said = f"One dose of {level} does what {measured} doses of {part.reference} do"
    predicted = part.predicted.get(level)
    if predicted is None:
        return f"{said}."
    inside = one["low"] <= predicted <= one["high"]
    agrees = "which agrees" if inside else "which the bakes do not bear out"
    return (
        f"One dose of {level} in doses of {part.reference}: measured {measured}, neutralising values predict "
        f"{say_dose(predicted, low, high)}, {agrees}."
    )


def _test(test: Any) -> str:
    p = as_written("p < 0.001") if test.p < 0.001 else f"p = {say_fixed(test.p, 2 if test.p >= 0.1 else 3)}"
    return f"F {say_number(test.value, 0.01)} on {test.df} and {test.df_error} df, {p}"


def _start(text: str) -> str:
    return text[:1].upper() + text[1:]
