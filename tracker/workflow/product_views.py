"""Which products are there, and what stands of each?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, func, select

from analysis.words.batch_log import say_specification
from analysis.words.numbers import say_count
from tracker.current_batches import find_product, taken_back
from tracker.models import Batch, Formula, Product, Specification, Trial
from tracker.store import Store
from tracker.workflow.batch_series import phases_of, specification_of
from tracker.workflow.judged import expectation_of
from tracker.workflow.logged_responses import ResponseLine, line_of, responses_of

if TYPE_CHECKING:
    from analysis.control.results import Specification as Agreed


@dataclass(frozen=True, kw_only=True)
class Expected:
    """What the trial promised of a response."""

    mean: float
    sd: float
    at: str

    def to_json(self) -> dict[str, Any]:
        return {"mean": self.mean, "sd": self.sd, "since": self.at}


@dataclass(frozen=True, kw_only=True)
class ProductResponse:
    """A response of a product: what it has to meet (``version`` 0: nothing was said), was promised, and its phases."""

    line: ResponseLine
    specification: Agreed | None
    version: int
    expected: Expected | None
    phases: int

    def words(self) -> str:
        said = [self.line.words()]
        if self.specification is not None:
            agreed = say_specification(self.specification, self.line.unit)
            said.append(f"specification {agreed} (version {self.version})")
        if self.expected is not None:
            said.append(f"the trial promised {self.expected.mean:.4g} with a spread of {self.expected.sd:.2g}")
        said.append(f"limits of phase {self.phases} are frozen" if self.phases else "no limits are frozen")
        return "; ".join(said)

    def to_json(self) -> dict[str, Any]:
        agreed = self.specification
        return {
            **self.line.to_json(),
            "specification": None
            if agreed is None
            else {"lower": agreed.lower, "upper": agreed.upper, "target": agreed.target, "version": self.version},
            "expected": None if self.expected is None else self.expected.to_json(),
            "phase": self.phases or None,
        }


@dataclass(frozen=True, kw_only=True)
class ProductView:
    """A product as it stands. ``notices`` are what was guessed or left open when it was made."""

    name: str
    formula: str | None
    trial: str | None
    batches: int
    responses: tuple[ProductResponse, ...]
    notices: tuple[str, ...] = ()

    def words(self) -> str:
        of = ", ".join(
            part for part in (self.formula and f"formula {self.formula}", self.trial and f"trial {self.trial}") if part
        )
        return f"{self.name}  ({say_count(self.batches, 'batch')}{'; ' + of if of else ''})"

    def summary(self) -> str:
        return "\n".join([self.words(), *(f"  {each.words()}" for each in self.responses)])

    def to_json(self) -> dict[str, Any]:
        return {
            "product": self.name,
            "formula": self.formula,
            "trial": self.trial,
            "batches": self.batches,
            "responses": [each.to_json() for each in self.responses],
            "notices": list(self.notices),
        }


def list_products(store: Store) -> tuple[ProductView, ...]:
    """Every product, as they came."""
    with store.read() as session:
        return tuple(_view(session, product) for product in session.exec(select(Product).order_by(col(Product.id))))


def show_product(store: Store, name: str, *, notices: Iterable[str] = ()) -> ProductView:
    """One product as it stands. Raises NotFound with the nearest name."""
    with store.read() as session:
        return _view(session, find_product(session, name), tuple(notices))


def _view(session: Session, product: Product, notices: tuple[str, ...] = ()) -> ProductView:
    formula = session.get(Formula, product.formula_id) if product.formula_id is not None else None
    trial = session.get(Trial, product.trial_id) if product.trial_id is not None else None
    count = session.exec(select(func.count()).select_from(Batch).where(Batch.product_id == product.id)).one()
    count -= taken_back(session, product)
    responses = []
    for row in responses_of(session, product):
        promised = expectation_of(session, product, row.name)
        newest = select(func.max(Specification.version)).where(
            Specification.product_id == product.id, Specification.response == row.name
        )
        phases = phases_of(session, product, row.name)
        responses.append(
            ProductResponse(
                line=line_of(row),
                specification=specification_of(session, product, row),
                version=session.exec(newest).one() or 0,
                expected=None if promised is None else Expected(mean=promised.mean, sd=promised.sd, at=promised.at),
                phases=phases[-1][0].number if phases else 0,
            )
        )
    return ProductView(
        name=product.name,
        formula=f"{formula.name} {formula.version}" if formula else None,
        trial=trial.name if trial else None,
        batches=count,
        responses=tuple(responses),
        notices=notices,
    )
