"""Where does a page lead that could not be done, and do the head and the questions say what they are?"""

from __future__ import annotations

import re


def test_a_page_that_is_not_there_leads_to_today_and_not_to_itself(as_role):
    baker = as_role("baker")
    for path in ("/nowhere", "/trial/nosuch"):
        answer = baker.get(path)
        assert answer.status_code == 404
        main = answer.text.partition("<main")[2]
        assert f'href="{path}"' not in main
        assert '<a class="button" href="/">Today</a>' in main
        assert "Back to the page" not in main


def test_the_name_at_the_top_says_that_it_signs_out(as_role):
    head = as_role("baker").get("/").text.partition("</header>")[0]
    button = re.search(r'<form class="who".*?</form>', head, re.DOTALL)
    assert button is not None
    assert "sign out" in re.sub(r"<[^>]+>", "", button[0])


def test_questions_are_numbered_without_a_gap(as_role):
    analyst = as_role("analyst")
    given = {"seed": "1", "aim": "2", "factor.1": "soda", "unit.1": "", "doses.1": "", "line.1": "", "factor.2": ""}
    page = analyst.get("/plan/ask", params={**given, "formula": "none", "hard-to-change": ""}).text
    shown = re.search(r'asked">Questions (\d+) and (\d+)', page)
    assert shown is not None
    first, last = map(int, shown.groups())
    assert last == first + 1
    after = {**given, "formula": "none", "hard-to-change": "", "bakes-a-day": "8", "bakes-at-most": ""}
    following = analyst.get("/plan/ask", params=after).text
    assert f'asked">Question {last + 1}' in following
