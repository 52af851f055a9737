"""What has a response to meet, as it is typed: "rise height:lower=40,upper=48,target=44,unit=mm"?"""

from __future__ import annotations

from dataclasses import dataclass

from tracker.errors import InputError, UsageError
from tracker.intake.numbers import number_text, read_number
from tracker.intake.spreadsheet import nearest

NUMBERS = ("lower", "upper", "target")
WORDS = ("unit", "stands-for", "scale")
_EXAMPLE = '"rise height:lower=40,upper=48,target=44,unit=mm"'


@dataclass(frozen=True, kw_only=True)
class SpecificationAsked:
    """None for what was not said."""

    name: str
    lower: float | None = None
    upper: float | None = None
    target: float | None = None
    unit: str | None = None
    stands_for: str | None = None
    scale: str | None = None

    @property
    def limits(self) -> tuple[float | None, float | None, float | None]:
        return self.lower, self.upper, self.target

    @property
    def bounds(self) -> bool:
        """Was anything said that a batch has to meet?"""
        return any(each is not None for each in self.limits)


def read_specification(text: str) -> SpecificationAsked:
    """Read one; a name alone is a response without a specification.

    Raises UsageError for an unknown word, InputError for bounds the wrong way round or a target
    outside them.
    """
    name, colon, rest = text.rpartition(":") if "=" in text.rpartition(":")[2] else (text, "", "")
    if not name.strip() or ("=" in name and not colon):
        raise UsageError(f'"{text}" names no response.', where="--spec", try_this=_EXAMPLE)
    said = _said(rest, text)
    numbers = {
        word: read_number(said[word], what=f"{name.strip()}, {word}", where="--spec")
        for word in NUMBERS
        if word in said
    }
    asked = SpecificationAsked(
        name=name.strip(),
        lower=numbers.get("lower"),
        upper=numbers.get("upper"),
        target=numbers.get("target"),
        unit=said.get("unit"),
        stands_for=said.get("stands-for"),
        scale=said.get("scale"),
    )
    _check(asked)
    return asked


def _said(rest: str, text: str) -> dict[str, str]:
    """Word -> text; a part without "=" belongs to the number before it (a decimal comma)."""
    parts: list[str] = []
    for part in rest.split(",") if rest.strip() else []:
        if "=" in part or not parts:
            parts.append(part)
        else:
            parts[-1] += f",{part}"
    said: dict[str, str] = {}
    for part in parts:
        word, equals, value = part.partition("=")
        word = word.strip().casefold().replace("_", "-").replace(" ", "-")
        known = (*NUMBERS, *WORDS)
        if not equals or word not in known:
            near = nearest(word, known)
            raise UsageError(
                f'"{part.strip()}" in "{text}" says nothing of a specification.',
                where="--spec",
                try_this=f"{near}=…" if near else f"{', '.join(known)}; such as {_EXAMPLE}",
            )
        if word in said:
            raise UsageError(f'"{text}" says {word} twice.', where="--spec", try_this="say it once")
        said[word] = value.strip()
    return said


def _check(asked: SpecificationAsked) -> None:
    lower, upper, target = asked.limits
    if lower is not None and upper is not None and lower >= upper:
        swapped = f"lower={number_text(upper)},upper={number_text(lower)}"
        raise InputError(
            f"{asked.name}: the lower bound {number_text(lower)} is not below the upper bound {number_text(upper)}.",
            where="--spec",
            try_this=f'"{asked.name}:{swapped}" if they were swapped',
        )
    outside = target is not None and ((lower is not None and target < lower) or (upper is not None and target > upper))
    if outside:
        raise InputError(
            f"{asked.name}: the target {number_text(target or 0.0)} lies outside its own specification.",
            where="--spec",
            try_this="a target between the bounds, or none",
        )
