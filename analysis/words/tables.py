"""What are the tables behind an answer called, and what are their columns?"""

from __future__ import annotations

from collections.abc import Iterable

GAS_ACID_PH = "Gas, acid and pH"
CHEMISTRY_CAPTION = "In 100 g of flour: gas, soda and acid left over, and the pH of the crumb"
MEASURED_PH = ("measured pH",)
COLUMNS_OF_COVARIATES = ("covariate", "mean", "slope", "low", "high", "p", "p of treatments on it")
ODDS_RATIO = "odds ratio"
RATIO_OF_COUNTS = "ratio of counts"
DIFFERENCE_OF_SHARES = "difference of shares"
DIFFERENCE_OF_COUNTS = "difference of counts"
STEPS_ALIKE = "all steps move alike"
SPREAD_ALIKE = "scatter alike at all levels"
TAKEN_FOR_GRANTED = "What the model takes for granted"
LEVEL_COLUMNS = ("level", "expected", "low", "high")
NO_INTERACTION = "effects do not depend on each other"
GROUPS_UNLIKE = "readings of one group are not alike"
SHARE_COLUMNS = ("share of yes", "dose", "low", "high")
ASSUMED_COLUMNS = ("taken for granted", "term", "df", "LR chi-square", "p")
AS_GOOD = "as good"
RATIO = "ratio"
DIFFERENCE = "difference"
BAKES = "bakes"
YES, NO = "yes", "no"
PURE_ERROR = "pure error"
NOT_AS_GOOD = "not as good"
WORDS_USED = "Words used here"
HOW_SURE = "How sure this is"
COEFFICIENT_COLUMNS = ("term", "estimate", "low", "high", "standard error", "p")
TEST_COLUMNS = ("term", "df", "error df", "sum of squares", "statistic", "p")
COMPARISON_COLUMNS = ("factor", "levels", "difference", "low", "high", "adjusted p")
SHAPE_COLUMNS = ("shape", "AICc", "weight", "residual sum of squares", "error df")
CONTRAST_COLUMNS = ("contrast", "estimate", "low", "high", "standard error", "error df", "p")
BENDS_UP = "bends up"
BENDS_DOWN = "bends down"
NO_BEND = "no bend told"
TERMS_COLUMNS = ("terms", "df", "error df", "F", "p")
MODEL_COLUMNS = ("term", "coded", "standard error", "in the units baked", "standard error of it")
TAGS_CAPTION = "Taste words against factors, each bake once"
TAG_COLUMNS = ("word", "factor", "bakes with it", "p", "adjusted p")


def from_to_unbroken(low: str, high: str) -> str:
    return f"{low}\u00a0to\u00a0{high}"


def columns_of_chemistry(settings: Iterable[str], measured: Iterable[str]) -> tuple[str, ...]:
    return (*settings, "gas (mL)", "soda left (g)", "acid left (meq)", "predicted pH", "range", *measured)


def covariates_caption(response: str, confidence: str) -> str:
    return f"Covariates of {response}, {confidence} interval"


def expected_at_every(confidence: str) -> str:
    return f"Expected at every level, {confidence} interval"


def contrasts_as_factors(confidence: str) -> str:
    return f"Chosen contrasts as factors, {confidence} interval"


def differences_of_levels(confidence: str) -> str:
    return f"Differences of levels, adjusted {confidence} interval"


def doses_for_share(confidence: str) -> str:
    return f"Doses that reach a share, {confidence} interval by Fieller's theorem"


def at_slice(said: str) -> str:
    return f" at {said}"


def tests_of(named: str, on: str) -> str:
    return f"Tests of {named}{on}"


def shapes_of(named: str) -> str:
    return f"Shapes tried for {named}"


def on_scale(link: str) -> str:
    return f" on the {link} scale"


def an_interval(confidence: str) -> str:
    return f"{confidence} interval"


def contrasts_of(named: str, interval: str) -> str:
    return f"Chosen contrasts of {named}, {interval}"


def as_its_scale(scale: str) -> str:
    return f" (as its {scale})"


def coefficients_of(named: str, first: str, interval: str) -> str:
    return f"Coefficients of {named}{first}, {interval}"


def comparisons_of(named: str, hidden: str, interval: str) -> str:
    return f"Comparisons of levels of {named}{hidden}, adjusted {interval}"


def as_good_within(named: str, first: str) -> str:
    return f"As good within the margin, for {named}, {first} interval"


def best_at_each_level(named: str) -> str:
    return f"Best {named} at each level"


def terms_together(named: str) -> str:
    return f"Terms of {named} judged together"


def directions_of(named: str) -> str:
    return f"Directions in which {named} bends"


def second_order_of(named: str) -> str:
    return f"The second-order model of {named}"


def columns_of_levels(names: Iterable[str]) -> tuple[str, ...]:
    return (*names, "response", "low", "high")


def best_at_distance(named: str) -> str:
    return f"Best {named} at each distance from the middle"


def columns_of_path(amounts: Iterable[str]) -> tuple[str, ...]:
    return ("half ranges", *amounts, "response", "low", "high", "inside")


def columns_of_bends(steps: Iterable[str]) -> tuple[str, ...]:
    return (*steps, "bend", "low", "high", "verdict")


def one_step_of(named: str) -> str:
    return f"{named}, one step"


def path_caption(response: str) -> str:
    return f"The path along which {response} gets better fastest, to the edge of what was baked"


def level_shares(level: str, having: int, noted: int) -> str:
    return f"{level}: {having} of {noted}"


def columns_of_pairs(what: str, ratio: Iterable[str]) -> tuple[str, ...]:
    return ("factor", "levels", what, "low", "high", *ratio, "adjusted p")


def columns_of_ratio(odds: str) -> tuple[str, ...]:
    return (odds, "from", "to")


def columns_of_contrasts(link: str, odds: str) -> tuple[str, ...]:
    return ("contrast", f"on the {link} scale", "low", "high", odds, "from", "to", "p")


def columns_of_equivalence(what: str) -> tuple[str, ...]:
    return ("levels", what, "low", "high", "margin", "verdict", "p")


def scale_of(scale: str, response: str) -> str:
    return f"{scale} of {response}"
