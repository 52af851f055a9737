"""How is what an assessor says kept?

Consent first, then one answer after the other: each locks its sample in the same transaction as its readings. Nothing
in an error names a trial, a run, a setting or anybody else.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tracker.deeds import Deed
from tracker.errors import Conflict, InputError, NotFound
from tracker.intake.values import Value, read_value
from tracker.models import (
    Bake,
    PersonDetails,
    Reading,
    Response,
    TasteNote,
    Tasting,
    TastingAnswer,
    TastingConsent,
    TastingSample,
)
from tracker.store import Store
from tracker.workflow.allergens import clashes
from tracker.workflow.lookup import key
from tracker.workflow.readings import standing_readings
from tracker.workflow.tasting_samples import consent_of, responses_asked, stands, takes_answers
from tracker.workflow.tastings import answers_to, find_tasting, samples_of

HERE = "this sample"  # what errors name: nothing else may be told
LONGEST = 4_000
CONSENT = (
    "You taste of your own free will and may stop at any time, without saying why. You taste baked goods only, no raw "
    "dough.",
    "What you answer is kept under your number. Answers stay when you stop; your name, if the kitchen noted it, can be "
    "erased at any time.",
    "You get samples under codes, one after the other. An answer cannot be looked at or changed once you have gone on.",
)
AGREED = "I have read this and I agree to taste."
EATS = "I can eat all of these."


@dataclass(frozen=True, kw_only=True)
class Said:
    """What was said of one sample: texts by the number of what was asked; ``tasted`` False leaves it out."""

    values: Mapping[int, str]
    words: str = ""
    tags: Sequence[str] = ()
    tasted: bool = True


class AnsweredAlready(Conflict):
    """This sample has its answer: the first one stands."""


class Clash(Conflict):
    """The kitchen has noted something that this person must not eat, and it is in the samples."""


def agree(store: Store, number: int, person: int, *, agrees: bool, eats_all: bool) -> None:
    """Keep that ``person`` agreed and that the check for allergens was passed; of a clash nothing is kept.

    Raises InputError when one of the two was not ticked, Clash for what the kitchen has noted, Conflict when closed.
    """
    if not (agrees and eats_all):
        raise InputError(
            "Both are needed before you taste.", where="before you taste", try_this="tick both, or tell the host"
        )
    with store.write(person=person, action="agree to taste") as deed:
        tasting = _mine(deed, number, person)
        details = deed.session.get(PersonDetails, person)
        if details is not None and clashes(details.allergens, tasting.allergens):
            raise Clash(
                "The kitchen has noted that you must not eat something that is in these samples.",
                where="before you taste",
                try_this="please do not taste, and tell the host",
            )
        if consent_of(deed.session, tasting, person) is None:
            words = " ".join((*CONSENT, AGREED, "The check for allergens was made and passed."))
            deed.add(TastingConsent(tasting_id=key(tasting), person_id=person, words=words, at=deed.at))


def answer(store: Store, number: int, person: int, code: str, said: Said) -> None:
    """Keep the answer to the sample ``code`` and lock it: readings of the bake, and a taste note if words were said.

    Raises InputError for what is missing or is no value, AnsweredAlready, Conflict for a sample out of turn or a
    closed tasting.
    """
    with store.write(person=person, action="taste") as deed:
        tasting = _mine(deed, number, person)
        if consent_of(deed.session, tasting, person) is None:
            raise Conflict("You have not agreed to taste yet.", where=HERE, try_this="begin at the first page")
        samples = samples_of(deed.session, tasting, person)
        answered = answers_to(deed.session, samples)
        sample = next((each for each in samples if each.code == code), None)
        if sample is None:
            raise NotFound("There is no such sample.", where=HERE, try_this="go on with the next one")
        if sample.id in answered:
            raise AnsweredAlready(
                f"Sample {sample.code} is answered already. The first answer stands.",
                where=HERE,
                try_this="go on with the next one",
            )
        if any(each.place < sample.place and each.id not in answered for each in samples):
            raise Conflict("This sample is not the next one.", where=HERE, try_this="go on with the next one")
        written = _write(deed, tasting, sample, said) if said.tasted else []
        deed.add(
            TastingAnswer(
                sample_id=key(sample), tasted=said.tasted, readings=json.dumps(written), person_id=person, at=deed.at
            )
        )


def _write(deed: Deed, tasting: Tasting, sample: TastingSample, said: Said) -> list[tuple[int, int]]:
    bake = deed.session.get(Bake, sample.bake_id)
    assert bake is not None
    read = []
    for number, response in enumerate(responses_asked(deed.session, tasting), start=1):
        text = said.values.get(number, "").strip()
        if not text:
            raise InputError(
                f"{response.name} is not answered yet.",
                where=HERE,
                try_this="answer all of it, or leave the sample out",
            )
        read.append((response, read_value(text, response, where=HERE)))
    rows = [(each.position, _reading(deed, bake, each, value, sample.person_id).repeat) for each, value in read]
    _note(deed, bake, said, sample.person_id)
    return rows


def _reading(deed: Deed, bake: Bake, response: Response, value: Value, person: int) -> Reading:
    """One more reading of the whole bake, as any other assessor's."""
    taken = {reading.repeat for reading in standing_readings(deed.session, bake, response, None)}
    return deed.add(
        Reading(
            bake_id=key(bake),
            response_id=response.id,
            response=response.name,
            repeat=next(number for number in range(1, len(taken) + 2) if number not in taken),
            value=value.value,
            implausible=bool(value.warning),
            person_id=person,
            at=deed.at,
            reason="as tasted" if value.warning else "",
        )
    )


def _note(deed: Deed, bake: Bake, said: Said, person: int) -> None:
    words, tags = said.words.strip(), list(dict.fromkeys(" ".join(tag.split()) for tag in said.tags if tag.strip()))
    if max(len(words), *map(len, tags), 0) > LONGEST:
        raise InputError(f"A note has at most {LONGEST} characters.", where=HERE, try_this="make it shorter")
    if words or tags:
        told = json.dumps(tags, ensure_ascii=False)
        deed.add(TasteNote(bake_id=key(bake), words=words, tags=told, person_id=person, at=deed.at))


def _mine(deed: Deed, number: int, person: int) -> Tasting:
    tasting = find_tasting(deed.session, number)
    stands(deed.session, tasting, person)
    if not takes_answers(deed.session, tasting):
        raise Conflict("This tasting is closed.", where="tasting", try_this="thank you; nothing more is to be done")
    return tasting
