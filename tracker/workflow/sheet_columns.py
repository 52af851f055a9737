"""Which column of a spreadsheet is which, and what is taken for what where nothing was said?"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from tracker.errors import InputError
from tracker.intake.columns import KINDS, find_column, guess_kind, split_kind
from tracker.intake.mapping import plain, split_unit
from tracker.intake.spreadsheet import Sheet

# Columns of our own exports and of bench sheets: they say which row it is, not what was changed.
SERVICE = {
    "run", "run code", "code", "row", "piece", "repeat", "reading", "bake", "bake order", "order", "place in design",
    "outcome", "reason", "deviations", "oven temperature c", "unlikely", "taste notes", "taste note", "note",
    "notes", "date", "person", "comment",
}  # fmt: skip
# Columns that mostly say which bakes were made under the same conditions.
BLOCKS = {"block", "replicate", "bake day", "day", "oven load", "session"}
PLUS = "+"


class SheetColumns:
    """A spreadsheet by the names of its columns: as they are written, and without their units."""

    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        names = [split_unit(column)[0] for column in sheet.header]
        alone = [names.count(name) == 1 and bool(name) for name in names]
        self.names = {c: n if a else c for c, n, a in zip(sheet.header, names, alone, strict=True)}
        self.units = {c: split_unit(c)[1] if a else "" for c, a in zip(sheet.header, alone, strict=True)}

    def named(self, columns: Iterable[str]) -> list[str]:
        """The columns' names without units."""
        return [self.names[column] for column in columns]

    def name_of(self, said: str | None, option: str) -> str | None:
        """The name without unit of the one that is called so; None where nothing was said."""
        return self.names[self.column(said, option)] if said else None

    def column(self, name: str, option: str) -> str:
        """The one that is called so, with or without its unit. Raises InputError with the nearest."""
        return find_column(self.sheet.header, name, option=option)

    def columns(self, text: str | None, option: str) -> list[str]:
        """ "A+B" as two columns, unless one column is called that."""
        if not text:
            return []
        parts = [text] if text in self.sheet.header else [part.strip() for part in text.split(PLUS)]
        return [self.column(part, option) for part in parts]

    def kind(self, column: str) -> str:
        return guess_kind(self.sheet.column(column))


@dataclass(kw_only=True)
class Factors:
    """Column → kind in the order asked for (else of the file), the columns whose kind was guessed, and remarks."""

    kinds: dict[str, str] = field(default_factory=dict)
    guessed: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def the_responses(columns: SheetColumns, named: Sequence[str]) -> list[str]:
    """The columns that were measured. Raises InputError when none was named."""
    header = columns.sheet.header
    if not named:
        numeric = [column for column in header if columns.kind(column) == "amount"]
        raise InputError(
            f"No response was named; the columns are {', '.join(header)}.",
            where=columns.sheet.source,
            try_this=f'--response "{numeric[-1] if numeric else header[-1]}"',
        )
    return list(dict.fromkeys(columns.column(name, "--response") for name in named))


def the_bake(columns: SheetColumns, said: str | None, responses: Sequence[str]) -> tuple[list[str], list[str]]:
    """The columns that tell bakes apart, and remarks.

    Our exports tell a run from its pieces and repeats: those are readings of one bake.
    """
    if said:
        return columns.columns(said, "--bake"), []
    named = {plain(column): column for column in columns.sheet.header if column not in responses}
    for name in ("bake", "run"):
        if name in named and (name == "bake" or {"piece", "repeat"} & set(named)):
            return [named[name]], [f"{named[name]} was taken for the name of the bake; its readings are averaged."]
    return [], []


def guessed_blocks(columns: SheetColumns, taken: Sequence[str | None]) -> tuple[list[str], list[str]]:
    """Columns that are called as blocks mostly are, and remarks."""
    blocks = [c for c in columns.sheet.header if plain(c) in BLOCKS and c not in taken]
    blocks = [column for column in blocks if len({*columns.sheet.column(column)}) > 1]
    return blocks, [f"{column} was taken for a block." for column in blocks]


def the_factors(
    columns: SheetColumns,
    said: Sequence[str],
    *,
    dose: str | None,
    by: str | None,
    taken: Sequence[str],
    chains: Sequence[Sequence[str]],
    may_be_none: bool,
) -> Factors:
    """What was changed: as said, else every column that is nothing else (``taken``) and that changes.

    ``chains`` are groups within groups, whose levels a column may only name once more.
    """
    found = Factors()
    for text in said:
        name, kind = split_kind(text, KINDS, option="--factor", header=columns.sheet.header)
        column = columns.column(name, "--factor")
        found.kinds[column] = kind or columns.kind(column)
        found.guessed += [] if kind else [column]
    for wanted, its_kind, option in ((dose, "amount", "--dose"), (by, "category", "--by")):
        if wanted is not None:
            found.kinds.setdefault(columns.column(wanted, option), its_kind)
    if not found.kinds:
        found.guessed, found.notes = _all_others(columns, taken, chains)
        found.kinds = {column: columns.kind(column) for column in found.guessed}
        if not found.kinds and not may_be_none:
            raise InputError(
                "No column is left that could be a factor.",
                where=columns.sheet.source,
                try_this=f'--factor "{columns.sheet.header[0]}:category"',
            )
    found.notes += [f"{columns.names[c]} was taken for a factor: {found.kinds[c]}." for c in found.guessed]
    return found


def _all_others(
    columns: SheetColumns, taken: Sequence[str], chains: Sequence[Sequence[str]]
) -> tuple[list[str], list[str]]:
    """Every column that is nothing else and that changes without naming each row, and why others are left out."""
    why: dict[str, list[str]] = {}
    others = []
    for column in columns.sheet.header:
        cells = [cell.strip() for cell in columns.sheet.column(column) if cell.strip()]
        if column in taken:
            continue
        if plain(column) in SERVICE:
            why.setdefault("it says which row it is", []).append(column)
        elif len(set(cells)) < 2:
            why.setdefault("it never changes", []).append(column)
        elif guess_kind(cells) == "category" and len(set(cells)) == len(cells):
            why.setdefault("every row has a text of its own", []).append(column)
        elif (same := _other_name_of_groups(columns.sheet, column, chains)) is not None:
            why.setdefault(f"it tells the same bakes apart as {same}", []).append(column)
        else:
            others.append(column)
    return others, [f"Left out, because {reason}: {', '.join(each)}." for reason, each in why.items()]


def _other_name_of_groups(sheet: Sheet, column: str, chains: Sequence[Sequence[str]]) -> str | None:
    """The group, or groups within groups, whose levels a column of texts only names once more."""
    own = [cell.strip() for cell in sheet.column(column)]
    if guess_kind(own) != "category":
        return None
    ways = [chain[:end] for chain in chains for end in range(1, len(chain) + 1)]
    for way in [*ways, list(dict.fromkeys(column for chain in chains for column in chain))]:
        cells = [[cell.strip() for cell in sheet.column(name)] for name in way]
        groups = list(zip(*cells, strict=True))
        if len(set(groups)) == len(set(own)) == len(set(zip(groups, own, strict=True))):
            return PLUS.join(way)
    return None


def slope_groups(columns: SheetColumns, slopes: Sequence[str]) -> list[str]:
    """Columns that end a slope "AMOUNT:GROUP": they are groups, whether named as such or not."""
    texts = [text.strip() for text in slopes]
    return [c for c, name in columns.names.items() if any(t.endswith((f":{c}", f":{name}")) for t in texts)]


def joined(rows: Mapping[str, Sequence[str | None]]) -> list[str | None]:
    """Several columns as one that tells their combinations apart; None where one of them is empty."""
    parts = zip(*rows.values(), strict=True)
    return [None if any(cell is None for cell in row) else PLUS.join(str(cell) for cell in row) for row in parts]
