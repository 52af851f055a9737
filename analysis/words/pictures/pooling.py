"""What do pictures of several trials together say?"""

from __future__ import annotations

ALL_TOGETHER = "all together"
NEXT_TRIAL = "a next trial"
COLUMNS_OF_STEPS = ("trials", "with", "estimate", "low", "high")
GOES_ON = " Lines with an arrow go on beyond the picture."
PALE_BAND = "Pale band: less than the difference that matters."
COLUMNS_OF_TRIALS = ("trial", "estimate", "low", "high", "drawn to", "weight")


def trial_alone(trial: str) -> str:
    return f"{trial} alone"


def learnt_title(effect: str) -> str:
    return f"What was learnt: {effect}"


def change_in(response: str) -> str:
    return f"change in {response}"


def pooled_alt(effect: str, size: str, count: int, said: str) -> str:
    return f"{effect}: {size} over {count} trials ({said})."


def learnt_caption(effect: str, cut: str) -> str:
    return f"What was known after each trial with those before it, in order of time. {effect}{cut}"


def pooled_caption(confidence: str, effect: str, cut: str) -> str:
    return (
        f"Each trial with its {confidence} interval; hollow: where the others draw it to. Blue band: the "
        f"shared effect. {effect}{cut}"
    )


def learnt_alt(effect: str, trials: int, cut: str, low: str) -> str:
    return f"After 1 trial {effect}, after {trials} {cut} ({low})."
