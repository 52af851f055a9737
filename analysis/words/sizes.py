"""How is it said how many bakes an answer takes?"""

from __future__ import annotations

from analysis.sizes.answers import PiecesPoint, SizeAnswer
from analysis.sizes.asking import SizeQuestion
from analysis.words.numbers import say_digits, say_level, say_number, with_unit

MISSING = {
    "means": "of each kind",
    "pairs": "pairs",
    "effects": "replicates",
    "doses": "of each dose",
    "plots": "whole plots of each setting",
    "pieces": "of each kind",
    "equivalence": "of each kind",
    "shares": "of each kind",
    "scores": "of each kind",
}


def _counted_in(what: str) -> str:
    told = MISSING[what]
    return f"bakes {told}" if told.startswith("of ") else told


def say_size(answer: SizeAnswer, *, unit: str = "", response: str = "") -> str:
    """The answer in a sentence or two to read aloud."""
    question = answer.question
    chance = say_chances(answer.power)
    lines = [f"With {_bakes(answer)} {_what(answer, unit, response)} in {chance} of 100 trials."]
    if answer.solved == "bakes":
        lines[0] = f"{lines[0]} {_asked(question)}"
    if answer.pieces:
        lines.append(say_pieces(answer.pieces))
    return "\n".join(lines)


def say_chances(power: float) -> str:
    """83 of 100; never a certainty that was not computed."""
    whole = round(100 * power)
    return "more than 99" if whole >= 100 else "fewer than 1" if whole <= 0 else str(whole)


def _bakes(answer: SizeAnswer) -> str:
    each, what = answer.each, answer.question.what
    if what == "pairs":
        return f"{each} pairs ({answer.total} bakes in all)"
    if what == "effects":
        return f"{each} replicates of a two-level design of {answer.question.factors} factors ({answer.total} bakes)"
    if what == "plots":
        per = answer.question.pieces
        return f"{each} whole plots of each setting, {per} bakes in each ({answer.total} bakes in all),"
    return f"{each} bakes {MISSING[what]} ({answer.total} in all)"


def _what(answer: SizeAnswer, unit: str, response: str) -> str:
    question = answer.question
    of = f" in {response}" if response else ""
    if question.what == "equivalence":
        margin = with_unit(say_number(question.margin or 0, question.margin), unit)
        return f"it is shown that both are the same{of} within {margin}"
    if question.what == "shares":
        one, other = (f"{say_digits(100 * share, 3)} %" for share in question.shares)
        return f"a share of {one} is told from one of {other}{of}"
    if question.what == "scores":
        return f"an odds ratio of {say_level(question.odds_ratio or 1)} between two kinds is seen{of}"
    assert answer.difference is not None
    given = answer.solved != "difference"
    told = say_level(answer.difference) if given else say_number(answer.difference, answer.difference)
    return f"a difference of {with_unit(told, unit)}{of} is seen"


def _asked(question: SizeQuestion) -> str:
    return f"{round(100 * question.power)} of 100 were asked for."


def say_pieces(points: tuple[PiecesPoint, ...]) -> str:
    """More pieces or more bakes?"""
    one, best = points[0], min(points, key=_price)
    if best.bakes == one.bakes:
        return (
            f"More pieces from each bake save no bake: {one.bakes} bakes of each kind with one piece are as few as "
            f"{best.bakes} with {best.pieces}."
            if best.pieces > 1
            else "More pieces from each bake would not pay: bake more instead."
        )
    saved = one.bakes - best.bakes
    few = f"{best.pieces} pieces from each bake take {best.bakes} bakes of each kind instead of {one.bakes}"
    more = "More pieces cost more than they save" if best.cost is not None else "Beyond that only more bakes help"
    return f"{few}: {saved} fewer. {more}, since pieces of one bake share its error."


def _price(point: PiecesPoint) -> tuple[float, int]:
    return (point.cost if point.cost is not None else float(point.bakes), point.pieces)


def size_table(answer: SizeAnswer, *, unit: str = "") -> list[str]:
    """Lines of a plain table: bakes against what can be seen."""
    question = answer.question
    asked = f"seen in {round(100 * question.power)} of 100"
    lines = [f"  {_counted_in(question.what)} (bakes in all)"]
    goal = {"equivalence": "shown to be the same", "shares": "told apart", "scores": "seen"}
    reached = goal.get(question.what, "the asked difference")
    for point in answer.curve:
        told = []
        if point.difference is not None:
            told.append(f"{with_unit(say_number(point.difference, point.difference), unit)} {asked}")
        if point.power is not None:
            told.append(f"{reached} in {say_chances(point.power)} of 100")
        lines.append(f"  {point.each:>4} ({point.total:>4})  {'; '.join(told)}")
    for pieces in answer.pieces:
        cost = f", cost {say_level(pieces.cost)}" if pieces.cost is not None else ""
        lines.append(f"  {pieces.pieces} pieces a bake: {pieces.bakes} bakes of each kind{cost}")
    return lines
