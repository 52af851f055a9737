"""Which products are baked day by day, and what does each have to meet?

A specification is never overwritten: another one is a version with a reason. Its bounds say
what was agreed to deliver; what the process does by itself stands in phases (``phases``).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from sqlmodel import Session, col, func, select

from analysis.words.numbers import start
from tracker.current_batches import find_product
from tracker.deeds import Deed
from tracker.errors import Conflict, InputError, NotFound
from tracker.intake.specification_text import SpecificationAsked, read_specification
from tracker.intake.spreadsheet import nearest
from tracker.models import Formula, Product, Specification
from tracker.store import Store
from tracker.workflow.batch_series import specification_of
from tracker.workflow.logged_responses import (
    ResponseAsked,
    ResponseLine,
    check_response,
    line_of,
    responses_of,
    settle_response,
)
from tracker.workflow.lookup import find_trial, key
from tracker.workflow.product_views import ProductView, list_products, show_product

if TYPE_CHECKING:
    from tracker.workflow.promised import Promise

__all__ = ["ProductView", "add_product", "guess_words", "list_products", "show_product", "specify"]


def add_product(
    store: Store,
    name: str,
    *,
    trial: str | None = None,
    formula: str | None = None,
    specs: Iterable[str] = (),
    responses: Iterable[str] = (),
    settings: Iterable[str] = (),
    person: int = 1,
) -> ProductView:
    """Make a product; all of it or nothing.

    ``specs`` and ``responses`` are texts such as "rise height:lower=40,upper=48,unit=mm". With a
    ``trial`` its responses, units, formula and promise (at ``settings``, else at what it
    recommends) come along. Raises Conflict when the name is taken, NotFound for an unknown
    formula or trial, InputError for limits the wrong way round.
    """
    name = " ".join(name.split())
    if not name:
        raise InputError(
            "A product needs a name.", where="product add", try_this='crumbwise batch product add "scones"'
        )
    asked = [read_specification(text) for text in (*specs, *responses)]
    promise = _promise(store, trial, list(settings))
    with store.write(person=person, action="add product") as deed:
        if deed.session.exec(select(Product).where(Product.name == name)).first() is not None:
            raise Conflict(
                f'There is a product "{name}" already.',
                where="kitchen",
                try_this=f'crumbwise batch product show "{name}"',
            )
        product = _make(deed, name, trial, formula)
        if promise is not None:
            promise.write(deed, product, person=person)
        for each in asked:
            _specify(deed, product, each, person=person, reason="")
        notices = (*(promise.notices if promise else ()), *_guesses(deed.session, product, asked))
    return show_product(store, name, notices=notices)


def check_product(name: str, specs: Iterable[str]) -> tuple[str, list[SpecificationAsked]]:
    """What can be said of a product without a kitchen: it has a name, and its specifications make sense."""
    name = " ".join(name.split())
    if not name:
        raise InputError(
            "A product needs a name.", where="product add", try_this='crumbwise batch product add "scones"'
        )
    asked = [read_specification(text) for text in specs]
    for each in asked:
        check_response(ResponseAsked(name=each.name, unit=each.unit, scale=each.scale, stands_for=each.stands_for))
    return name, asked


def _promise(store: Store, trial: str | None, settings: list[str]) -> Promise | None:
    if trial is None:
        if settings:
            raise InputError(
                "Settings belong to a trial, and none was named.", where="--setting", try_this="--trial NAME as well"
            )
        return None
    from tracker.workflow.promised import promise_of

    return promise_of(store, trial, settings)


def _make(deed: Deed, name: str, trial: str | None, formula: str | None) -> Product:
    found = find_trial(deed.session, trial) if trial is not None else None
    made_by = _formula(deed.session, formula) if formula is not None else found.formula_id if found else None
    return deed.add(Product(name=name, formula_id=made_by, trial_id=found.id if found else None, made_at=deed.at))


def _formula(session: Session, name: str) -> int:
    newest = select(Formula.id).where(Formula.name == name).order_by(col(Formula.version).desc()).limit(1)
    found = session.exec(newest).first()
    if found is None:
        known = list(session.exec(select(Formula.name)))
        raise NotFound(
            f'There is no formula "{name}".',
            where="--formula",
            try_this=f'--formula "{nearest(name, known) or known[0]}"' if known else "crumbwise formula add FILE.toml",
        )
    return found


def _guesses(
    session: Session, product: Product, asked: Sequence[SpecificationAsked], before: Iterable[str] = ()
) -> tuple[str, ...]:
    """What each response that was not there ``before`` was taken for, where nobody said it."""
    said = {each.name for each in asked if each.stands_for is not None} | set(before)
    return tuple(guess_words(line_of(row)) for row in responses_of(session, product) if row.name not in said)


def guess_words(line: ResponseLine) -> str:
    meant = f"is taken for {line.stands_for}" if line.stands_for else "stands for nothing chemistry knows"
    way_out = f'"{line.name}:stands-for={"" if line.stands_for else "rise"}"'
    return f"{start(line.name)} {meant}, going by its name and unit; another meaning: {way_out}."


def specify(store: Store, product: str, specs: Sequence[str], *, reason: str = "", person: int = 1) -> ProductView:
    """What responses have to meet from now on: a new version, with a reason where one stands.

    Raises NotFound, InputError for limits the wrong way round, a missing reason or nothing said.
    """
    asked = [read_specification(text) for text in specs]
    if not asked:
        raise InputError(
            "No specification was given.", where="--spec", try_this='"rise height:lower=40,upper=48,target=44"'
        )
    with store.write(person=person, action="specify product", reason=reason.strip()) as deed:
        its = find_product(deed.session, product)
        before = {row.name for row in responses_of(deed.session, its)}
        for each in asked:
            _specify(deed, its, each, person=person, reason=reason.strip())
        notices = _guesses(deed.session, its, asked, before)
    return show_product(store, product, notices=notices)


def _specify(deed: Deed, product: Product, asked: SpecificationAsked, *, person: int, reason: str) -> None:
    response = settle_response(
        deed,
        product,
        ResponseAsked(name=asked.name, unit=asked.unit, scale=asked.scale, stands_for=asked.stands_for),
        person=person,
        reason=reason,
    )
    if not asked.bounds:
        return
    stands = specification_of(deed.session, product, response)
    if stands is not None and (stands.lower, stands.upper, stands.target) == asked.limits:
        return
    newest = select(func.max(Specification.version)).where(
        Specification.product_id == product.id, Specification.response == response.name
    )
    version = (deed.session.exec(newest).one() or 0) + 1
    if version > 1 and not reason:
        raise InputError(
            f"{response.name} has a specification (version {version - 1}); another one needs a reason.",
            where=f'product "{product.name}"',
            try_this='--reason "agreed with the customer on 26 November"',
        )
    lower, upper, target = asked.limits
    deed.add(
        Specification(
            product_id=key(product),
            response=response.name,
            unit=response.unit,
            version=version,
            lower=lower,
            upper=upper,
            target=target,
            reason=reason,
        )
    )
