"""Do the shares of a whole make sense, alone and together?"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from tracker.intake.plan_problems import Problem
from tracker.intake.plan_tables import FactorTable

FOREIGN = ("neutralises", "amounts", "lines", "reference", "values", "levels", "replaces")


def whole_of(factor: FactorTable) -> float:
    """What the shares of a whole add up to: as told, else 100 for a share in % and 1 without a unit."""
    return factor.total if factor.total is not None else 100.0 if "%" in factor.unit else 1.0


def check_share(table: str, factor: FactorTable) -> Iterator[Problem]:
    """One share: its bounds, and keys that belong to other kinds."""
    total = whole_of(factor)
    for key in FOREIGN:
        if getattr(factor, key):
            yield Problem(
                what=f'"{key}" does not belong to a share.',
                try_this="low and high, and ingredient = the line that the share sets",
                table=table,
                key=key,
            )
    if total <= 0:
        yield Problem(what=f"A whole of {total:g} has no shares.", try_this="total = 100", table=table, key="total")
    low, high = factor.low or 0.0, total if factor.high is None else factor.high
    for key, bound in (("low", low), ("high", high)):
        if not 0 <= bound <= total:
            yield Problem(
                what=f"{key} = {bound:g} is no share of {total:g}.",
                try_this=f"a number from 0 to {total:g}",
                table=table,
                key=key,
            )
    if low >= high:
        yield Problem(
            what=f"low = {low:g} is not below high = {high:g}.", try_this="a low below the high", table=table, key="low"
        )


def check_shares(factors: Sequence[FactorTable]) -> Iterator[Problem]:
    """All shares together: of one whole, with one total and one unit, and no share alone."""
    shares = [(number, factor) for number, factor in enumerate(factors, start=1) if factor.kind == "share"]
    if not shares:
        return
    first = shares[0][1]
    if len(shares) == 1:
        yield Problem(
            what=f'"{first.name}" is the only share: a whole has at least two.',
            try_this='a [[factor]] with kind = "share" for what makes up the rest',
            table=f"factor {shares[0][0]}",
            key="kind",
        )
    for number, factor in shares[1:]:
        if (factor.of or "") != (first.of or ""):
            yield Problem(
                what=f'"{factor.name}" is a share of another whole than "{first.name}"; a plan has one blend.',
                try_this=f'of = "{first.of or "flour"}"',
                table=f"factor {number}",
                key="of",
            )
        if whole_of(factor) != whole_of(first) or factor.unit != first.unit:
            yield Problem(
                what=f'"{factor.name}" and "{first.name}" do not add up to the same whole.',
                try_this=f'unit = "{first.unit}" and total = {whole_of(first):g} for both',
                table=f"factor {number}",
                key="total" if whole_of(factor) != whole_of(first) else "unit",
            )
