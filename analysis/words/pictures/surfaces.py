"""What do pictures of surfaces and blends say?"""

from __future__ import annotations

from collections.abc import Iterable

BEST = "best"
SHARE_OF_WHOLE = "share of the whole"
NEAREST_TARGET = "nearest its target"
AS_GOOD_AS_BEST = "as good as the best"
SHADED_AS_GOOD = " Shaded: as good as the best."
DASHED_EDGE = " Dashed: the edge of what was baked."
LEVELS_OUT = "levels out"
ITS_REGION = "its region"
AT_EDGE = ", at the edge of the bakes"
AS_FAR_AS_TOLD = "as far as can be told apart"
LIES_OUTSIDE = ", which lies outside what was baked"
WITHIN_WHAT_MATTERS = "to within the difference that matters"


def also_drawn_at(held: str) -> str:
    return f" Drawn at {held}."


def with_bands(confidence: str) -> str:
    return f" with {confidence} bands"


def triangle_title(response: str) -> str:
    return f"{response} over all blends"


def traces_title(response: str) -> str:
    return f"{response} along each share"


def columns_of_blends(of: Iterable[str], unit: str) -> tuple[str, ...]:
    return ("blend", *of, f"response{unit}", f"low{unit}", f"high{unit}")


def columns_of_traces(unit: str) -> tuple[str, ...]:
    return ("along", "share", f"response{unit}", f"low{unit}", f"high{unit}")


def triangle_alt(response: str, wish: str, blend: str, size: str, said: str) -> str:
    return f"{response} is {wish} with {blend}: {size}{said}."


def traces_alt(response: str, share: str, size: str, ends: str) -> str:
    return f"{response} moves most along {share}: by {size} between {ends}."


def traces_caption(response: str, bands: str, mean: str) -> str:
    return (
        f"Lines: fitted {response}{bands} as one share changes and the others keep their proportions; all "
        f"lines meet at the mean blend ({mean})."
    )


def triangle_caption(response: str, edge: str, good: str, more: str) -> str:
    return f"Lines: fitted {response}, as labelled. Dots: blends that were baked.{edge} Diamond: the best.{good}{more}"


def drawn_at(at: str) -> str:
    return f"Drawn at {at}."


def shaded_within(within: str) -> str:
    return f"Shaded: as good as the best, {within}."


def dots_whatever(others: str) -> str:
    return f"bakes, whatever their {others}"


def dotted_region(confidence: str) -> str:
    return f"; dotted: its {confidence} region"


def hollow_square(where: str, region: str) -> str:
    return f"Hollow square: where the surface levels out{where}{region}."


def columns_of_points(of: Iterable[str], size: str) -> tuple[str, ...]:
    return ("point", *of, f"response{size}", f"low{size}", f"high{size}")


def surface_alt(response: str, wish: str, settings: str, edge: str, size: str, said: str) -> str:
    return f"{response} is {wish} at {settings}{edge}: {size}{said}."


def dotted_alone(confidence: str) -> str:
    return f"Dotted: the {confidence} region of where the surface levels out, itself not shown."


def surface_title(response: str, x_name: str, y_name: str) -> str:
    return f"{response} over {x_name} and {y_name}"


def lines_dots_dashes(named: str, dots: str) -> str:
    return f"Lines: fitted {named}, as labelled. Dots: {dots}. Dashed: the edge of what was baked. Diamond: the best."
