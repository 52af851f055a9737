"""How is it to be analysed? The same for a trial and a spreadsheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING, Any

from analysis.questions import Factor, Settings
from tracker.errors import InputError
from tracker.intake.spreadsheet import nearest

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, kw_only=True)
class Options(Settings):
    """What was said beyond the columns: the settings as they are, columns and wishes as they were typed.

    ``references`` are "LEVEL" or "FACTOR:LEVEL"; ``follow`` names chemistry of the runs that takes the
    place of the factors (a trial with a formula only). ``groups`` are chains "A+B" that cut across each
    other; ``slopes`` "AMOUNT:GROUP"; ``margins``, ``goals``, ``accepts``, ``importances`` and ``models``
    "RESPONSE:…", read in ``workflow.wanted``.
    """

    dose: str | None = None
    by: str | None = None
    weights: str | None = None
    covariates: tuple[str, ...] = ()
    groups: tuple[str, ...] = ()
    slopes: tuple[str, ...] = ()
    references: tuple[str, ...] = ()
    models: tuple[str, ...] = ()
    goals: tuple[str, ...] = ()
    margins: tuple[str, ...] = ()
    accepts: tuple[str, ...] = ()
    importances: tuple[str, ...] = ()
    follow: tuple[str, ...] = ()

    def settings(self) -> dict[str, Any]:
        """What a question takes over as it is."""
        return {each.name: getattr(self, each.name) for each in fields(Settings)}

    def said(self) -> list[str]:
        """The options as they would be typed again, without those left at their default."""
        found: list[str] = []
        for each in fields(self):
            value = getattr(self, each.name)
            if value == each.default:
                continue
            option = option_of(each.name)
            if value is True:
                found.append(option)
                continue
            found += [word for one in (value if isinstance(value, tuple) else (value,)) for word in (option, str(one))]
        return found


# Options that may be repeated are named in the singular on the command line.
_SPELLED = {
    "groups": "group", "models": "model", "goals": "goal", "slopes": "slope", "covariates": "covariate",
    "contrasts": "contrast", "interactions": "interaction", "margins": "margin", "accepts": "accept",
    "importances": "importance", "references": "reference",
}  # fmt: skip


def option_of(field: str) -> str:
    """How a field of Options is spelled on the command line."""
    return "--" + _SPELLED.get(field, field).replace("_", "-")


def chains_of(groups: Sequence[str]) -> list[list[str]]:
    """ "A+B" as ["A", "B"], one list for each chain of groups."""
    return [parts for text in groups if (parts := [part.strip() for part in text.split("+") if part.strip()])]


def set_references(factors: Sequence[Factor], references: Sequence[str]) -> tuple[Factor, ...]:
    """Give categories the level others are compared with. Raises InputError with the nearest level."""
    chosen: dict[str, str] = {}
    levels = {factor.name: factor.levels for factor in factors if factor.levels}
    for text in references:
        name, colon, level = text.rpartition(":")
        owners = [name.strip()] if colon and name.strip() in levels else [n for n, its in levels.items() if text in its]
        wanted = level.strip() if colon and name.strip() in levels else text
        known = [each for owner in owners or levels for each in levels[owner]]
        if len(owners) != 1 or wanted not in known:
            near = nearest(wanted, known) or (known[0] if known else "LEVEL")
            what = (
                f'"{text}" is a level of {" and of ".join(owners)}.'
                if len(owners) > 1
                else f'There is no level "{wanted}"; the levels are {", ".join(known) or "none"}.'
            )
            owner = owners[0] + ":" if len(owners) > 1 else ""
            raise InputError(what, where="--reference", try_this=f'--reference "{owner}{near}"')
        chosen[owners[0]] = wanted
    return tuple(replace(factor, reference=chosen.get(factor.name, factor.reference)) for factor in factors)


def lay_groups(
    tables: Mapping[str, pd.DataFrame], group: Sequence[str], *, factors: Sequence[str], blocks: Sequence[str]
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Group and block columns as the engine takes them, joining columns where they serve twice.

    A whole plot is often named by what it was given: recipe within replicate. A column that
    is a factor or block as well cannot be a group of its own, so what it ends is joined into one
    column of the tables ("replicate+recipe"); what stands before it (replicate) is a group still.
    """
    if not set(group) & {*factors, *blocks}:
        return tuple(group), tuple(blocks)
    laid = []
    for chain in (group[:length] for length in range(1, len(group) + 1)):
        if not set(chain) & {*factors, *blocks}:
            laid.append(chain[-1])
        elif len(group) == 1 or not (set(chain) <= {*factors} or set(chain) <= {*blocks}):
            laid.append(_joined(tables, chain))
    return tuple(laid or [_joined(tables, group)]), tuple(blocks)


def _joined(tables: Mapping[str, pd.DataFrame], names: Sequence[str]) -> str:
    """One column of every table that tells the combinations of several apart, and its name."""
    joined = "+".join(names)
    for table in {id(table): table for table in tables.values()}.values():
        parts = zip(*(table[name] for name in names), strict=True)
        table[joined] = ["+".join(str(part) for part in row) if all(map(_filled, row)) else None for row in parts]
    return joined


def lay_chains(
    tables: Mapping[str, pd.DataFrame],
    chains: Sequence[Sequence[str]],
    *,
    factors: Sequence[str],
    blocks: Sequence[str],
) -> tuple[tuple[tuple[str, ...], ...], tuple[str, ...]]:
    """Each chain of groups as the engine takes it (see ``lay_groups``), and the blocks with what chains add."""
    laid: list[tuple[str, ...]] = []
    for chain in chains:
        one, blocks = lay_groups(tables, chain, factors=factors, blocks=blocks)
        laid.append(one)
    return tuple(laid), tuple(blocks)


def slopes_of(texts: Sequence[str], columns: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """ "AMOUNT:GROUP" as a pair. Raises InputError with the nearest column."""
    found = []
    for text in texts:
        pairs = [(text[:at].strip(), text[at + 1 :].strip()) for at, sign in enumerate(text) if sign == ":"]
        known = [pair for pair in pairs if set(pair) <= set(columns)]
        if not known:
            last = pairs[0][-1] if pairs else text
            near = nearest(last, list(columns)) or "bake day"
            first = pairs[0][0] if pairs else "soda"
            if pairs and last in columns:  # the group is there, so that the amount is what is wrong
                amount = nearest(first, [column for column in columns if column != last])
                way = f'--slope "{amount}:{last}"' if amount else f'--factor "{first}:amount"'
                raise InputError(f'"{first}" is no amount that was changed.', where="--slope", try_this=way)
            raise InputError(
                f'"{text}" does not name an amount and a group.', where="--slope", try_this=f'--slope "{first}:{near}"'
            )
        found.append(known[0])
    return tuple(found)


def _filled(cell: object) -> bool:
    return cell is not None and cell == cell  # NaN is unlike itself
