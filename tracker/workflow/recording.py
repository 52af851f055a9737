"""What came out of the oven, and how is it kept?

One call records what is known of one run: readings, how the bake ended, what was really
weighed. It is one transaction: all of it is written or nothing. A value that stands is
never overwritten; a correction is a new row that names the old one and says why.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import replace

from tracker.deeds import Deed
from tracker.errors import Conflict, InputError, UsageError
from tracker.intake.numbers import number_text
from tracker.intake.values import read_value
from tracker.models import Bake, Outcome, Run, TasteNote, Trial, TrialState
from tracker.store import Store
from tracker.workflow import standing
from tracker.workflow.lookup import (
    bake_carrying_out,
    find_response,
    key,
    refuse_closed,
    response_named,
    responses_of,
    trial_and_run,
)
from tracker.workflow.readings import (
    MOST_PIECES,
    Entry,
    piece_id,
    readings_meant,
    split_texts,
    split_value,
    void,
    warnings_of,
    write_readings,
)
from tracker.workflow.recorded import Recorded, Written
from tracker.workflow.said import said_outcome
from tracker.workflow.weighing import write_weighings

OUTCOMES = ("done", "failed", "skipped")


def record_run(
    store: Store,
    trial: str,
    run: str,
    values: Iterable[str] = (),
    *,
    piece: int | None = None,
    repeat: int | None = None,
    person: int = 1,
    at: str | None = None,
    outcome: str = "",
    reason: str = "",
    weighed: Iterable[str] = (),
    oven_temperature_c: float | None = None,
    deviations: str = "",
    correct: bool = False,
    again: bool = False,
    seen: str = "",
) -> Recorded:
    """Record one run in one transaction.

    ``values`` are texts such as "rise height=42.5" or "rise height=42.5 41.8" (several
    readings). ``run`` is its three-digit code, or "#7" for the seventh bake. ``correct``
    replaces what stands and needs ``reason``; so do a failed or skipped run, an unlikely value
    and a weight far from the planned one. ``again`` adds a reading beside those that stand.
    ``seen`` is the value, the weight or (where nothing else is given) the outcome that whoever
    corrects saw standing ("42.5 mm"): what another entered since then is not replaced unseen.
    ``outcome`` left out means done, except where weights are all that is said: they are known
    before anything is baked.

    Raises InputError (impossible value, missing reason), Conflict (a value stands there
    already, the trial is closed), NotFound (unknown trial, run, response, person).
    """
    asked, weighed = [split_value(text) for text in values], list(weighed)
    mixing = bool(weighed) and not (asked or outcome or deviations.strip() or oven_temperature_c is not None)
    outcome = outcome or "done"
    entry = Entry(
        person=person,
        at=at or "",
        reason=reason.strip(),
        correct=correct,
        again=again,
        piece=piece,
        repeat=repeat,
        seen=seen,
    )
    _check_entry(entry, outcome)
    with store.write(person=person, action="record run", reason=reason.strip()) as deed:
        entry = replace(entry, at=entry.at or deed.at)
        found, its_run, place, before = _open(deed, trial, run)
        bake = _bake(deed, its_run, entry.at)
        alone = "" if asked or weighed else seen
        state = None
        if not mixing:
            state = _write_outcome(deed, bake, outcome, entry, deviations.strip(), oven_temperature_c, place, alone)
        written: list[Written] = []
        warnings: list[str] = []
        for name, texts in asked:
            response = response_named(deed.session, found, name)
            read = [read_value(text, response, where=place) for text in split_texts(texts, response)]
            warnings += warnings_of(read, entry)
            written += write_readings(deed, bake, response, read, entry, place)
        grams, unlikely = write_weighings(
            deed,
            found,
            its_run,
            bake,
            weighed,
            person=person,
            at=entry.at,
            correct=correct,
            reason=entry.reason,
            place=place,
            seen=seen,
        )
        if before == "planned":
            deed.add_row(TrialState, trial_id=key(found), state="baking", at=entry.at, person_id=entry.person)
    return Recorded(
        trial=found.name,
        run=its_run.code,
        bake_order=its_run.bake_order,
        outcome=state,
        readings=tuple(written),
        weighed=grams,
        warnings=(*warnings, *unlikely),
    )


def void_readings(
    store: Store,
    trial: str,
    run: str,
    responses: Sequence[str],
    *,
    reason: str,
    piece: int | None = None,
    repeat: int | None = None,
    person: int = 1,
) -> Recorded:
    """Take readings back: they stay in the record and are no longer used. Needs a reason."""
    entry = Entry(person=person, at="", reason=reason.strip(), correct=True, again=False, piece=piece, repeat=repeat)
    _check_entry(entry, "done")
    if not responses:
        raise UsageError("Nothing to take back was named.", where="trial record --void", try_this='name "rise height"')
    with store.write(person=person, action="void reading", reason=entry.reason) as deed:
        entry = replace(entry, at=deed.at)
        found, its_run, place, _ = _open(deed, trial, run)
        bake = standing.bake_of(deed.session, its_run)
        known = responses_of(deed.session, found)
        written = []
        for name in responses:
            response = find_response(known, name.partition("=")[0], trial=found.name)
            stands = readings_meant(deed.session, bake, response, piece, repeat) if bake else []
            if not stands:
                raise Conflict(
                    f"{response.name} has no reading to take back.",
                    where=place,
                    try_this=f'crumbwise trial show "{found.name}" lists what is recorded',
                )
            written += [void(deed, reading, response, entry) for _, reading in stands]
    return Recorded(
        trial=found.name, run=its_run.code, bake_order=its_run.bake_order, outcome=None, readings=tuple(written)
    )


def add_note(
    store: Store,
    trial: str,
    run: str,
    words: str,
    *,
    tags: Sequence[str] = (),
    piece: int | None = None,
    person: int = 1,
    at: str | None = None,
) -> Recorded:
    """Keep a taste note (free words, short tags) beside a run."""
    text, labels = words.strip(), [" ".join(tag.split()) for tag in tags if tag.strip()]
    if not text and not labels:
        raise InputError("The note is empty.", where="trial note", try_this='write words, such as "soapy at the back"')
    with store.write(person=person, action="taste note") as deed:
        when = at or deed.at
        found, its_run, *_ = _open(deed, trial, run)
        bake = _bake(deed, its_run, when)
        deed.add(
            TasteNote(
                bake_id=key(bake),
                piece_id=piece_id(deed, bake, piece),
                words=text,
                tags=json.dumps(labels, ensure_ascii=False),
                person_id=person,
                at=when,
            )
        )
    shown = text + (f" [{', '.join(labels)}]" if labels else "")
    return Recorded(trial=found.name, run=its_run.code, bake_order=its_run.bake_order, outcome=None, note=shown)


def _check_entry(entry: Entry, outcome: str) -> None:
    if outcome not in OUTCOMES:
        raise UsageError(f'"{outcome}" is no outcome.', where="trial record", try_this="done, failed or skipped")
    if outcome != "done" and not entry.reason:
        raise InputError(
            f"A {outcome} run needs a reason.", where="trial record", try_this='--reason "the oven went out"'
        )
    if entry.correct and not entry.reason:
        raise InputError(
            "A correction needs a reason.", where="trial record", try_this='--reason "read the wrong side of the ruler"'
        )
    if (entry.piece is not None and entry.piece < 1) or (entry.repeat is not None and entry.repeat < 1):
        raise UsageError("Pieces and repeats count from 1.", where="trial record", try_this="--piece 1")
    if (entry.repeat or 0) > MOST_PIECES:
        raise InputError(f"Repeats count from 1 to {MOST_PIECES:,}.", where="trial record", try_this="--repeat 2")


def _open(deed: Deed, trial: str, run: str) -> tuple[Trial, Run, str, str]:
    """The trial, its run, where that is in words, and the state of the trial."""
    found, its_run = trial_and_run(deed.session, trial, run)
    state = refuse_closed(deed.session, found)
    return found, its_run, f'trial "{found.name}", run {its_run.code}', state


def _bake(deed: Deed, run: Run, at: str) -> Bake:
    return bake_carrying_out(deed.session, run) or deed.add(Bake(run_id=run.id, made_at=at))


def _said(outcome: Outcome | None) -> str:
    if outcome is None:
        return said_outcome("", "", "")
    oven = outcome.oven_temperature_c
    return said_outcome(outcome.state, "" if oven is None else number_text(oven), outcome.deviations)


def _write_outcome(
    deed: Deed, bake: Bake, state: str, entry: Entry, deviations: str, oven: float | None, place: str, seen: str
) -> str:
    before = standing.outcome_of(deed.session, bake)
    if before is not None and before.state == state and not deviations and oven is None:
        return state
    stands = _said(before)
    if seen and " ".join(seen.split()) != stands:
        raise Conflict(
            f"Somebody changed it meanwhile; the run is recorded already: {stands}.",
            where=place,
            try_this="look at what stands first",
        )
    if before is not None and before.state != state and not entry.correct:
        why = f" ({before.reason})" if before.reason else ""
        raise Conflict(
            f"The run is recorded as {before.state}{why}.", where=place, try_this='--correct --reason "…" replaces that'
        )
    changed = before is not None and before.state != state
    deed.add_row(
        Outcome,
        bake_id=key(bake),
        state=state,
        reason=entry.reason if state != "done" or changed else "",
        deviations=deviations or (before.deviations if before else ""),
        oven_temperature_c=oven if oven is not None else (before.oven_temperature_c if before else None),
        person_id=entry.person,
        at=entry.at,
        replaces_id=before.id if before else None,
    )
    return state
