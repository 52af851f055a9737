"""Which ready plans are there to begin with?

Eight plans of our own for classrooms and kitchens, as plan files in the package. Their
numbers are invented or rough; each says what to look at afterwards.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

from tracker.errors import NotFound
from tracker.intake.spreadsheet import nearest

FOLDER = "starters"


@dataclass(frozen=True, kw_only=True)
class Starter:
    """A ready plan. ``text`` is its plan file."""

    name: str
    title: str
    question: str
    text: str

    def to_json(self) -> dict[str, Any]:
        return {"starter": self.name, "title": self.title, "question": self.question}


@cache
def list_starters() -> tuple[Starter, ...]:
    """All of them, by name."""
    found = []
    for entry in files("tracker").joinpath(FOLDER).iterdir():
        if entry.name.endswith(".toml"):
            text = entry.read_text(encoding="utf-8")
            head = tomllib.loads(text)
            found.append(
                Starter(
                    name=entry.name.removesuffix(".toml"), title=head["title"], question=head["question"], text=text
                )
            )
    return tuple(sorted(found, key=lambda each: each.name))


def find_starter(name: str) -> Starter:
    """Raises NotFound with the nearest name."""
    known = {each.name: each for each in list_starters()}
    if name in known:
        return known[name]
    near = nearest(name, list(known))
    raise NotFound(
        f'There is no starter "{name}"; there are {", ".join(known)}.',
        where="--starter",
        try_this=f"--starter {near}" if near else "crumbwise trial plan --list-starters",
    )
