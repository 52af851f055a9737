"""When did mixing begin, when did it go into the oven, when did it come out?

What is kept is the moment, not a counter: a timer that is worked out from it goes on while
the tablet sleeps or the server starts anew. A tablet says how long ago the button was
pressed, so that neither its own clock nor a wait in its queue moves the moment.
"""

from __future__ import annotations

from datetime import datetime, timedelta

from sqlmodel import select

from tracker.current import standing
from tracker.errors import Conflict, InputError
from tracker.intake.moments import read_moment, stamp_of
from tracker.models import Bake, BakeMoment, Kitchen, TrialState
from tracker.store import Store
from tracker.workflow.lookup import find_run, find_trial, key, refuse_closed, runs_of, state_of

MOMENTS = ("begun", "in the oven", "out of the oven")
LONGEST_WAIT = timedelta(days=7)


def mark_moment(
    store: Store,
    trial: str,
    run: str,
    what: str,
    *,
    person: int,
    ago_s: float = 0.0,
    typed: str = "",
    reason: str = "",
    seen: str = "",
) -> str:
    """Keep a moment: now, ``ago_s`` seconds ago, or as ``typed`` ("10:42"). A second one needs a reason.

    ``seen`` is the moment (RFC 3339) that whoever changes it saw: what another entered since is not replaced unseen.
    Returns it as RFC 3339 in UTC. Raises InputError (no such moment, in the future), Conflict.
    """
    where = f'trial "{trial}", run {run}'
    if what not in MOMENTS:
        raise InputError(f'"{what}" is no moment of a bake.', where=where, try_this=", ".join(MOMENTS))
    with store.write(person=person, action="mark moment", reason=reason.strip()) as deed:
        found = find_trial(deed.session, trial)
        refuse_closed(deed.session, found)
        its_run = find_run(runs_of(deed.session, found), run, trial=trial)
        kitchen = deed.session.exec(select(Kitchen)).first()
        now = datetime.fromisoformat(deed.at)
        zone = kitchen.zone if kitchen else "UTC"
        moment = _moment(now, ago_s, typed, zone, where)
        bake = deed.session.exec(select(Bake).where(Bake.run_id == its_run.id)).first()
        bake = bake or deed.add(Bake(run_id=its_run.id, made_at=deed.at))
        rows = deed.session.exec(select(BakeMoment).where(BakeMoment.bake_id == bake.id, BakeMoment.what == what)).all()
        before = next(iter(standing(rows)), None)
        if before is not None and not reason.strip():
            raise Conflict(
                f"{what.capitalize()} is recorded already: {_hour(before.moment, zone)}.",
                where=where,
                try_this="give a reason to change it",
            )
        if seen and (before is None or before.moment != seen):
            now_there = "taken back" if before is None else _hour(before.moment, zone)
            raise Conflict(
                f"Somebody changed it meanwhile; {what} is recorded already: {now_there}.",
                where=where,
                try_this="look at what stands first",
            )
        deed.add(
            BakeMoment(
                bake_id=key(bake),
                what=what,
                moment=moment,
                person_id=person,
                at=deed.at,
                replaces_id=key(before) if before else None,
                reason=reason.strip() if before else "",
            )
        )
        if state_of(deed.session, found) == "planned":
            deed.add(TrialState(trial_id=key(found), state="baking", at=deed.at, person_id=person))
    return moment


def _hour(moment: str, zone: str) -> str:
    from zoneinfo import ZoneInfo

    return datetime.fromisoformat(moment).astimezone(ZoneInfo(zone)).strftime("%H:%M")


def _moment(now: datetime, ago_s: float, typed: str, zone: str, where: str) -> str:
    if typed.strip():
        words = typed.strip()
        if len(words) <= 5:  # an hour alone is today's
            from zoneinfo import ZoneInfo

            words = f"{now.astimezone(ZoneInfo(zone)).date()} {words}"
        stamp = read_moment(words, zone=zone, where=where)
        if datetime.fromisoformat(stamp) > now + timedelta(minutes=5):
            raise InputError(
                "That time has not come yet.", where=where, try_this="write the day too if it was yesterday"
            )
        return stamp
    if not 0 <= ago_s <= LONGEST_WAIT.total_seconds():
        raise InputError("The tablet's clock cannot be right.", where=where, try_this="type the time")
    return stamp_of(now - timedelta(seconds=ago_s))
