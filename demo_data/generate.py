"""Which readings and taste notes would the invented kitchen have written down?

Pure functions of the truth, the runs and a seed. Chance comes from NumPy's PCG64, named
here because NumPy's default generator may change; one stream for each trial and response,
so that a new response leaves the old readings as they are.
"""

from __future__ import annotations

import datetime
import hashlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from demo_data.truth import Settings, expected, phrases, truth

Array = NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class ToBake:
    """One run as the generator needs it: its blind code, its bake day (None: no blocks), its treatment."""

    code: str
    day: str | None
    settings: Settings


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """One reading. ``piece`` is None for a reading of the whole bake; both count from 1."""

    code: str
    response: str
    piece: int | None
    repeat: int
    value: float


@dataclass(frozen=True, kw_only=True)
class DrawnScore:
    """What one of the people beside the first scored; ``assessor`` is the place among the people, from 1."""

    code: str
    response: str
    assessor: int
    value: float


@dataclass(frozen=True, kw_only=True)
class DrawnNote:
    code: str
    words: str
    tags: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class DrawnBatch:
    """One day's batch of the log; ``rise_height_mm`` holds one value for each piece.

    ``beside`` maps what else was looked at (crumb pH, gas of the open powder in ml a gram, °C of
    the oven) to its reading; what was not looked at for this batch is not in it.
    """

    number: str
    baked_at: str
    line: str
    oven: str
    shift: str
    flour_lot: str
    powder_lot: str
    rise_height_mm: tuple[float, ...]
    beside: Mapping[str, float]


def stream(seed: int, *purpose: str) -> np.random.Generator:
    """The chance for one purpose, the same for the same seed."""
    word = int.from_bytes(hashlib.sha256("|".join(purpose).encode()).digest()[:8], "big")
    return np.random.Generator(np.random.PCG64(np.random.SeedSequence([seed, word])))


def draw(key: str, response: str, bakes: Sequence[ToBake], seed: int) -> tuple[Drawn, ...]:
    """Readings of one response of the trial ``key`` (one of ``truth.TRIALS``), bake by bake."""
    part = truth()[key][response.replace(" ", "_")]
    rng = stream(seed, key, response)
    of_bake = _bake_values(key, response, bakes, seed, rng)
    if response == "crumb score":
        scores = np.clip(np.rint(of_bake), 1, 5)
        return tuple(
            Drawn(code=bake.code, response=response, piece=None, repeat=1, value=float(score))
            for bake, score in zip(bakes, scores, strict=True)
        )
    pieces, readings = part.get("pieces", 1), part.get("readings", 1)
    of_piece = of_bake[:, None] + rng.normal(0, part["sd"]["piece"], (len(bakes), pieces))
    values = of_piece[:, :, None] + rng.normal(0, part["sd"]["reading"], (len(bakes), pieces, readings))
    return tuple(
        Drawn(
            code=bake.code,
            response=response,
            piece=piece + 1 if "pieces" in part else None,
            repeat=repeat + 1,
            value=round(float(values[row, piece, repeat]), part["decimals"]),
        )
        for row, bake in enumerate(bakes)
        for piece in range(pieces)
        for repeat in range(readings)
    )


def draw_scores(key: str, bakes: Sequence[ToBake], seed: int) -> tuple[DrawnScore, ...]:
    """Scores by further assessors of the same crumbs; those of ``draw`` are the first one's."""
    response, rng = "crumb score", stream(seed, key, "crumb score", "others")
    others = truth()[key].get("crumb_score", {}).get("others", [])
    if not others:
        return ()
    of_bake = _bake_values(key, response, bakes, seed, stream(seed, key, response))
    found = []
    for place, one in enumerate(others, start=1):
        scores = np.clip(np.rint(of_bake + one["milder"] + rng.normal(0, one["sd"], len(bakes))), 1, 5)
        found += [
            DrawnScore(code=bake.code, response=response, assessor=place, value=float(score))
            for bake, score in zip(bakes, scores, strict=True)
        ]
    return tuple(found)


def day_deviations(key: str, response: str, bakes: Sequence[ToBake], seed: int) -> dict[str, float]:
    """How far each bake day lay from the truth; ``draw`` with the same arguments uses the same."""
    sd = truth()[key][response.replace(" ", "_")]["sd"].get("day", 0.0)
    days = sorted({bake.day for bake in bakes if bake.day is not None})
    return dict(zip(days, stream(seed, key, response, "days").normal(0, sd, len(days)).tolist(), strict=True))


def _bake_values(key: str, response: str, bakes: Sequence[ToBake], seed: int, rng: np.random.Generator) -> Array:
    """True mean plus the day's and the bake's own deviation, one value for each bake."""
    of_day = day_deviations(key, response, bakes, seed)
    means = np.array([expected(key, response, bake.settings) + of_day.get(bake.day or "", 0.0) for bake in bakes])
    return means + rng.normal(0, truth()[key][response.replace(" ", "_")]["sd"]["bake"], len(bakes))


def draw_notes(key: str, bakes: Sequence[ToBake], seed: int) -> tuple[DrawnNote, ...]:
    """Taste notes: faults with the chance their cause gives them, plain words otherwise."""
    part = truth()[key]["notes"]
    rng = stream(seed, key, "notes")
    notes = (_note(part, bake, rng) for bake in bakes)
    return tuple(note for note in notes if note is not None)


def _note(part: Mapping[str, Any], bake: ToBake, rng: np.random.Generator) -> DrawnNote | None:
    noted = rng.random() < part["share_noted"]
    dose = float(bake.settings.get("soda", bake.settings.get("powder", 0.0)))
    faults = [
        tag for tag, chance in part.items() if isinstance(chance, Mapping) and rng.random() < _logistic(chance, dose)
    ]
    plain = str(rng.choice(_plain_tags(part)))
    if not noted:
        return None
    tags = tuple(faults) or (plain,)
    kind = phrases()["fault" if faults else "plain"]
    return DrawnNote(code=bake.code, words="; ".join(str(rng.choice(kind[tag])) for tag in tags), tags=tags)


def _plain_tags(part: Mapping[str, Any]) -> list[str]:
    """Cookies brown and snap; loaves and scones have a crumb."""
    loaf_like = any(isinstance(chance, Mapping) for chance in part.values())
    return ["fine", "fine", "coarse", "gummy", "dry"] if loaf_like else ["sweet", "crisp", "crisp", "dry"]


def _logistic(chance: Mapping[str, float], dose: float) -> float:
    return 1 / (1 + math.exp(-(chance["at_zero"] + chance["per_percent"] * dose)))


def draw_log(seed: int) -> tuple[DrawnBatch, ...]:
    """The daily log: two batches a day, with one drift and one step whose causes the truth names."""
    part = truth()["log"]
    rng = stream(seed, "log")
    sd = part["sd"]
    first = datetime.date.fromisoformat(part["first_day"])
    batches = []
    for place in range(1, part["batches"] + 1):
        flour, powder = _in_use(part["flour_lots"], place), _in_use(part["powder_lots"], place)
        centre = part["mean"] + log_shift(place) + rng.normal(0, sd["batch"])
        pieces = centre + rng.normal(0, sd["piece"], part["pieces"]) + rng.normal(0, sd["reading"], part["pieces"])
        late = (place - 1) % 2
        day = first + datetime.timedelta(days=(place - 1) // 2)
        oven = str(rng.choice(part["ovens"]))
        batches.append(
            DrawnBatch(
                number=f"{day:%y%m%d}-{late + 1}",
                baked_at=f"{day.isoformat()}T{'14' if late else '05'}:30:00Z",
                line=part["lines"][0],
                oven=oven,
                shift=part["shifts"][late],
                flour_lot=flour,
                powder_lot=powder,
                rise_height_mm=tuple(round(float(value), part["decimals"]) for value in pieces),
                beside=_beside(place, oven, seed),
            )
        )
    return tuple(batches)


def _beside(place: int, oven: str, seed: int) -> dict[str, float]:
    """What was looked at beside the rise at a batch; chance of its own, so that the rise stays as it was."""
    found = {}
    for name, part in truth()["log"]["beside"].items():
        if (place - 1) % part["every"]:
            continue
        true = part["usual"] + part.get("shift", {}).get(oven, 0.0)
        true *= 1 - part.get("lost_per_batch", 0.0) * lot_age(place)
        read = true + stream(seed, "log", name, str(place)).normal(0, part["sd"])
        found[name.replace("_", " ")] = round(float(read), part["decimals"])
    return found


def lot_age(place: int) -> int:
    """For how many batches the lot that grows weaker has stood open, this one counted; 0 when another is in use."""
    part = truth()["log"]
    lot = part["drift"]["lot"]
    return place - part["powder_lots"][lot] + 1 if _in_use(part["powder_lots"], place) == lot else 0


def log_shift(place: int) -> float:
    """How far the truth lies from the usual mean at a batch (counted from 1), in mm."""
    part = truth()["log"]
    shift = float(part["drift"]["per_batch"] * lot_age(place))
    if _in_use(part["flour_lots"], place) == part["step"]["lot"]:
        shift += part["step"]["size"]
    return shift


def _in_use(lots: Mapping[str, int], place: int) -> str:
    """The lot a batch was made with: the last one opened at or before it."""
    return max((first, lot) for lot, first in lots.items() if first <= place)[1]
