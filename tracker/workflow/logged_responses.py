"""Which responses are the batches of a product read for, and what does each stand for?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session, col, select

from tracker.current import standing
from tracker.deeds import Deed
from tracker.errors import InputError, NotFound
from tracker.intake.mapping import same_name
from tracker.intake.spreadsheet import nearest
from tracker.intake.stands_for import guess_stands_for
from tracker.log_models import SCALES, STANDS_FOR
from tracker.models import LoggedResponse, Product
from tracker.workflow.lookup import key


@dataclass(frozen=True, kw_only=True)
class ResponseAsked:
    """A response as it was asked for; None for what was not said."""

    name: str
    unit: str | None = None
    scale: str | None = None
    stands_for: str | None = None


@dataclass(frozen=True, kw_only=True)
class ResponseLine:
    """A response of a product as it stands."""

    name: str
    unit: str
    scale: str
    stands_for: str

    def words(self) -> str:
        unit = f" ({self.unit})" if self.unit else ""
        counted = {"share": ", a share of the pieces", "rate": ", places counted"}.get(self.scale, "")
        stands = f", stands for {self.stands_for}" if self.stands_for else ", stands for nothing chemistry knows"
        return f"{self.name}{unit}{counted}{stands}"

    def to_json(self) -> dict[str, Any]:
        return {"name": self.name, "unit": self.unit, "scale": self.scale, "stands_for": self.stands_for}


def responses_of(session: Session, product: Product) -> list[LoggedResponse]:
    """What stands, in the order in which the responses came."""
    wanted = select(LoggedResponse).where(LoggedResponse.product_id == product.id).order_by(col(LoggedResponse.id))
    rows = list(session.exec(wanted))
    first: dict[str, int] = {}
    for row in rows:
        first.setdefault(row.name, row.id or 0)
    return sorted(standing(rows), key=lambda row: first[row.name])


def line_of(response: LoggedResponse) -> ResponseLine:
    return ResponseLine(name=response.name, unit=response.unit, scale=response.scale, stands_for=response.stands_for)


def find_response(known: Sequence[LoggedResponse], name: str, *, product: str) -> LoggedResponse:
    """The response of that name; case, "_" and a unit behind it do not matter. Raises NotFound with the nearest."""
    for response in known:
        if same_name(name, response.name, response.unit):
            return response
    names = [response.name for response in known]
    near = nearest(name, names)
    has = f"it has {', '.join(names)}" if names else "it has none yet"
    raise NotFound(
        f'Product "{product}" has no response "{name}"; {has}.',
        where=f'product "{product}"',
        try_this=f'"{near}"' if near else f'crumbwise batch product response "{product}" "{name}"',
    )


def settle_response(
    deed: Deed, product: Product, asked: ResponseAsked, *, person: int, reason: str = ""
) -> LoggedResponse:
    """The response as asked for: made when it is new, entered anew when it is another than stands."""
    check_response(asked)
    stands = next(
        (row for row in responses_of(deed.session, product) if same_name(asked.name, row.name, row.unit)), None
    )
    unit = asked.unit if asked.unit is not None else stands.unit if stands else ""
    scale = asked.scale or (stands.scale if stands else "measured")
    name = stands.name if stands else asked.name
    meant = asked.stands_for
    if meant is None:
        meant = stands.stands_for if stands else guess_stands_for(name, unit)
    if stands is not None and (stands.unit, stands.scale, stands.stands_for) == (unit, scale, meant):
        return stands
    if stands is not None and not reason:
        raise InputError(
            f'{name} stands with unit "{stands.unit}", {stands.scale}, for "{stands.stands_for}"; '
            "another entry needs a reason.",
            where=f'product "{product.name}"',
            try_this='--reason "the ruler is in mm"',
        )
    return deed.add(
        LoggedResponse(
            product_id=key(product),
            name=name,
            unit=unit,
            scale=scale,
            stands_for=meant,
            person_id=person,
            at=deed.at,
            replaces_id=stands.id if stands else None,
            reason=reason if stands else "",
        )
    )


def check_response(asked: ResponseAsked) -> None:
    """Raises InputError for a response without a name, or a scale or meaning nobody knows."""
    if not asked.name.strip():
        raise InputError("A response needs a name.", where="response", try_this='"rise height:unit=mm"')
    for word, known, what in ((asked.scale, SCALES, "scale"), (asked.stands_for, STANDS_FOR, "stands-for")):
        if word is not None and word not in known:
            shown = ", ".join(each or '"" (nothing)' for each in known)
            raise InputError(
                f'"{word}" is no {what} of a response.',
                where=asked.name,
                try_this=f"{what}={nearest(word, [each for each in known if each]) or known[-1]}; known are {shown}",
            )
