"""What did the bakes look like?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from analysis.questions import Question
from analysis.words import photos as say
from analysis.words.next_bakes import say_treatment
from reports.html import plain
from reports.sections.blocks import Photo, Photos, Section, Words


@dataclass(frozen=True, kw_only=True)
class PhotoTold:
    """A photo as plain data: its ``number`` in the record, ``jpeg`` small already, sides in pixels.

    ``settings``: factor -> value of its bake; ``piece`` None for the whole bake; ``who`` "" where no name is kept.
    """

    number: int
    bake: str
    settings: Mapping[str, Any]
    piece: int | None
    words: str
    who: str
    day: date
    jpeg: bytes
    width: int
    height: int


@dataclass(frozen=True, kw_only=True)
class PhotosTold:
    """The photos for a page, in order of baking; ``further`` are not shown, the pictures of ``gone`` not kept."""

    photos: tuple[PhotoTold, ...] = ()
    further: int = 0
    gone: int = 0


def photos_section(told: PhotosTold | None, question: Question, *, blind: bool) -> Section | None:
    """Small pictures of the bakes; none while somebody tastes ``blind``. None without photos."""
    if told is None or not (told.photos or told.gone):
        return None
    if blind:
        return Section(key="photos", title=say.TITLE, blocks=(Words(text=say.WHILE_TASTING, tone="quiet"),))
    blocks: list[Photos | Words] = []
    if told.photos:
        blocks.append(Photos(photos=tuple(_photo(each, question) for each in told.photos)))
    others = say.say_other_photos(len(told.photos), told.further, told.gone)
    if others:
        blocks.append(Words(text=others, tone="quiet"))
    return Section(key="photos", title=say.TITLE, blocks=blocks)


def _photo(told: PhotoTold, question: Question) -> Photo:
    settings = {each.name: told.settings[each.name] for each in question.factors if each.name in told.settings}
    treatment = plain(say_treatment(settings, question))
    bake, words = plain(told.bake), plain(told.words)
    return Photo(
        number=told.number,
        jpeg=told.jpeg,
        width=told.width,
        height=told.height,
        alt=say.say_photo(bake, told.piece, treatment, words),
        caption=say.say_below_photo(bake, told.piece, treatment, words, plain(told.who), told.day),
    )
