"""How is a blind tasting set up, and who joins it later?"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from secrets import randbelow

from sqlmodel import select

from analysis.designs.serving import A_SITTING, serving_codes, serving_orders
from analysis.designs.shuffle import LARGEST_SEED
from tracker.current import CurrentTrial, current_trial
from tracker.deeds import Deed
from tracker.errors import Conflict, InputError, NotFound
from tracker.models import Bake, Person, PersonDetails, Tasting, TastingSample, TastingState, Trial
from tracker.store import Store
from tracker.workflow.lookup import find_trial, key, refuse_closed
from tracker.workflow.tasting_choices import TASTED, bakes_done
from tracker.workflow.tastings import find_tasting, is_open, samples_of

MOST_PEOPLE = 60
MOST_REST_S = 3600
LONGEST = 2000
WORDS = (
    "Rinse your mouth with water before each sample. Taste enough of it to be sure, in your own time; swallow it or "
    "not, as you like. Please do not talk about the samples until everybody is done."
)


@dataclass(frozen=True, kw_only=True)
class WhoTastes:
    """``people`` are known already; ``names`` are new (or known by that name); ``nameless`` is how many more."""

    people: Sequence[int] = ()
    names: Sequence[str] = ()
    nameless: int = 0


@dataclass(frozen=True, kw_only=True)
class SetUp:
    """What came of it; ``advice`` is "" or what to think about."""

    number: int
    assessors: int
    samples: int
    advice: str = ""


def set_up_tasting(
    store: Store,
    trial: str,
    *,
    runs: Sequence[str],
    responses: Sequence[int],
    who: WhoTastes,
    allergens: str,
    words: str = WORDS,
    rest_s: int = 60,
    by: int,
    seed: int | None = None,
) -> SetUp:
    """A tasting of these ``runs`` (codes), scored on ``responses`` (places in the plan), with everybody's samples.

    Raises InputError for what is missing or cannot be, NotFound, Conflict for a closed trial. All of it or nothing.
    """
    allergens, words = allergens.strip(), words.strip()
    if not allergens:
        raise InputError(
            "Nobody can say whether they may eat it without knowing what is in it.",
            where="what is in the samples",
            try_this='write it, or "none of the usual ones"',
        )
    for text in (allergens, words):
        if len(text) > LONGEST:
            raise InputError(f"A text has at most {LONGEST} characters.", where="tasting", try_this="make it shorter")
    if not 0 <= rest_s <= MOST_REST_S:
        raise InputError("A rest lasts up to an hour.", where="rest", try_this="60 seconds")
    seed = randbelow(LARGEST_SEED) if seed is None else seed
    with store.write(person=by, action="set up tasting") as deed:
        found = find_trial(deed.session, trial)
        refuse_closed(deed.session, found)
        current = current_trial(deed.session, trial)
        bakes = _bakes(current, runs)
        asked = _asked(current, responses)
        tasting = deed.add(
            Tasting(
                trial_id=key(found),
                seed=seed,
                responses=json.dumps(asked),
                allergens=allergens,
                words=words,
                rest_s=rest_s,
                person_id=by,
                at=deed.at,
            )
        )
        deed.add(TastingState(tasting_id=key(tasting), state="open", person_id=by, at=deed.at))
        people = _people(deed, who, by)
        _serve(deed, tasting, current, bakes, people)
    many = (
        f"{len(bakes)} samples at one sitting are many: tongues tire beyond about {A_SITTING}."
        if len(bakes) > A_SITTING
        else ""
    )
    return SetUp(number=key(tasting), assessors=len(people), samples=len(bakes), advice=many)


def add_assessors(store: Store, number: int, who: WhoTastes, *, by: int) -> int:
    """More assessors for an open tasting; the orders go on where they stopped. Returns how many were new."""
    with store.write(person=by, action="add assessors") as deed:
        tasting = find_tasting(deed.session, number)
        if not is_open(deed.session, tasting):
            raise Conflict("The tasting is closed.", where="tasting", try_this="set up another one")
        trial = deed.session.get(Trial, tasting.trial_id)
        assert trial is not None
        refuse_closed(deed.session, trial)
        current = current_trial(deed.session, trial.name)
        served = samples_of(deed.session, tasting)
        before = list(dict.fromkeys(sample.person_id for sample in served))
        numbers = sorted({sample.bake_id for sample in served})
        bakes = [bake for bake in current.bakes.values() if bake.id in numbers]
        bakes.sort(key=lambda bake: numbers.index(key(bake)))
        people = [person for person in _people(deed, who, by) if person not in before]
        _serve(deed, tasting, current, bakes, people, before=before)
    return len(people)


def _bakes(current: CurrentTrial, runs: Sequence[str]) -> list[Bake]:
    ready = {run.code: run for run in bakes_done(current)}
    wanted = list(dict.fromkeys(code.strip() for code in runs if code.strip()))
    missing = [code for code in wanted if code not in ready]
    if missing:
        raise InputError(
            f'Bake "{missing[0]}" is not done, so it cannot be tasted.', where="bakes", try_this="one of those that are"
        )
    return sorted((current.bakes[key(ready[code])] for code in wanted), key=key)


def _asked(current: CurrentTrial, responses: Sequence[int]) -> list[int]:
    known = {each.position for each in current.responses if each.scale in TASTED}
    if not responses or any(position not in known for position in responses):
        raise InputError(
            "Choose at least one thing to be scored.", where="what is scored", try_this="a score, a yes or no, a count"
        )
    return sorted(set(responses))


def _people(deed: Deed, who: WhoTastes, by: int) -> list[int]:
    """Numbers of everybody, new ones written; who sets it up knows the codes and does not taste."""
    if who.nameless < 0 or len(who.people) + len(who.names) + who.nameless > MOST_PEOPLE:
        raise InputError(f"A tasting has at most {MOST_PEOPLE} assessors.", where="assessors", try_this="fewer")
    people = list(dict.fromkeys(who.people))
    for person in people:
        if deed.session.get(Person, person) is None:
            raise NotFound("There is no such person.", where="assessors", try_this="choose from the list")
    for name in dict.fromkeys(" ".join(each.split()) for each in who.names if each.strip()):
        people.append(_named(deed, name))
    people += [key(deed.add(Person(made_at=deed.at))) for _ in range(who.nameless)]
    if not people:
        raise InputError("Nobody tastes.", where="assessors", try_this="choose somebody, or add new assessors")
    if by in people:
        raise InputError(
            "Whoever sets a tasting up knows which sample is which, and cannot taste.",
            where="assessors",
            try_this="leave yourself out",
        )
    return list(dict.fromkeys(people))


def _named(deed: Deed, name: str) -> int:
    if len(name) > 80 or not name.isprintable():  # a NUL would already be refused by the question to the database
        raise InputError("A name has at most 80 signs, all of them to be seen.", where="assessors", try_this="shorter")
    known = deed.session.exec(select(PersonDetails).where(PersonDetails.name == name)).first()
    if known is not None:
        return known.person_id
    number = key(deed.add(Person(made_at=deed.at)))
    deed.add(PersonDetails(person_id=number, name=name))
    return number


def _serve(
    deed: Deed,
    tasting: Tasting,
    current: CurrentTrial,
    bakes: Sequence[Bake],
    people: Sequence[int],
    before: Sequence[int] = (),
) -> None:
    """Everybody's samples: an order and codes of their own."""
    orders = serving_orders(len(bakes), len(people), seed=tasting.seed, first=len(before))
    taken = {run.code for run in current.runs} | {sample.code for sample in samples_of(deed.session, tasting)}
    rows = []
    for at, (person, order) in enumerate(zip(people, orders, strict=True), start=len(before)):
        codes = serving_codes(len(bakes), seed=tasting.seed, assessor=at, taken=taken)
        taken |= set(codes)
        rows += [
            TastingSample(tasting_id=key(tasting), person_id=person, place=place, code=code, bake_id=key(bakes[which]))
            for place, (which, code) in enumerate(zip(order, codes, strict=True), start=1)
        ]
    deed.add_many(rows)
