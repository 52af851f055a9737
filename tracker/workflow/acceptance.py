"""By which rule is a batch sent out, held or thrown away, and what does it say of this one?

The rule looks at the specification, never at limits of the process. It proposes; a person decides.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from sqlmodel import Session, col, select

from analysis.control.results import Specification
from tracker.current_batches import CurrentBatch, find_product
from tracker.errors import Conflict, InputError, UsageError
from tracker.models import AcceptanceRule, LoggedResponse, Product
from tracker.workflow.batch_series import specification_of
from tracker.workflow.logged_responses import find_response, responses_of
from tracker.workflow.lookup import key

if TYPE_CHECKING:
    from analysis.control.acceptance import Rule
    from tracker.store import Store

COUNT, MEAN = "count", "mean"
WORST = ("reject", "hold", "accept")
SHARES = (0.0, 0.005, 0.01, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.5)  # of the operating curve as a table


@dataclass(frozen=True, kw_only=True)
class RuleAsked:
    """A rule as it is asked for: by numbers, or by the shares outside it should tell apart.

    ``by`` "count" looks at pieces outside, "mean" at how many standard deviations the mean lies inside.
    """

    by: str = COUNT
    pieces: int | None = None
    accept: float | None = None
    reject: float | None = None
    sigma: float | None = None
    batch_size: int | None = None
    good: float | None = None
    bad: float | None = None

    @property
    def nothing(self) -> bool:
        return all(value is None for name, value in asdict(self).items() if name != "by")


@dataclass(frozen=True, kw_only=True)
class RuleView:
    """The rule of a response as it holds, in words, with its operating curve (share, accept, hold, reject)."""

    response: str
    version: int
    by: str
    numbers: dict[str, Any]
    sentences: tuple[str, ...]
    curve: tuple[tuple[float, float, float, float], ...]

    def summary(self) -> str:
        lines = [f"{self.response}, rule {self.version}:", *(f"  {words}" for words in self.sentences)]
        lines.append("  outside   accepted  held   rejected")
        lines += [f"  {p:>7.1%}   {a:>7.1%}  {h:>5.1%}   {r:>7.1%}" for p, a, h, r in self.curve]
        return "\n".join(lines)

    def to_json(self) -> dict[str, Any]:
        names = ("share", "accept", "hold", "reject")
        return {
            "response": self.response,
            "version": self.version,
            "by": self.by,
            "rule": self.numbers,
            "sentences": list(self.sentences),
            "operating_curve": [dict(zip(names, point, strict=True)) for point in self.curve],
        }


@dataclass(frozen=True, kw_only=True)
class RuleSaid:
    """What a rule says of a batch; ``verdict`` None where it cannot be applied (another number of pieces)."""

    response: str
    version: int
    verdict: str | None
    words: str
    numbers: dict[str, Any]

    def to_json(self) -> dict[str, Any]:
        return {
            "response": self.response,
            "version": self.version,
            "verdict": self.verdict,
            "words": self.words,
            "rule": self.numbers,
        }


def set_rule(
    store: Store, product: str, response: str | None, asked: RuleAsked, *, reason: str = "", person: int = 1
) -> RuleView:
    """Make a rule for a response, or another one with a reason.

    Raises Conflict without a specification, InputError for numbers that make no rule or a missing
    reason, NotFound for unknown names.
    """
    rule = _made(asked)
    numbers = {"by": asked.by, **asdict(rule)}
    with store.write(person=person, action="set acceptance rule", reason=reason.strip()) as deed:
        its = find_product(deed.session, product)
        found = _specified(deed.session, its, response)
        stands = _latest(deed.session, its, found.name)
        if stands is not None and json.loads(stands.rule) == numbers:
            return _view(stands)
        _refuse_unsaid(stands, reason)
        row = deed.add(
            AcceptanceRule(
                product_id=key(its),
                response=found.name,
                version=1 if stands is None else stands.version + 1,
                rule=json.dumps(numbers, sort_keys=True),
                person_id=person,
                at=deed.at,
                reason=reason.strip(),
            )
        )
        return _view(row)


def end_rule(store: Store, product: str, response: str | None, *, reason: str, person: int = 1) -> str:
    """No rule any more, from now on. Raises Conflict when there is none; returns the response."""
    with store.write(person=person, action="end acceptance rule", reason=reason.strip()) as deed:
        its = find_product(deed.session, product)
        found = _specified(deed.session, its, response)
        stands = _latest(deed.session, its, found.name)
        if stands is None or stands.rule == "{}":
            raise Conflict(
                f"{found.name} has no rule to end.",
                where=f'product "{product}"',
                try_this=f'crumbwise batch rule "{product}"',
            )
        _refuse_unsaid(stands, reason)
        deed.add(
            AcceptanceRule(
                product_id=key(its),
                response=found.name,
                version=stands.version + 1,
                person_id=person,
                at=deed.at,
                reason=reason.strip(),
            )
        )
        return found.name


def list_rules(store: Store, product: str) -> tuple[RuleView, ...]:
    """The rules that hold, response by response. Raises NotFound with the nearest name."""
    with store.read() as session:
        its = find_product(session, product)
        rows = [_latest(session, its, row.name) for row in responses_of(session, its)]
    return tuple(_view(row) for row in rows if row is not None and row.rule != "{}")


def said_by_rules(
    session: Session, product: Product, batch: CurrentBatch, responses: Iterable[LoggedResponse]
) -> tuple[RuleSaid, ...]:
    """What each rule says of a batch that stands."""
    said = []
    for response in responses:
        row = _latest(session, product, response.name)
        agreed = specification_of(session, product, response)
        values = batch.values(response.name)
        if row is not None and row.rule != "{}" and agreed is not None and values and not batch.void:
            said.append(_apply(row, agreed, values, batch.number))
    return tuple(said)


def worst(said: Iterable[RuleSaid]) -> str | None:
    """What all rules together say: a batch goes out only when every one lets it; one that cannot speak holds it."""
    verdicts = {each.verdict or "hold" for each in said}
    return next((verdict for verdict in WORST if verdict in verdicts), None)


def _apply(row: AcceptanceRule, agreed: Specification, values: tuple[float, ...], batch: str) -> RuleSaid:
    from analysis.control.acceptance import dispose
    from analysis.errors import AnalysisError
    from analysis.words.acceptance import say_disposition

    numbers = json.loads(row.rule)
    verdict: str | None = None
    try:
        found = dispose(_read(numbers), values, agreed)
        verdict, words = found.verdict, say_disposition(found, agreed, batch=batch)
    except AnalysisError as wrong:
        why = wrong.what[:1].lower() + wrong.what[1:]
        words = f"By its rule batch {batch} is held, since nothing can be said of it: {why}"
    return RuleSaid(response=row.response, version=row.version, verdict=verdict, words=words, numbers=numbers)


def _made(asked: RuleAsked) -> Rule:
    from analysis.control.acceptance import attributes_rule, variables_rule
    from analysis.control.acceptance_rules import smallest_attributes_rule, smallest_variables_rule

    if asked.by not in (COUNT, MEAN):
        raise UsageError(f'"{asked.by}" is no way to judge by.', where="--by", try_this="--by count, or --by mean")
    if asked.good is not None and asked.bad is not None:
        if asked.by == COUNT:
            return smallest_attributes_rule(asked.good, asked.bad)
        return smallest_variables_rule(asked.good, asked.bad, sigma=asked.sigma)
    if asked.pieces is None or asked.accept is None:
        raise UsageError(
            "A rule needs its pieces and what it accepts, or the shares it tells apart.",
            where="batch rule",
            try_this="--pieces 20 --accept 1 --reject 3, or --good 0.01 --bad 0.1",
        )
    if asked.by == MEAN:
        return variables_rule(asked.pieces, asked.accept, reject=asked.reject, sigma=asked.sigma)
    whole = [value for value in (asked.accept, asked.reject) if value is not None]
    if any(not float(value).is_integer() for value in whole):
        raise InputError("Pieces outside are counted whole.", where="batch rule", try_this="--accept 1 --reject 3")
    reject = None if asked.reject is None else int(asked.reject)
    return attributes_rule(asked.pieces, int(asked.accept), reject=reject, batch_size=asked.batch_size)


def _read(numbers: dict[str, Any]) -> Rule:
    from analysis.control.acceptance import AttributesRule, VariablesRule

    kind = AttributesRule if numbers["by"] == COUNT else VariablesRule
    return kind(**{name: value for name, value in numbers.items() if name != "by"})


def _view(row: AcceptanceRule) -> RuleView:
    from analysis.control.acceptance import operating_curve
    from analysis.words.acceptance import say_curve, say_rule

    numbers = json.loads(row.rule)
    rule = _read(numbers)
    return RuleView(
        response=row.response,
        version=row.version,
        by=numbers["by"],
        numbers=numbers,
        sentences=(say_rule(rule), say_curve(rule)),
        curve=tuple((each.share, each.accept, each.hold, each.reject) for each in operating_curve(rule, SHARES)),
    )


def _latest(session: Session, product: Product, response: str) -> AcceptanceRule | None:
    wanted = select(AcceptanceRule).where(AcceptanceRule.product_id == product.id, AcceptanceRule.response == response)
    return session.exec(wanted.order_by(col(AcceptanceRule.version).desc()).limit(1)).first()


def _specified(session: Session, product: Product, name: str | None) -> LoggedResponse:
    """The response meant, which has to have a specification with a bound."""
    known = [row for row in responses_of(session, product) if row.scale == "measured"]
    bound = [row for row in known if _bounded(specification_of(session, product, row))]
    if name is None and len(bound) == 1:
        return bound[0]
    if name is None:
        shown = ", ".join(row.name for row in bound) or "none"
        raise UsageError(
            f'Which response is meant is not said; "{product.name}" has a specification of {shown}.',
            where="--response",
            try_this=f'--response "{bound[0].name if bound else "NAME"}"',
        )
    found = find_response(known, name, product=product.name)
    if found not in bound:
        raise Conflict(
            f"{found.name} has no specification, so nothing is outside it.",
            where=f'product "{product.name}"',
            try_this=f'crumbwise batch product spec "{product.name}" "{found.name}:lower=…,upper=…"',
        )
    return found


def _bounded(agreed: Specification | None) -> bool:
    return agreed is not None and (agreed.lower is not None or agreed.upper is not None)


def _refuse_unsaid(stands: AcceptanceRule | None, reason: str) -> None:
    if stands is not None and not reason.strip():
        raise InputError(
            f"{stands.response} has a rule (version {stands.version}); another one needs a reason.",
            where="batch rule",
            try_this='--reason "agreed with the customer"',
        )
