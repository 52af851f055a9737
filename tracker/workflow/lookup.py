"""Which trial, run, response or person is meant?

Names are matched as they stand; a miss says so and names the nearest. Rows of a trial never change: where a session
carries a place for it (``FOUND``), what was found is not asked for again.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Protocol, cast

from sqlalchemy import bindparam
from sqlmodel import Session, col, select

from tracker.current import find_trial
from tracker.errors import Conflict, NotFound
from tracker.intake.spreadsheet import nearest
from tracker.models import Bake, Response, Run, Trial, TrialState
from tracker.prepared import Prepared
from tracker.workflow import standing

__all__ = [
    "bake_carrying_out",
    "find_response",
    "find_run",
    "find_trial",
    "key",
    "piece_numbered",
    "refuse_closed",
    "response_named",
    "responses_of",
    "runs_of",
    "state_of",
    "trial_and_run",
]


FOUND = "found before"  # key of Session.info: a dict of rows that never change
_STATES = TrialState.__table__  # type: ignore[attr-defined]
_STATE = Prepared(
    select(_STATES.c.state).where(_STATES.c.trial_id == bindparam("trial")).order_by(_STATES.c.id.desc()).limit(1)
)
_RUNS = Run.__table__  # type: ignore[attr-defined]
_RUN = Prepared(select(_RUNS).where(_RUNS.c.trial_id == bindparam("trial"), _RUNS.c.code == bindparam("code")))


def trial_and_run(session: Session, name: str, word: str) -> tuple[Trial, Run]:
    """A trial and one of its runs by their names. Raises NotFound for either."""
    kept: dict[Any, Any] = session.info.get(FOUND, {})
    known = kept.get((name, word))
    if known is None:
        trial = kept.get(name) or kept.setdefault(name, find_trial(session, name))
        run = _RUN.first(session.connection(), trial=trial.id, code=word.strip())
        known = kept[name, word] = trial, run or find_run(runs_of(session, trial), word, trial=trial.name)
    return cast("tuple[Trial, Run]", known)


def bake_carrying_out(session: Session, run: Run) -> Bake | None:
    """The bake of a run; None before it is baked."""
    kept: dict[Any, Any] = session.info.get(FOUND, {})
    known = kept.get(("bake", run.id))
    if known is None:
        known = standing.bake_of(session, run)
        if known is not None:
            kept["bake", run.id] = known
    found: Bake | None = known
    return found


def piece_numbered(session: Session, bake: Bake, number: int) -> int | None:
    """The row of one piece of a bake; None when nothing was kept of it."""
    kept: dict[Any, Any] = session.info.get(FOUND, {})
    if ("piece", bake.id, number) not in kept:
        kept.update({("piece", bake.id, at): piece.id for at, piece in standing.pieces_of(session, bake).items()})
    found: int | None = kept.get(("piece", bake.id, number))
    return found


def response_named(session: Session, trial: Trial, name: str) -> Response:
    """One response of a trial. Raises NotFound."""
    kept: dict[Any, Any] = session.info.get(FOUND, {})
    known = kept.get((trial.id, "response", name))
    if known is None:
        known = kept[trial.id, "response", name] = find_response(responses_of(session, trial), name, trial=trial.name)
    found: Response = known
    return found


def runs_of(session: Session, trial: Trial) -> list[Run]:
    """The trial's runs in bake order."""
    return list(session.exec(select(Run).where(Run.trial_id == trial.id).order_by(col(Run.bake_order))))


def responses_of(session: Session, trial: Trial) -> list[Response]:
    """The trial's responses in the order of the plan."""
    wanted = select(Response).where(Response.trial_id == trial.id).order_by(col(Response.position))
    return list(session.exec(wanted))


def find_run(runs: Sequence[Run], word: str, *, trial: str) -> Run:
    """The run with code ``word``, or the one baked n-th for ``#n``."""
    wanted = word.strip()
    for run in runs:
        if run.code == wanted or f"#{run.bake_order}" == wanted:
            return run
    codes = [run.code for run in runs]
    near = nearest(wanted, codes)
    raise NotFound(
        f'Trial "{trial}" has no run "{word}"; its {len(runs)} runs have the codes {", ".join(sorted(codes)[:8])} …'
        if len(runs) > 8
        else f'Trial "{trial}" has no run "{word}"; its codes are {", ".join(sorted(codes))}.',
        where=f'trial "{trial}"',
        try_this=near or f'crumbwise trial show "{trial}" lists the codes; #1 is the run baked first',
    )


def find_response(responses: Sequence[Response], name: str, *, trial: str) -> Response:
    """The response of that name; case, "_" and a unit behind it do not matter."""
    from tracker.intake.mapping import same_name

    for response in responses:
        if same_name(name, response.name, response.unit):
            return response
    known = [response.name for response in responses]
    raise NotFound(
        f'Trial "{trial}" has no response "{name}"; it has {", ".join(known)}.',
        where=f'trial "{trial}"',
        try_this=f'"{nearest(name, known) or known[0]}"',
    )


def state_of(session: Session, trial: Trial) -> str:
    """planned, baking, closed or reopened."""
    said = _STATE.first(session.connection(), trial=trial.id)
    return said.state if said else "planned"


def refuse_closed(session: Session, trial: Trial) -> str:
    """The state of a trial that is open. Raises Conflict when it takes no more entries."""
    state = state_of(session, trial)
    if state == "closed":
        raise Conflict(
            f'Trial "{trial.name}" is closed.',
            where=f'trial "{trial.name}"',
            try_this=f'crumbwise trial reopen "{trial.name}" --reason "…"',
        )
    return state


class _Kept(Protocol):
    id: int | None


def key(row: _Kept) -> int:
    """The number the database gave a row that was written."""
    assert row.id is not None
    return row.id
