"""What do pictures of dose curves, of amounts that do well and of what a trial can see say?"""

from __future__ import annotations

AT_THE_RIGHT = "At the right: what it gives."
RANGE_SHADED = "Shaded: the range that suits all."
BAR_AS_GOOD = "Open bar: amounts as good as the best, within what matters."
THIN_BAR = "Thin bar"
MARKS_AS_READ = "bakes as read"
LABEL_AS_GOOD = " as good as the best"
AS_FAR_AS_TOLD = "as far as can be told apart"
MARKS_ADJUSTED = "bakes, adjusted to the average block"
NONE_SEEN = "none seen"
NONE_RECOMMENDED = "No dose was seen to do better than another, so none is recommended."
WITHIN_WHAT_MATTERS = "to within the difference that matters"
MARK_IS_BEST = "Outlined mark: the best dose; the thick bar at the top is its interval."
BAKES_IN_ALL = "bakes in all"
CHANCE_TO_SEE = "chance to see it"
SMALLEST = "smallest difference"
SIZES_TITLE = "Bakes against what can be seen"


def an_interval(confidence: str) -> str:
    return f"{confidence} interval"


def amounts_title(dose: str) -> str:
    return f"Amounts of {dose} that do well"


def dot_is_best(interval_words: str) -> str:
    return f"Dot and line: the best amount with its {interval_words}."


def diamond_is_least(interval_words: str) -> str:
    return f"Diamond and line: the least that will do with its {interval_words}."


def suits_all(amounts: str, dose: str, count: int) -> str:
    return f"{amounts} of {dose} suits all {count} responses."


def columns_of_amounts(named: str) -> tuple[str, ...]:
    return ("response", f"as good as the best{named}", f"best{named}", f"low{named}", f"high{named}", "gives")


def does_as_well(response: str, good: str, dose: str) -> str:
    return f"{response}: {good} of {dose} does as well as the best."


def of_so_many(count: int) -> str:
    return f"; {count} curves"


def of_curve(level: str) -> str:
    return f" with {level}"


def doses_as_good(where: str, within: str) -> str:
    return f"{where}: doses as good as the best, {within}."


def best_alt(named: str, at: str, dose: str, whose: str, said: str, more: str) -> str:
    return f"{named} is best at {at} {dose}{whose} ({said}){more}."


def dose_title(response: str, dose: str) -> str:
    return f"{response} against {dose}"


def panels_drawn(drawn: int, count: int) -> str:
    return f"{drawn} of {count} curves are drawn; the table has all."


def curves_caption(shape: str, confidence: str, marks: str) -> str:
    return f"Lines: fitted curves ({shape}) with {confidence} bands. Marks: {marks}."


def runs_alt(named: str, mean: str, end: str, dose: str, whose: str, more: str) -> str:
    if end.split()[:1] == mean.split()[:1]:
        return f"{named} stays at {end} over the {dose} range{whose}{more}."
    return f"{named} goes from {mean} to {end} over the {dose} range{whose}{more}."


def columns_of_doses(of_dose: str, of_response: str) -> tuple[str, ...]:
    return (
        f"best dose{of_dose}",
        f"low{of_dose}",
        f"high{of_dose}",
        f"response there{of_response}",
        f"recommended{of_dose}",
        f"as good up to{of_dose}",
    )


def smallest_told(told: str) -> str:
    return f"smallest difference {told}"


def bakes_begin(total: int, begins: str) -> str:
    return f"{total} bakes {begins}"


def sizes_caption(told: str) -> str:
    return f"Bakes against what can be {told}."


def columns_of_sizes(of_what: str, smallest: str) -> tuple[str, ...]:
    return (f"bakes {of_what}", "in all", smallest, "of 100 trials")


def see_difference(heights: str) -> str:
    return f"see a difference of {heights}"


def seen_in(seen: int) -> str:
    return f"seen in {seen} of 100 trials"


def bakes_end(total: int, heights: str, unit: str) -> str:
    return f"{total} see {heights} {unit}"
