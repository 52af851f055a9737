"""May this batch go out? Who decided, and why?"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from typing import Any

from sqlmodel import col, select

from tracker.current_batches import current_batch, find_batch, find_product
from tracker.errors import Conflict, InputError, NotFound
from tracker.models import Disposition
from tracker.store import Store
from tracker.workflow.acceptance import said_by_rules, worst
from tracker.workflow.judged import judge_batch
from tracker.workflow.logged_responses import responses_of
from tracker.workflow.lookup import key
from tracker.workflow.people import list_people
from tracker.workflow.verdicts import BatchVerdict, verdicts_of

DECISIONS = ("accept", "hold", "reject")
BY_RULE = "by rule"


@dataclass(frozen=True, kw_only=True)
class Decided:
    """One decision of the story of a batch."""

    decision: str
    reason: str
    person: int
    name: str | None
    at: str
    rule: dict[str, Any] = field(default_factory=dict)

    def words(self) -> str:
        by = self.name or f"person {self.person}"
        return f"{self.at[:16].replace('T', ' ')}  {self.decision} by {by}: {self.reason}"

    def to_json(self) -> dict[str, Any]:
        return {
            "decision": self.decision,
            "reason": self.reason,
            "person": self.person,
            "at": self.at,
            "rule": self.rule or None,
        }


@dataclass(frozen=True, kw_only=True)
class BatchStory:
    """The verdict on a batch as it stands, and every decision about it, the latest last."""

    verdict: BatchVerdict
    decisions: tuple[Decided, ...]

    def summary(self) -> str:
        lines = [self.verdict.summary()]
        lines += [f"  {each.words()}" for each in self.decisions]
        if not self.decisions:
            lines.append("  Nobody has decided about it yet: --accept, --hold or --reject, with --reason.")
        return "\n".join(lines)

    def to_json(self) -> dict[str, Any]:
        return {**self.verdict.to_json(), "decisions": [each.to_json() for each in self.decisions]}


def batch_story(store: Store, product: str, number: str) -> BatchStory:
    """What is said of a batch, judged as the log stands, and what was decided. Raises NotFound."""
    people = {each.number: each.name for each in list_people(store)}
    with store.read() as session:
        its = find_product(session, product)
        row = find_batch(session, its, number.strip())
        batch = current_batch(session, row)
        known = {each.name: each for each in responses_of(session, its)}
        judged = [
            judge_batch(session, its, batch, each)
            for each in known.values()
            if batch.values(each.name) and not batch.void
        ]
        verdict = BatchVerdict(
            product=product,
            batch=batch.number,
            baked_at=batch.baked_at,
            done=f'Batch {batch.number} of "{product}", baked at {batch.baked_at}'
            + (", was taken back." if batch.void else "."),
            verdicts=verdicts_of(session, its, batch, judged, known),
            rules=said_by_rules(session, its, batch, known.values()),
            void=batch.void,
        )
        rows = session.exec(select(Disposition).where(Disposition.batch_id == row.id).order_by(col(Disposition.id)))
        decisions = tuple(
            Decided(
                decision=each.decision,
                reason=each.reason,
                person=each.person_id,
                name=people.get(each.person_id),
                at=each.at,
                rule=json.loads(each.rule),
            )
            for each in rows
        )
    return BatchStory(verdict=verdict, decisions=decisions)


def decide(
    store: Store,
    product: str,
    number: str,
    decision: str,
    *,
    reason: str,
    person: int = 1,
) -> BatchStory:
    """Accept, hold or reject a batch, by a person and for a reason; an entry that a later one may follow.

    ``decision`` "by rule" takes what the product's rules say, which is also its reason when none is
    given. What the rules say is kept beside any decision. Raises InputError without a reason,
    Conflict for a batch that was taken back, or by rule where no rule says anything.
    """
    if decision not in (*DECISIONS, BY_RULE):
        raise NotFound(f'"{decision}" is no decision.', where="batch verdict", try_this="accept, hold or reject")
    if not reason.strip() and decision != BY_RULE:
        raise InputError(
            "A decision about a batch needs a reason.",
            where="batch verdict",
            try_this=f'--{decision} --reason "every piece meets the specification"',
        )
    with store.write(person=person, action="decide about batch", reason=reason.strip()) as deed:
        its = find_product(deed.session, product)
        row = find_batch(deed.session, its, number.strip())
        batch = current_batch(deed.session, row)
        if batch.void:
            raise Conflict(
                f"Batch {row.number} was taken back; there is nothing to decide about.",
                where=f'product "{product}"',
                try_this=f'crumbwise batch correct "{product}" {row.number} --unvoid --reason "…"',
            )
        said = said_by_rules(deed.session, its, batch, responses_of(deed.session, its))
        proposed = worst(said)
        if decision == BY_RULE and proposed is None:
            raise Conflict(
                f"No rule says anything of batch {row.number}.",
                where=f'product "{product}"',
                try_this=f'crumbwise batch rule "{product}" --pieces 20 --accept 1 --reject 3',
            )
        kept = {"verdict": proposed, "rules": [each.to_json() for each in said]} if said else {}
        deed.add(
            Disposition(
                batch_id=key(row),
                decision=(proposed or decision) if decision == BY_RULE else decision,
                rule=json.dumps(kept, ensure_ascii=False, sort_keys=True),
                person_id=person,
                at=deed.at,
                reason=reason.strip() or " ".join(each.words for each in said),
            )
        )
    return batch_story(store, product, number)
