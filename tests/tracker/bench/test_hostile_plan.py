"""Is every text of a plan a text, whatever is typed as an answer, as a plan file or as a name?

A few of 200 strings in every field, all of them with CRUMBWISE_LARGE=1.
"""

from __future__ import annotations

import importlib.util
import json
from pathlib import Path

import pytest


def _module():
    """The strings of the other pages (tests are no package)."""
    spec = importlib.util.spec_from_file_location("hostile", Path(__file__).parent / "test_hostile_text.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


hostile = _module()
STRINGS = hostile.STRINGS
SOME = STRINGS[3 :: 1 if hostile.EVERY == 1 else 40]
ANSWERS = {
    "aim": "2",
    "factor.1": "soda",
    "kind.1": "1",
    "unit.1": "g",
    "doses.1": "1 to 3",
    "factor.2": "fat",
    "kind.2": "2",
    "kinds.2": "butter, oil",
    "factor.3": "",
    "hard-to-change": "",
    "bakes-a-day": "8",
    "bakes-at-most": "",
    "response.1": "rise",
    "response-unit.1": "mm",
    "goal.1": "1",
    "matters.1": "",
    "differ.1": "",
    "plausible.1": "",
    "response.2": "",
    "title": "",
}
TEXTS = ("factor.1", "unit.1", "response.1", "response-unit.1", "title")  # where any short text is an answer


def strange(answer):
    reader = hostile.Reader()
    reader.feed(answer.text)
    reader.close()
    assert reader.elements > 20
    return reader.found


@pytest.mark.parametrize("name", [*ANSWERS, "at", "until", "page", "choose", "times", "seed"])
def test_every_answer_is_shown_as_text(name, as_role):
    analyst = as_role("analyst")
    for string in SOME:
        for path in ("/plan/ask", "/plan/answers", "/plan/proposal"):
            answer = analyst.get(path, params={"seed": "5", **ANSWERS, name: string})
            assert answer.status_code < 500, (path, string)
            if answer.status_code == 303:
                answer = analyst.get(answer.headers["location"])
            assert answer.status_code < 500, (path, string)
            assert strange(answer) == [], (path, string)


@pytest.mark.parametrize("place", range(0, 200, 50))
def test_names_that_are_all_hostile_go_through_to_the_papers(place, as_role, key):
    analyst = as_role("analyst")
    texts = {name: " ".join(STRINGS[place + at].split())[:58] for at, name in enumerate(TEXTS)}
    shown = analyst.get("/plan/proposal", params={"seed": "5", **ANSWERS, **texts})
    if shown.status_code == 303:  # one of them is no name: it is asked for again
        again = analyst.get(shown.headers["location"])
        assert again.status_code == 422
        assert strange(again) == []
        return
    assert shown.status_code == 200
    assert strange(shown) == []
    text = shown.text.partition('name="plan" value="')[2].partition('"')[0]
    from html import unescape

    name = " ".join(STRINGS[place + 9].split())[:58]
    sent = {"key": key(), "plan": unescape(text), "name": name, "seed": ""}
    released = analyst.post("/plan/release", data=sent)
    assert released.status_code == 303, released.text
    after = analyst.get(released.headers["location"])
    assert after.status_code == 200
    assert strange(after) == []
    assert strange(analyst.get("/plan")) == []
    for kind in ("sheet", "labels", "weighing", "oven"):
        paper = analyst.get(f"/plan/paper/{kind}", params={"trial": name})
        assert paper.status_code == 200
        reader = hostile.Reader()
        reader.feed(paper.text)
        assert [each for each in reader.found if "style" not in each] == []
        style = analyst.get(f"/plan/paper/{kind}/style", params={"trial": name})
        assert "<" not in style.text


def test_every_field_of_a_release_and_of_a_plan_file(as_role, key):
    analyst = as_role("analyst")
    plan = f'title = {json.dumps(STRINGS[7])}\n[[factor]]\nname = "x"\n'
    for string in SOME:
        for fields in (
            {"plan": string},
            {"plan": plan, "name": string},
            {"plan": plan, "asked": string, "seed": string, "name": string},
        ):
            for path in ("/plan/release", "/plan/own"):
                answer = analyst.post(path, data={"key": key(), **fields})
                assert answer.status_code == 422, (path, fields)
                assert strange(answer) == [], (path, fields)
        for path in (f"/plan/ready/{string}", f"/plan/paper/{string}", "/plan/trial"):
            asked = path.replace("#", "%23").replace("\\", "%5C").replace("?", "%3F")
            answer = analyst.get(asked, params={"trial": string})
            assert answer.status_code == 404, path
            assert strange(answer) == [], path
