"""How are the fields of the batch pages read, and what stands in them when they are shown again?"""

from __future__ import annotations

from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from starlette.datastructures import FormData

from tracker.bench.kit import advice, text
from tracker.intake.numbers import number_text
from tracker.workflow.batch_pages import BatchForm
from tracker.workflow.batches import BatchLine
from tracker.workflow.correcting_batches import NONE, Mended

PLACES = ("oven", "shift", "line")
OTHER = "other:"  # what is chosen when the place is typed
READING, SIZE, LOT = "reading:", "size:", "lot:"


def wrong(error: Exception) -> dict[str, str]:
    """What is wrong and what to do, in words of the page."""
    what = str(getattr(error, "what", error))
    return {"what": what, "next": advice(error) or "look at the field that is named and send it again"}  # type: ignore[arg-type]


def in_the_kitchen(stamp: str, zone: ZoneInfo) -> str:
    """ "2026-11-26 05:40" of a moment in UTC, in the kitchen's own time: as it would be typed."""
    return datetime.fromisoformat(stamp).astimezone(zone).strftime("%Y-%m-%d %H:%M")


def offered(asked: BatchForm, filled: dict[str, str], stands: BatchLine | None = None) -> list[dict[str, Any]]:
    """Oven, shift and line: those of the last batches, and which is chosen."""
    found = []
    known = {"oven": asked.ovens, "shift": asked.shifts, "line": asked.lines}
    for name in PLACES:
        chosen = filled.get(name, getattr(asked if stands is None else stands, name))
        typed_here = filled.get(f"{name}:other", "")
        if chosen and chosen != OTHER and chosen not in known[name]:
            chosen, typed_here = OTHER, chosen
        found.append({"name": name, "known": known[name], "chosen": chosen, "typed": typed_here})
    return found


def typed_fields(form: FormData) -> dict[str, str]:
    """Fields as they were typed; boxes of one reading are numbered from 1."""
    seen: dict[str, int] = {}
    found = {}
    for name, value in form.multi_items():
        if isinstance(value, str):
            seen[name] = seen.get(name, 0) + 1
            found[f"{name}:{seen[name]}" if name.startswith(READING) else name] = value
    return found


def readings(form: FormData) -> list[str]:
    """ "rise height=43,1; 42.8" for each response of which a box was filled."""
    found = []
    for name in dict.fromkeys(name for name in form if name.startswith(READING)):
        response = name.removeprefix(READING)
        boxes = [value for value in _boxes(form, response) if value]
        size = text(form, SIZE + response)
        if boxes:
            found.append(f"{response}={boxes[0]}/{size}" if size else f"{response}={'; '.join(boxes)}")
    return found


def lots(form: FormData) -> list[str]:
    """ "flour=F-311" for each lot; a further one is named in two boxes."""
    found = []
    for name in dict.fromkeys(name for name in form if name.startswith(LOT)):
        code = text(form, name)
        if code:
            found.append(f"{name.removeprefix(LOT)}={code}")
    return found + further_lot(form)


def further_lot(form: FormData) -> list[str]:
    ingredient, code = text(form, "further_ingredient"), text(form, "further_lot")
    return [f"{ingredient}={code}"] if ingredient or code else []


def ticked(form: FormData, name: str) -> list[str]:
    """Every value that was ticked."""
    return [value for value in form.getlist(name) if isinstance(value, str) and value]


def place(form: FormData, name: str) -> str:
    chosen = text(form, name)
    return text(form, f"{name}:other") if chosen in ("", OTHER) else chosen


def mended(form: FormData, stands: BatchLine) -> Mended:
    """Only what differs from what stands; an emptied lot did not go in, emptied readings are taken back."""
    places = {name: place(form, name) for name in PLACES if name in form}
    changed: dict[str, Any] = {name: value for name, value in places.items() if value != getattr(stands, name)}
    codes = [
        f"{name}={text(form, LOT + name) or NONE}"
        for name, code in stands.lots.items()
        if LOT + name in form and text(form, LOT + name) != code
    ]
    as_it_stands = {f"{name}={standing}" for name in stands.values for standing in (_standing(stands, name),)}
    emptied = tuple(name for name in stands.values if READING + name in form and not any(_boxes(form, name)))
    void = {"yes": True, "no": False}.get(text(form, "void"))
    return Mended(
        at=text(form, "at") or None,
        lots=(*codes, *further_lot(form)),
        readings=tuple(each for each in readings(form) if each not in as_it_stands),
        take_back=emptied,
        void=None if void == stands.void else void,
        **changed,
    )


def _standing(stands: BatchLine, response: str) -> str:
    values = [number_text(value) for value in stands.values[response]]
    sizes = [number_text(size) for size in stands.sizes.get(response, ())]
    return f"{values[0]}/{sizes[0]}" if values and sizes else "; ".join(values)


def _boxes(form: FormData, response: str) -> list[str]:
    return [value.strip() for value in form.getlist(READING + response) if isinstance(value, str)]
