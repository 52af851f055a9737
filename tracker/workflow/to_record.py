"""Which runs still wait for readings, and what is asked of each?"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass

from tracker.errors import InputError
from tracker.intake.values import Value, anchors_of, read_value
from tracker.models import Response
from tracker.store import Store
from tracker.workflow import standing
from tracker.workflow.lookup import find_trial, refuse_closed, responses_of, runs_of
from tracker.workflow.readings import split_texts


@dataclass(frozen=True, kw_only=True)
class ResponseToRecord:
    """One question of the dialogue."""

    stored: Response
    run: str

    @property
    def name(self) -> str:
        return self.stored.name

    @property
    def prompt(self) -> str:
        """The response with its unit, or with its scale in words."""
        anchors = anchors_of(self.stored)
        scale = ", ".join(f"{at} {word}" for at, word in enumerate(anchors, start=1))
        how = {"score": scale, "yes-no": "yes or no", "count": "a count"}.get(self.stored.scale) or self.stored.unit
        times = self.stored.pieces * self.stored.readings
        return self.name + (f" ({how})" if how else "") + (f", {times} values" if times > 1 else "")

    def values(self, typed: str) -> list[Value]:
        """Raises InputError when what was typed cannot have been measured."""
        return [read_value(text, self.stored, where=f"run {self.run}") for text in split_texts(typed, self.stored)]

    def refusal(self, typed: str) -> InputError | None:
        try:
            self.values(typed)
        except InputError as wrong:
            return wrong
        return None


@dataclass(frozen=True, kw_only=True)
class RunToRecord:
    """A run without an outcome or with responses that have no reading yet; ``block`` as said, "bake day 1"."""

    code: str
    bake_order: int
    block: str | None
    responses: tuple[ResponseToRecord, ...]

    def warnings(self, answers: Sequence[str]) -> list[str]:
        """What is unlikely in texts such as "rise height=142"."""
        asked = {response.name: response for response in self.responses}
        typed = [answer.split("=", 1) for answer in answers]
        return [value.warning for name, text in typed for value in asked[name].values(text) if value.warning]


def runs_to_record(store: Store, trial: str) -> tuple[RunToRecord, ...]:
    """In the order of baking; failed and skipped runs are settled. Raises Conflict for a closed trial."""
    with store.read() as session:
        found = find_trial(session, trial)
        refuse_closed(session, found)
        responses = responses_of(session, found)
        named = json.loads(found.design).get("block") or "block"
        waiting = []
        for run in runs_of(session, found):
            bake = standing.bake_of(session, run)
            outcome = standing.outcome_of(session, bake) if bake else None
            if outcome is not None and outcome.state != "done":
                continue
            have = {reading.response_id for reading in standing.readings_of(session, bake)} if bake else set()
            missing = [response for response in responses if response.id not in have]
            if missing:
                asked = tuple(ResponseToRecord(stored=response, run=run.code) for response in missing)
                block = None if run.block is None else f"{named} {run.block}"
                waiting.append(RunToRecord(code=run.code, bake_order=run.bake_order, block=block, responses=asked))
    return tuple(waiting)
