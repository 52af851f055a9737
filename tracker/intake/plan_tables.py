"""Which tables and keys may stand in a plan file, and of which kind is each value?

Plain pydantic models, one for each table of the file; ``plan_checks`` says where they
contradict each other.
"""

from __future__ import annotations

import unicodedata
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, FiniteFloat

LONGEST_NAME = 100
LONGEST_TEXT = 20_000
LARGEST_SEED = 2**31 - 1  # as analysis.designs.shuffle and a 32-bit column hold it
# Formatting characters that turn text round or hide it, besides the control characters.
HIDDEN = frozenset("\u200b\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2060\u2066\u2067\u2068\u2069\ufeff")


def _clean(value: Any, *, kept: str, longest: int) -> Any:
    if not isinstance(value, str):
        return value
    text = unicodedata.normalize("NFC", value)
    bad = next((c for c in text if (unicodedata.category(c) == "Cc" and c not in kept) or c in HIDDEN), None)
    if bad is not None:
        raise ValueError(f"holds the control character U+{ord(bad):04X}")
    if len(text) > longest:
        raise ValueError(f"is longer than {longest} characters")
    return text


def clean_name(value: Any) -> Any:
    """A name with single spaces in one Unicode spelling. Raises ValueError that ends "The name …"."""
    text = _clean(value, kept="", longest=LONGEST_NAME)
    if isinstance(text, str):
        text = " ".join(text.split())
        if not text:
            raise ValueError("is empty")
    return text


def _label(value: Any) -> Any:
    text = _clean(value, kept="", longest=LONGEST_NAME)
    return " ".join(text.split()) if isinstance(text, str) else text


def _prose(value: Any) -> Any:
    text = _clean(value, kept="\n\t\r", longest=LONGEST_TEXT)
    return text.strip() if isinstance(text, str) else text


ENDS = ("at_least", "at_most")


def _ends(value: Any) -> Any:
    """{ at_least = 40 } as [40, None], { at_most = 8.1 } as [None, 8.1]; a pair stays as it stands."""
    if not isinstance(value, dict):
        return value
    if not value or not set(value) <= set(ENDS):
        raise ValueError(f"names {', '.join(value) or 'no end'}; its ends are {' and '.join(ENDS)}")
    wrong = next((end for end, number in value.items() if not isinstance(number, (int, float))), None)
    if wrong is not None:
        raise ValueError(f"has no number as {wrong}")
    return [value.get(end) for end in ENDS]


Name = Annotated[str, BeforeValidator(clean_name)]
Label = Annotated[str, BeforeValidator(_label)]  # may be empty: a unit
Prose = Annotated[str, BeforeValidator(_prose)]
Range = Annotated[list[FiniteFloat], Field(min_length=2, max_length=2)]
OpenRange = Annotated[list[FiniteFloat | None], Field(min_length=2, max_length=2), BeforeValidator(_ends)]


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, frozen=True)


class FactorTable(_Table):
    """[[factor]]"""

    name: Name
    kind: Literal["amount", "category", "share"]
    unit: Label = ""
    low: FiniteFloat | None = None
    high: FiniteFloat | None = None
    values: Annotated[list[FiniteFloat], Field(min_length=2)] | None = None
    levels: Annotated[int, Field(ge=2, le=60)] | Annotated[list[Name], Field(max_length=60)] | None = None
    spacing: Literal["equal", "geometric"] = "equal"
    ingredient: Name | None = None
    neutralises: Name | Annotated[FiniteFloat, Field(ge=0, le=100)] | None = None
    amounts: dict[Name, Annotated[FiniteFloat, Field(ge=0, le=10_000)]] = {}
    lines: dict[Name, Name] = {}
    replaces: Name | None = None
    water_back: bool | Name = False
    reference: Name | None = None
    hard_to_change: bool = False
    of: Name | None = None
    total: FiniteFloat | None = None

    @property
    def level_names(self) -> list[str]:
        """Level names of a category; empty for an amount."""
        return list(self.levels) if isinstance(self.levels, list) else []

    @property
    def water_line(self) -> str | None:
        """The line that water comes off, if any."""
        if isinstance(self.water_back, str):
            return self.water_back
        return "water" if self.water_back else None


class ResponseTable(_Table):
    """[[response]]"""

    name: Name
    unit: Label = ""
    scale: Literal["measured", "score", "count", "yes-no"] = "measured"
    goal: Literal["maximise", "minimise", "target"] | None = None
    target: FiniteFloat | None = None
    matters: Annotated[FiniteFloat, Field(gt=0)] | None = None
    plausible: Range | None = None
    possible: Range | None = None
    accept: OpenRange | None = None
    importance: Annotated[FiniteFloat, Field(gt=0, le=1000)] = 1.0
    spread: Annotated[FiniteFloat, Field(gt=0)] | None = None
    whole_plot_spread: Annotated[FiniteFloat, Field(ge=0)] | None = None
    anchors: Annotated[list[Name], Field(max_length=20)] = []
    pieces: Annotated[int, Field(ge=1, le=100)] = 1
    readings: Annotated[int, Field(ge=1, le=100)] = 1


class DesignTable(_Table):
    """[design]"""

    kind: Name
    levels: Annotated[int, Field(ge=2, le=60)] | None = None
    replicates: Annotated[int, Field(ge=1, le=200)] = 1
    block: Name | None = None
    block_size: Annotated[int, Field(ge=1, le=1000)] | None = None
    seed: Annotated[int, Field(ge=0, le=LARGEST_SEED)] | None = None
    runs: Annotated[int, Field(ge=1, le=1000)] | None = None
    resolution: Annotated[int, Field(ge=3, le=9)] | None = None
    centre_points: Annotated[int, Field(ge=0, le=200)] | None = None
    generators: list[Name] = []
    accept_few_df: bool = False
    model: (
        Literal[
            "main effects",
            "interactions",
            "quadratic",
            "mixture linear",
            "mixture quadratic",
            "mixture special cubic",
        ]
        | None
    ) = None
    axial: Literal["rotatable", "face", "orthogonal"] | Annotated[FiniteFloat, Field(gt=0, le=10)] | None = None
    inside: bool = False
    rows: Name | None = None
    columns: Name | None = None
    whole_plots: Annotated[int, Field(ge=2, le=400)] | None = None
    criterion: Literal["D", "I"] | None = None
    degree: Annotated[int, Field(ge=1, le=10)] | None = None
    starts: Annotated[int, Field(ge=1, le=100_000)] | None = None
    oven_holds: Annotated[int, Field(ge=1, le=200)] | None = None


class ConstraintTable(_Table):
    """[[constraint]]: what may be baked together, such as says = "soda + powder <= 3"."""

    says: Name


class LineTable(_Table):
    """[[formula.line]]"""

    ingredient: Name
    bakers_percent: Annotated[FiniteFloat, Field(ge=0, le=10_000)]
    flour: bool = False


class FormulaTable(_Table):
    """[formula]"""

    name: Name
    method: Prose = ""
    line: Annotated[list[LineTable], Field(min_length=1, max_length=200)]


class HeadTable(_Table):
    """The keys before the first table. ``formula`` here names a stored one."""

    title: Name
    question: Prose = ""
    name: Name | None = None
    formula: Name | None = None
    flour_per_bake_g: Annotated[FiniteFloat, Field(gt=0, le=1_000_000)] | None = None
