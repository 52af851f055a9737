"""How is it said whether bakes scatter more at some doses, and how that was taken in?"""

from __future__ import annotations

from typing import Any

from analysis.words.numbers import as_written, say_fixed, say_list, say_number, with_unit


def say_spread(part: Any, about: Any, question: Any) -> tuple[str, ...]:
    """Which spread was used, how large it is from end to end, and whether equal spread would do."""
    said = []
    if part.weights:
        said.append(f"Each bake counts by its {part.weights}: a bake of twice the weight has half the variance.")
    if part.kind == "given weights":
        return tuple(said)
    unit = about.response.unit
    doses = list(part.sds)
    ends = [f"{with_unit(say_number(part.sds[d]), unit)} at {d}" for d in (doses[0], doses[-1])]
    tested = part.p is not None and bool(part.df)
    doubted = tested and part.p < 1 - question.confidence
    if part.kind == "equal" and doubted:
        said.append(
            "Bakes are taken to scatter alike at every dose: these bakes are too few to pay for a scatter of each "
            f"dose (by AICc), though equal scatter is in doubt ({_test(part)}). Intervals may be too short where bakes "
            "scatter widely."
        )
        return tuple(said)
    if part.kind == "equal":
        said.append("Bakes are taken to scatter alike at every dose: the bakes do not ask for more.")
    elif part.kind == "power":
        more = "more" if part.exponent > 0 else "less"
        said.append(
            f"Bakes scatter {more} where {about.response.name} is higher: their standard deviation follows the mean "
            f"to the power {say_number(part.exponent, 0.01)}, {ends[0]} and {ends[1]}. Bakes count accordingly."
        )
    else:
        listed = say_list([f"{with_unit(say_number(sd), unit)} at {dose}" for dose, sd in part.sds.items()])
        said.append(f"Bakes scatter differently from dose to dose ({listed}), and count accordingly.")
    if tested:
        said.append(f"Equal scatter {'would not do' if doubted else 'is not ruled out'} ({_test(part)}).")
    return tuple(said)


def _test(part: Any) -> str:
    p = as_written("< 0.001") if part.p < 0.001 else f"= {say_fixed(part.p, 3)}"
    return f"likelihood ratio {say_number(part.statistic, 0.1)} on {part.df} df, p {p}"
