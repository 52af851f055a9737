"""Does each kind of page hold its parts, in its order, from the same answer?"""

from __future__ import annotations

import pytest

from reports.kinds import KINDS, Told, sections_of


def told(answers, notes=None, **more) -> Told:
    return Told(analysis=answers["factorial"](), notes=notes, plan={"kind": "full factorial"}, **more)


def keys(kind: str, whole: Told) -> list[str]:
    return [section.key for section in sections_of(kind, whole)]


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_every_kind_begins_with_the_answer_and_ends_with_where_it_comes_from(kind, answers, notes):
    parts = keys(kind, told(answers, notes))
    assert next(part for part in parts if part != "safety") == "answer"
    assert parts[-1] == "provenance"
    assert len(set(parts)) == len(parts)


def test_what_has_nothing_to_say_is_left_out(answers, notes):
    with_notes, without = keys("kitchen", told(answers, notes)), keys("kitchen", told(answers))
    assert set(with_notes) - set(without) == {"taste"}
    assert [key for key in with_notes if key in without] == without


def test_pictures_of_one_page_have_their_own_names(answers, notes):
    for kind in KINDS:
        blocks = [block for section in sections_of(kind, told(answers, notes)) for block in section.blocks]
        names = [block.figure.key for block in blocks if block.kind == "picture"]
        assert names
        assert len(set(names)) == len(names)
