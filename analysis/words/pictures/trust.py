"""What do pictures of residuals, of influence and of scatter say?"""

from __future__ import annotations

RESIDUAL = "residual"
FITTED_VALUE = "fitted value"
ORDER_OF_BAKING = "order of baking"
SD_BETWEEN = "standard deviation between"
TREATMENT = "treatment"
MOVE_AXIS = "move without the bake\n(% of half the interval)"
PLACE_AXIS = "where bell-shaped scatter would put it (in its SD)"


def residual_column(shown: str) -> str:
    return f"residual{shown}"


def fitted_axis(response: str) -> str:
    return f"fitted {response}"


def residuals_title(response: str, against: str) -> str:
    return f"Residuals of {response} against {against}"


def residuals_alt(named: str, against: str, size: str, bake: str) -> str:
    return f"Residuals of {named} against {against}: the largest is {size}, bake {bake}."


def units_within(who: str, within: str) -> str:
    return f"{who} of one {within}"


def sd_of(most: str) -> str:
    return f"SD {most}."


def scatter_lies_title(response: str) -> str:
    return f"Where the scatter of {response} lies"


def slope_between(slope_of: str, group: str) -> str:
    return f"effect of {slope_of} between {group}"


def columns_of_scatter(shown: str) -> tuple[str, ...]:
    return ("between", "how many", f"standard deviation{shown}", f"low{shown}", f"high{shown}")


def most_lies_between(response: str, part: str) -> str:
    return f"Most scatter of {response} lies between {part}:"


def scatter_lies_caption(confidence: str) -> str:
    return f"Standard deviation of each kind of group with its {confidence} interval."


def scale_in_brackets(scale: str) -> str:
    return f" (on the scale of the {scale})"


def by_level_alt(response: str) -> str:
    return f"Residuals of {response} by level."


def columns_of_shape(unit: str) -> tuple[str, ...]:
    return ("bake", f"residual{unit}", "place of bell-shaped scatter")


def spread_title(response: str, between: str) -> str:
    return f"Scatter of {response} by {between}"


def shape_title(response: str) -> str:
    return f"Shape of the scatter of {response}"


def columns_of_moves(where: str) -> tuple[str, ...]:
    return ("bake", "effect", f"moves by{where}", "of half its interval")


def influence_title(response: str) -> str:
    return f"What single bakes do to the effects on {response}"


def spread_alt(response: str, widest: str, size_of_widest: str, narrowest: str, size_of_narrowest: str) -> str:
    return (
        f"{response} scatters most for {widest} (SD {size_of_widest}), least for {narrowest} (SD {size_of_narrowest})."
    )


def moves_most(bake: str, term: str, share: str) -> str:
    return f"Bake {bake} moves most: the effect of {term} by {share} of half its interval."


def shape_alt(response: str, low: str, bake: str, high: str, bake_of_high: str) -> str:
    return f"Residuals of {response} in order of size: from {low} (bake {bake}) to {high} (bake {bake_of_high})."


def columns_of_spread(between: str, unit: str) -> tuple[str, ...]:
    return (between, "bakes", f"SD of residuals{unit}")


def columns_of_residuals(along: str, unit: str) -> tuple[str, ...]:
    return ("bake", along, residual_column(unit))
