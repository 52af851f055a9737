"""How is a recorded value read aloud?"""

from __future__ import annotations

from tracker.intake.numbers import number_text
from tracker.intake.values import anchors_of
from tracker.models import Response


def said_reading(response: Response | None, value: float | None) -> str:
    """ "42.5 mm", "4, fine", "yes"; a void is "taken back"."""
    if value is None:
        return "taken back"
    if response is None:
        return number_text(value)
    if response.scale == "yes-no":
        return "yes" if value else "no"
    anchors = anchors_of(response)
    if response.scale == "score" and 1 <= value <= len(anchors):
        return f"{number_text(value)}, {anchors[int(value) - 1]}"
    return f"{number_text(value)} {response.unit}".strip()


def said_outcome(state: str, oven: str, deviations: str) -> str:
    """ "done, oven 175 °C; the tray was turned"; a run with readings and nothing else said is "done"."""
    told = (state or "done") + (f", oven {oven} °C" if oven else "")
    return told + (f"; {' '.join(deviations.split())}" if deviations.strip() else "")
