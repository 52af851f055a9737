"""What are the parts of a page called, and what stands where a part has nothing to show?"""

from __future__ import annotations

THE_ANSWER = "The answer"
THE_ACCOUNT = "The account"
LINE_BY_LINE = "Line by line"
HOW_WORKED_OUT = "How it was worked out"
WHERE_FROM = "Where this comes from"
WHAT_MAKES_NEUTRAL = "What would make it neutral"
ACCOUNT_COLUMNS = ("what", "how much", "range")
GAS_LEFT_AND_PH = "Gas, what is left over, and pH"
LINE_COLUMNS = ("ingredient", "grams", "acid (meq)", "soda (g)", "figure is", "where it comes from")
HOW_PLANNED = "How it is planned"
NO_ANSWER_YET = "There is no answer yet"
HOW_PUT_TOGETHER = "How it was put together"
COULD_NOT_POOL = "What could not be pooled"
NOTHING_POOLED = "Nothing could be pooled."
POOLING_METHOD = (
    "Each trial was analysed by itself, as it was planned. The same contrast was then asked of every "
    "trial's model and put together with weights from each trial's error and the spread between "
    "trials (restricted maximum likelihood; intervals after Hartung and Knapp, with t on one df "
    "fewer than trials)."
)
RECOMMENDED = "Recommended amount"
NO_RESPONSE = "There is no response to answer for."
CHECKS = "Checks, one at a time"
NO_CHECK = "No check applied to these bakes."
FOR_YOUR_EYE = "For your own eye: no test was made of this."
THE_ANSWERS = "The answers"
BEFORE_YOU_BAKE = "Before you bake"
QUESTION_COLUMNS = ("question", "answer")
ONE_OF_THEM = "one of the treatments"
QUESTIONS = "Questions for the class"
NOT_OPENED = "Answers that were not opened are not printed."
WORDS_USED = "Words used here"
AT_A_GLANCE = "At a glance"
SODA_LEFT_OVER = "Soda left over"
ACID_LEFT_OVER = "Acid left over"
GAS_FOR_100_G = "Gas for 100 g of flour"
PH_OF_CRUMB = "Predicted pH of the crumb"
EXPECTED_COLUMNS = ("what", "expected", "interval")
AT_BEST = "Every goal at the best compromise"
AT_NEAREST = "Every goal at the nearest treatment"
GOAL_COLUMNS = ("goal", "good enough", "wished for", "mean", "interval", "one new bake", "sureness", "desirability")
WHAT_MATTERED = "What mattered"
NOT_SHOWN = "What this does not show"
ASKED_BESIDES = "What was asked for besides"
BAKE_NEXT = "What to bake next"
NOTHING_OPEN = "Nothing is open that more bakes of this kind would settle."
BEFORE_TASTING = "Before anyone tastes"
NO_ANSWER_BEFORE = "No answer before the end"
ASSESSORS_COMPARE = "How the assessors compare"
NO_SCORE = "This trial has no score, so there is no panel to look at."
WHO_UNKNOWN = "Who gave which score is not known here, so assessors cannot be compared."
WHAT = "what"
ALL = "all"
# Facts of a plan or of where a page comes from that do not read as their key does.
FACTS = {"flour_per_bake_g": "flour for a bake (g)"}
BLOCK = "block"
ORDER = "order"
ALL_BAKES = "all bakes"
NOTES_BY_TREATMENT = "Taste notes by treatment"
NOTE_COLUMNS = ("treatment", "words", "note")


def what_to_do(try_this: str) -> str:
    return f"What to do: {try_this}."


def left_out_of_pool(response: str, factor: str, why: str) -> str:
    return f"{response} and {factor}: {why}."


def say_together(trials: str) -> str:
    return f"What do {trials} say together?"


def range_by(low: str, high: str, by: str | None) -> str:
    return f"{low} to {high} by {by}"


def the_same_by(by: str) -> str:
    return f"the same with each {by}"


def ends_both(low: str | None, high: str | None, full: str | None) -> tuple[str, str]:
    return (f"{low} to {high}", f"{full}")


def or_more_both(low: str | None, full: str | None) -> tuple[str, str]:
    return (f"{low} or more", f"{full} or more")


def or_less_both(high: str | None, full: str | None) -> tuple[str, str]:
    return (f"{high} or less", f"{full} or less")


def nothing_moves(response: str) -> str:
    return f"Nothing can be said about what moves {response}."


def others_below(count: int) -> str:
    return f"The {count} others stand in the table below."


def and_so_many_more(more: int) -> str:
    return f"and {more} more"


def assessors_of(response: str) -> str:
    return f"Assessors of {response}"


def counted_by(by: str) -> str:
    return f"Counted by {by}; the notes themselves stand below, each with its treatment."


BAKE = "bake"
THE_DATA = "The data"
ROWS_LEFT_OUT = "Rows left out"
HOW_MADE = "How it was made"
WHAT_WAS_CHANGED = "What was changed"
NO_BAKE = "No bake could be analysed."
LEFT_OUT_COLUMNS = ("row or bake", "response", "why")
FACTOR_COLUMNS = ("factor", "kind", "unit", "levels")


def as_analysed(count: str) -> str:
    return f"{count} as analysed (readings averaged)"


def rows_used(rows_used: int, rows_read: str) -> str:
    return f"{rows_used} of {rows_read} were used."


def first_of_bakes(drawn: int, count: int) -> str:
    return f"The first {drawn} of {count} bakes in order of baking; export the trial for all."


def levels_between(amounts: str, count: int) -> str:
    return f"{amounts}, {count} levels"


def one_in_drawn(drawn: int) -> str:
    return f"Pictures draw one bake in {drawn}, so that single ones can be told; every number rests on all bakes."


def taste_notes(notes: str) -> str:
    return f"Taste notes ({notes})"


def fact_named(key: str) -> str:
    """ "audit_head" is read "audit head"."""
    return FACTS.get(key, key.replace("_", " "))
