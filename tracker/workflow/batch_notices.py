"""What about a new batch needs a look, though nothing is wrong for sure?

A lot nobody has seen, a clock that goes back or runs ahead: kept as typed, and said.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta

from sqlmodel import Session, select

from tracker.current_batches import CurrentBatch, current_batches
from tracker.errors import NotFound
from tracker.intake.spreadsheet import nearest
from tracker.models import FormulaLine, Lot, Product

AHEAD = timedelta(days=1)


def in_command(number: str) -> str:
    """The number of a batch as it is typed: in quotes where it holds a blank."""
    return f'"{number}"' if " " in number else number


def check_ingredients(session: Session, product: Product, named: Iterable[str]) -> tuple[dict[str, str], list[str]]:
    """Ingredients as typed -> as they are known, and a notice for each that is new.

    Raises NotFound for one that is new and looks like a known one: most likely a slip.
    """
    known = list(dict.fromkeys([*session.exec(select(Lot.ingredient).distinct()), *_lines(session, product)]))
    folded = {" ".join(name.casefold().split()): name for name in known}
    found: dict[str, str] = {}
    notices = []
    for name in named:
        asked = " ".join(name.split())
        exact = folded.get(asked.casefold())
        near = None if exact else nearest(asked, known)
        if near is not None:
            raise NotFound(f'No lot of "{asked}" was ever logged.', where="--lot", try_this=f'--lot "{near}=…"')
        found[name] = exact or asked
        if exact is None and known:
            notices.append(f'"{asked}" is an ingredient that had no lots before.')
    return found, notices


def _lines(session: Session, product: Product) -> list[str]:
    if product.formula_id is None:
        return []
    return list(session.exec(select(FormulaLine.ingredient).where(FormulaLine.formula_id == product.formula_id)))


def new_lots(session: Session, lots: Sequence[Mapping[str, str]]) -> list[str]:
    """A notice for each lot that nobody has seen, with the one it looks like."""
    named = dict.fromkeys(lot for each in lots for lot in each.items())
    notices = []
    for ingredient in dict.fromkeys(name for name, _ in named):
        codes = list(session.exec(select(Lot.code).where(Lot.ingredient == ingredient)))
        for new in [code for name, code in named if name == ingredient and code not in codes]:
            near = nearest(new, codes)
            like = f" (the nearest known is {near})" if near else ""
            notices.append(
                f"Lot {new} of {ingredient} is new{like}. When it came in and was opened: "
                f'crumbwise batch lot add "{ingredient}={new}" --received … --opened …'
            )
    return notices


def clock_notices(session: Session, product: Product, batch: CurrentBatch, now: datetime) -> list[str]:
    """Where the clock goes back or runs ahead."""
    notices = []
    behind = current_batches(session, product, after=batch.place, first=1)
    earlier = f'crumbwise batch correct "{product.name}" {in_command(batch.number)} --at … --reason …'
    if behind:
        notices.append(
            f"The clock goes back: batch {behind[0].number} was baked later, at {behind[0].baked_at}. "
            f"Batch {batch.number} takes its place before it; if the time is wrong: {earlier}"
        )
    if datetime.fromisoformat(batch.baked_at) > now + AHEAD:
        notices.append(f"{batch.baked_at} lies ahead of this machine's clock; if it is wrong: {earlier}")
    return notices
