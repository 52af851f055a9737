"""Does the plan that is shown answer what was asked, as in the terminal, and is it what is released?"""

from __future__ import annotations

import re
import time
from html import unescape
from html.parser import HTMLParser
from urllib.parse import parse_qsl, urlsplit

import pytest
from sqlmodel import select

from tracker.formulas import FormulaLine, checked
from tracker.models import Trial
from tracker.workflow.formulas import add_formula
from tracker.workflow.planning import preview_plan
from tracker.workflow.prices import keep_price
from tracker.workflow.questions import Interview, propose
from tracker.workflow.recording import record_run
from tracker.workflow.starters import find_starter, list_starters
from tracker.workflow.trials import show_trial
from tracker.workflow.wishes import AIMS

SEED = 4711
LOAF = (("wheat flour", 100.0), ("buttermilk", 80.0), ("baking soda", 1.2))
LARGEST = 150_000  # bytes of a page


class Form(HTMLParser):
    """The forms of a page as a browser would send them, and the rows of its table of runs."""

    def __init__(self, html: str) -> None:
        super().__init__(convert_charrefs=True)
        self.forms: list[tuple[str, list[tuple[str, str]], list[tuple[str, str]]]] = []
        self.rows: list[list[str]] = []
        self._area, self._cell, self._order = None, None, False
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        said = dict(attrs)
        if tag == "form":
            self.forms.append((said.get("action", ""), [], []))
        elif tag == "table":
            self._order = said.get("id") == "order"
        elif tag == "tr" and self._order:
            self.rows.append([])
        elif tag in ("td", "th") and self._order:
            self._cell = []
        elif self.forms and tag == "input" and said.get("name") and said.get("type") != "file":
            box = said.get("type") in ("radio", "checkbox")
            if not box or "checked" in said:
                self.forms[-1][1].append((said["name"], said.get("value", "")))
        elif self.forms and tag == "button" and said.get("name"):
            self.forms[-1][2].append((said["name"], said.get("value", "")))
        elif self.forms and tag == "textarea":
            self._area = (said["name"], [])

    def handle_data(self, data):
        if self._area:
            self._area[1].append(data)
        if self._cell is not None:
            self._cell.append(data)

    def handle_endtag(self, tag):
        if tag == "textarea" and self._area:
            name, parts = self._area
            self.forms[-1][1].append((name, "".join(parts).removeprefix("\n")))
            self._area = None
        if tag in ("td", "th") and self._cell is not None:
            self.rows[-1].append("".join(self._cell).strip())
            self._cell = None


def sent(answer, action):
    """Fields and buttons of the one form that goes to ``action``."""
    (found,) = [each for each in Form(answer.text).forms if each[0] == action]
    return found[1], found[2]


def get(tablet, path, pairs=None):
    """Follow redirects, as a browser does."""
    answer = tablet.get(path, params=pairs)
    while answer.status_code == 303:
        answer = tablet.get(answer.headers["location"])
    return answer


def worked_out(tablet, page):
    """The same page when its plan was searched for, which takes long on a busy machine."""
    for _ in range(60):
        if page.status_code != 202:
            break
        time.sleep(0.5)
        page = get(tablet, str(page.url))
    return page


def proposal(tablet, pairs):
    return worked_out(tablet, get(tablet, "/plan/proposal", pairs))


def answer_page(tablet, page, **given):
    """Fill in what is given, leave the rest as it stands, tap what has to be tapped, and go on."""
    fields, buttons = sent(page, "/plan/ask")
    fields = [(name, given.get(name, value)) for name, value in fields]
    if 'class="tap"' in page.text:  # a page of large buttons: the one that was asked for, else the usual one
        name = buttons[0][0]
        usual = re.search(rf'name="{re.escape(name)}" value="([^"]*)"><span>[^<]*</span> <span', page.text)
        fields.append((name, given.get(name, unescape(usual[1]))))
    return get(tablet, "/plan/ask", fields)


def walk_through(tablet, **given):
    """From the first question to the proposal."""
    page = get(tablet, "/plan/ask", {"seed": str(SEED)})
    for _ in range(60):
        if urlsplit(str(page.url)).path != "/plan/ask":
            break
        assert page.status_code == 200, page.text
        page = answer_page(tablet, page, **given)
    assert urlsplit(str(page.url)).path == "/plan/proposal"
    page = worked_out(tablet, page)
    assert page.status_code == 200
    return page


def plan_of(page):
    return dict(sent(page, "/plan/own")[0])["plan"]


def shown_runs(page):
    return [row for row in Form(page.text).rows if row and row[0].isdigit()]


def release(tablet, page, key, **more):
    fields = dict(sent(page, "/plan/release")[0]) | {"key": key()} | more
    # A browser sends the ends of lines in a field as two signs.
    return tablet.post("/plan/release", data={name: value.replace("\n", "\r\n") for name, value in fields.items()})


def trials(store):
    with store.read() as session:
        return [row.name for row in session.exec(select(Trial).order_by(Trial.id))]


@pytest.fixture
def loaf(bench_store):
    lines = [FormulaLine(ingredient=name, bakers_percent=percent) for name, percent in LOAF]
    add_formula(bench_store, checked("soda loaf", lines))
    return bench_store


@pytest.mark.parametrize("kept", [False, True])
@pytest.mark.parametrize("aim", AIMS)
def test_defaults_lead_to_the_plan_of_the_terminal(aim, kept, bench_store, as_role, request):
    if kept:
        request.getfixturevalue("loaf")
    number = str(list(AIMS).index(aim) + 1)
    formulas = {"soda loaf": tuple(name for name, _ in LOAF)} if kept else {}
    interview = Interview(formulas, [number])
    while interview.question is not None:
        interview.answer("soda loaf" if interview.question.key == "formula" else "")
    wanted = propose(interview.wishes, seed=SEED)
    page = walk_through(as_role("analyst"), aim=number, formula="soda loaf")
    assert plan_of(page) == wanted.text
    planned = preview_plan(wanted.text, bench_store)
    runs = planned.to_json()["runs"]
    rows = shown_runs(page)
    assert [(row[0], row[1]) for row in rows] == [(str(run["bake_order"]), run["code"]) for run in runs]
    said = unescape(page.text)
    for caution in planned.cautions:
        assert caution in said
    other = wanted.advice.runner_up
    assert ('name="choose"' in said) == (other is not None)
    assert other is None or f'value="{other.request.kind}, {other.bakes}, ' in said


def test_what_was_shown_is_released_once_and_leads_on(loaf, as_role, key):
    analyst = as_role("analyst")
    page = walk_through(analyst, aim="2", formula="soda loaf", **{"doses.1": "0,5 to 1,5"})
    same = lambda: "the-same-key"  # noqa: E731
    answers = [release(analyst, page, same) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [303, 303]
    assert answers[0].headers["location"] == answers[1].headers["location"]
    assert trials(loaf) == ["soda", "how-much-soda"]
    trial = show_trial(loaf, "how-much-soda")
    assert [[str(run["bake_order"]), run["code"]] for run in trial.runs] == [row[:2] for row in shown_runs(page)]
    soda = [str(run["settings"]["soda"]["value"]).removesuffix(".0") for run in trial.runs]
    assert [row[-1].split()[0] for row in shown_runs(page)] == soda
    with loaf.read() as session:
        assert session.exec(select(Trial).where(Trial.name == "how-much-soda")).one().plan == plan_of(page)
    after = unescape(get(analyst, answers[0].headers["location"]).text)
    assert f"/run/how-much-soda/{trial.runs[0]['code']}" in after
    assert "/results?trial=how-much-soda" in after
    assert "Saved" in after
    assert as_role("baker").get(f"/run/how-much-soda/{trial.runs[0]['code']}").status_code == 200


@pytest.mark.parametrize(
    ("answer", "typed", "asked"),
    [("", "4200", True), ("", "42,00", False), ("20 to 90", "120", True), ("none", "4200", False)],
)
def test_a_reading_outside_what_was_said_is_asked_about_at_its_run(answer, typed, asked, bench_store, as_role, key):
    analyst = as_role("analyst")
    release(analyst, walk_through(analyst, aim="2", **{"plausible.1": answer}), key)
    place = f"/run/how-much-soda/{show_trial(bench_store, 'how-much-soda').runs[0]['code']}"
    reading = {"do": "reading", "response": "rise height", "value": typed, "repeat": "1", "place": "r1-0-1"}
    said = as_role("baker").post(place, data=reading | {"key": key()})
    assert said.status_code == (422 if asked else 303)
    assert ("Why it is so all the same" in said.text) == asked


@pytest.mark.parametrize(("answer", "why"), [("120 to 10", "120 is not below 10"), ("42", "a least and a most")])
def test_a_range_that_is_none_is_said_beside_its_field(answer, why, as_role):
    analyst = as_role("analyst")
    page = walk_through(analyst, aim="2")
    fields = next(each[1] for each in Form(page.text).forms if each[0] == "/plan/proposal")
    again = proposal(analyst, dict(fields) | {"plausible.1": answer})
    assert again.status_code == 422
    assert why in unescape(again.text)
    assert dict(sent(again, "/plan/ask")[0])["plausible.1"] == answer


def test_a_trial_leads_to_the_first_run_that_is_not_baked(bench_store, as_role):
    """The codes of the trial are 108, 107, ... 101 in the order of baking."""
    analyst, page = as_role("analyst"), "/plan/trial?trial=soda"
    assert "To run 1, code 108" in get(analyst, page).text
    record_run(bench_store, "soda", "108", ["rise height=42"])
    record_run(bench_store, "soda", "107", outcome="failed", reason="the tin fell")
    record_run(bench_store, "soda", "105", ["rise height=42"])
    shown = get(analyst, page).text
    assert 'href="/run/soda/106">To run 3, code 106' in shown
    ended = dict(re.findall(r'href="/run/soda/(\d+)"><span.*?ended">(\w+)</span></a></li>', shown))
    assert ended == {"108": "done", "107": "failed", "105": "done"}
    for code in ("106", "104", "103", "102", "101"):
        record_run(bench_store, "soda", code, ["rise height=42"])
    shown = get(analyst, page).text
    assert "To run" not in shown
    assert re.search(r'class="button primary" href="/results\?trial=soda">To the results', shown)


def test_a_released_trial_has_its_papers(loaf, as_role, key):
    analyst = as_role("analyst")
    release(analyst, walk_through(analyst, aim="2", formula="soda loaf"), key)
    code = show_trial(loaf, "how-much-soda").runs[0]["code"]
    page = get(analyst, "/plan/trial?trial=how-much-soda")
    papers = re.findall(r'href="(/plan/paper/[^"]+)"', page.text)
    assert len(papers) == 4
    for paper in papers:
        made = analyst.get(unescape(paper))
        assert made.status_code == 200
        assert code in made.text
        assert "<style>" not in made.text
        assert "content-security-policy" not in made.text.lower()
        (sheet,) = re.findall(r'<link rel="stylesheet" href="([^"]+)">', made.text)
        style = analyst.get(unescape(sheet))
        assert style.headers["content-type"] == "text/css; charset=utf-8"
        assert "@page" in style.text or "@media print" in style.text
    assert f"http://127.0.0.1:8030/run/how-much-soda/{code}" in analyst.get(papers[0]).text
    assert "baking soda" in analyst.get(papers[2]).text
    for wrong in ("/plan/paper/nothing?trial=soda", "/plan/paper/sheet?trial=nowhere", "/plan/trial?trial=nowhere"):
        assert analyst.get(wrong).status_code == 404


def test_a_name_that_is_taken_is_said_and_nothing_is_lost(bench_store, as_role, key):
    analyst = as_role("analyst")
    page = walk_through(analyst, aim="2")
    wrong = release(analyst, page, key, name="soda")
    assert wrong.status_code == 409
    assert "already; a plan never replaces one" in unescape(wrong.text)
    assert dict(sent(wrong, "/plan/release")[0])["name"] == "soda"
    assert shown_runs(wrong) == shown_runs(page)
    assert "Compare" in wrong.text
    for name in ("", "x" * 300, "a\u202eb"):
        answer = release(analyst, page, key, name=name)
        assert answer.status_code == 422, name
        assert shown_runs(answer) == shown_runs(page)
    assert trials(bench_store) == ["soda"]
    assert release(analyst, wrong, key, name="soda two").status_code == 303
    # The next plan of the same title is offered a name that is free.
    release(analyst, page, key)
    assert dict(sent(walk_through(analyst, aim="2"), "/plan/release")[0])["name"] == "how-much-soda-2"


def test_an_answer_that_cannot_be_is_refused_where_it_was_typed(as_role):
    analyst = as_role("analyst")
    page = get(analyst, "/plan/ask", {"seed": "1", "aim": "2", "factor.1": "soda", "kind.1": "1", "unit.1": ""})
    wrong = answer_page(analyst, page, **{"doses.1": "2 to 1"})
    assert wrong.status_code == 422
    assert "The doses do not rise." in wrong.text
    assert "the least first" in wrong.text
    fields = dict(sent(wrong, "/plan/ask")[0])
    assert fields["doses.1"] == "2 to 1"
    assert fields["factor.1"] == "soda"
    right = answer_page(analyst, wrong, **{"doses.1": "1 to 2"})
    assert right.status_code == 200
    assert "Name of thing 2" in right.text


def test_back_brings_what_was_typed_and_returns_to_where_it_was(as_role):
    analyst = as_role("analyst")
    page = get(analyst, "/plan/ask", {"seed": "1", "aim": "1", "factor.1": "salt", "kind.1": "1"})
    fields, buttons = sent(page, "/plan/ask")
    typed = [(name, "pinches" if name == "unit.1" else value) for name, value in fields]
    before = get(analyst, "/plan/ask", [*typed, *[each for each in buttons if each[0] == "at"]])
    assert "Is salt an amount or a kind?" in before.text
    first = get(analyst, "/plan/ask", [*sent(before, "/plan/ask")[0], ("at", "factor.1")])
    assert dict(sent(first, "/plan/ask")[0])["factor.1"] == "salt"
    on = answer_page(analyst, first)
    assert dict(sent(on, "/plan/ask")[0])["unit.1"] == "pinches"  # not taken for confirmed
    further = answer_page(analyst, on)
    assert "From how much to how much salt (pinches)?" in further.text


def test_answers_are_listed_each_with_its_change(as_role):
    analyst = as_role("analyst")
    page = walk_through(analyst, aim="1")
    asked = [pair for pair in parse_qsl(urlsplit(str(page.url)).query, keep_blank_values=True)]
    listed = get(analyst, "/plan/answers", asked)
    links = [unescape(link) for link in re.findall(r'href="(/plan/ask\?[^"]*at=[^"]*)"', listed.text)]
    assert len(links) == len([name for name, _ in asked if name not in ("seed", "page")])
    assert "which of several things matter" in listed.text
    for link in links:
        shown = get(analyst, link)
        assert shown.status_code == 200
        assert urlsplit(str(shown.url)).path == "/plan/ask"
        back = answer_page(analyst, shown)
        assert urlsplit(str(back.url)).path == "/plan/proposal"
        assert shown_runs(back) == shown_runs(page)
    renamed = answer_page(analyst, get(analyst, links[1]), **{"factor.1": "powder"})
    assert "Which of powder and thing 2 matter" in renamed.text  # the title followed


def test_another_design_and_other_repeats_are_laid_out_and_can_be_released(bench_store, as_role, key):
    analyst = as_role("analyst")
    page = walk_through(analyst, aim="5")
    fields = [each for each in Form(page.text).forms if each[0] == "/plan/proposal"]
    choices = [button for _, _, buttons in fields for button in buttons if button[0] == "choose"]
    assert choices
    for choice in choices:
        other = proposal(analyst, [*fields[0][1], choice])
        kind, bakes, _ = choice[1].split(", ")
        assert other.status_code == 200
        assert len(shown_runs(other)) == int(bakes)
        assert f"<dd>{kind}" in other.text
        names = re.findall(r"<h3>(.*?)</h3>", other.text)
        assert len(set(names)) == len(names)
    more = proposal(analyst, [*fields[0][1], ("times", "2")])
    assert len(shown_runs(more)) > len(shown_runs(page))
    assert release(analyst, other, key, name="another").status_code == 303
    runs = [[str(run["bake_order"]), run["code"]] for run in show_trial(bench_store, "another").runs]
    assert runs == [row[:2] for row in shown_runs(other)]


@pytest.mark.parametrize(
    ("wish", "said", "path"),
    [
        (("choose", "optimal, 7, 1a2b3c"), "is not among the designs", "/plan/release"),
        (("times", "0"), "no number of repeats", None),
        (("times", "many"), "no number of repeats", None),
        (("times", "21"), "no number of repeats", None),
        (("bakes-at-most", "3"), "too few to answer this", "/plan/answers"),
        (("bakes-a-day", "some"), "text in a number", "/plan/ask"),
    ],
)
def test_a_change_that_cannot_be_is_said_and_the_answers_stay(wish, said, path, as_role):
    analyst = as_role("analyst")
    page = walk_through(analyst, aim="5")
    fields = next(each[1] for each in Form(page.text).forms if each[0] == "/plan/proposal")
    answer = proposal(analyst, [pair for pair in fields if pair[0] != wish[0]] + [wish])
    assert answer.status_code == 422
    assert said in unescape(answer.text)
    if path == "/plan/release":  # what was advised stands below
        assert shown_runs(answer) == shown_runs(page)
    elif path == "/plan/answers":
        assert "at=bakes-at-most" in answer.text
    elif path == "/plan/ask":
        assert dict(sent(answer, path)[0])["bakes-a-day"] == "some"


def test_bakes_a_day_change_the_plan(as_role):
    analyst = as_role("analyst")
    page = walk_through(analyst, aim="1", **{"matters.1": "3", "differ.1": "2.5"})
    fields = dict(next(each[1] for each in Form(page.text).forms if each[0] == "/plan/proposal"))
    fewer = proposal(analyst, fields | {"bakes-a-day": "4"})
    assert fewer.status_code == 200
    assert Form(fewer.text).rows[0] == ["Bake", "Code", "bake day", "soda", "thing 2"]
    assert "a difference of 3 mm would be seen in" in unescape(fewer.text)


@pytest.mark.parametrize("name", [each.name for each in list_starters()])
def test_a_ready_plan_is_shown_and_released(name, bench_store, as_role, key):
    analyst = as_role("analyst")
    page = get(analyst, f"/plan/ready/{name}")
    assert page.status_code == 200
    assert len(page.content) < LARGEST
    planned = preview_plan(find_starter(name).text, bench_store)
    assert [row[:2] for row in shown_runs(page)] == [[str(run.bake_order), run.code] for run in planned.plan.runs]
    assert release(analyst, page, key).status_code == 303
    released = show_trial(bench_store, planned.name)
    assert [run["code"] for run in released.runs] == [run.code for run in planned.plan.runs]


def test_a_plan_without_a_seed_is_released_with_the_one_it_was_shown_with(bench_store, as_role, key):
    analyst = as_role("analyst")
    text = re.sub(r"^seed = .*$", "", find_starter("soda-ladder").text, flags=re.MULTILINE)
    page = analyst.post("/plan/own", data={"plan": text})
    assert page.status_code == 200
    assert release(analyst, page, key, name="ladder").status_code == 303
    assert [run["code"] for run in show_trial(bench_store, "ladder").runs] == [row[1] for row in shown_runs(page)]


def test_a_file_is_read_and_what_is_wrong_in_it_is_said_with_its_line(as_role):
    analyst = as_role("analyst")
    text = find_starter("soda-ladder").text
    page = analyst.post("/plan/own", files={"file": ("my.toml", b"\xef\xbb\xbf" + text.encode(), "text/plain")})
    assert page.status_code == 200
    assert plan_of(page).strip() == text.strip()
    broken = text.replace('kind = "amount"', 'kind = "amuont"', 1)
    line = next(n for n, each in enumerate(broken.splitlines(), 1) if "amuont" in each)
    wrong = analyst.post("/plan/own", data={"plan": broken})
    assert wrong.status_code == 422
    assert f"line {line}" in unescape(wrong.text)
    assert dict(sent(wrong, "/plan/own")[0])["plan"].strip() == broken.strip()
    for content in (b"\xff\xfe\x00bad", b"\x89PNG\r\n\x1a\n" + b"\x00" * 900):
        assert analyst.post("/plan/own", files={"file": ("p.toml", content, "text/plain")}).status_code == 422
    assert analyst.post("/plan/own", data={"plan": "  "}).status_code == 422


@pytest.mark.parametrize("words", ["kitchen.db", "/etc/hostname", "../pyproject.toml", "~/.profile"])
def test_a_word_that_looks_like_a_path_opens_no_file(words, as_role, key, tmp_path):
    inside = tmp_path / "plan.toml"
    inside.write_text(find_starter("soda-ladder").text, encoding="utf-8")
    analyst = as_role("analyst")
    for said in (words, str(inside)):
        answer = analyst.post("/plan/own", data={"plan": said})
        assert answer.status_code == 422
        assert "Crumb pH" not in answer.text
        assert analyst.post("/plan/release", data={"key": key(), "plan": said, "name": "x"}).status_code == 422


def test_a_plan_of_a_formula_that_is_not_here_says_so(as_role):
    text = re.sub(r"^\[formula\].*", "", find_starter("soda-ladder").text, flags=re.MULTILINE | re.DOTALL)
    assert "[[factor]]" in text
    answer = as_role("analyst").post("/plan/own", data={"plan": 'formula = "no such loaf"\n' + text})
    assert answer.status_code in (404, 422)
    assert 'role="alert"' in answer.text


def test_what_it_takes_is_told_in_flour_and_money(loaf, as_role):
    analyst = as_role("analyst")
    given = {"aim": "2", "formula": "soda loaf", "flour": "250", "doses.1": "1; 2"}
    page = unescape(walk_through(analyst, **given).text)
    assert "Ingredients cost" not in page
    assert "there is no price" not in page  # a kitchen that keeps none is not asked for them
    keep_price(loaf, "wheat flour", 1.0)
    keep_price(loaf, "buttermilk", 2.0)
    assert "no price of baking soda" in unescape(walk_through(analyst, **given).text)
    keep_price(loaf, "baking soda", 0.0)
    page = walk_through(analyst, **given)
    bakes = len(shown_runs(page))
    said = unescape(page.text)
    assert f"{0.25 * bakes:.3g} kg</strong>" in said
    # 250 g of flour at 1 and 200 g of buttermilk at 2 for a kilogram: 0.65 a bake.
    assert f'Ingredients cost</dt><dd><strong class="number">{0.65 * bakes:.2f}<' in said


def test_the_chemistry_stands_beside_each_treatment(loaf, as_role):
    from tracker.intake.plan_file import read_plan
    from tracker.workflow.formulas import show_formula
    from tracker.workflow.run_chemistry import treatments_chemistry

    page = walk_through(as_role("analyst"), aim="2", formula="soda loaf", **{"doses.1": "0.5; 1; 2.5"})
    read = read_plan(plan_of(page))
    doses = [{"soda": dose} for dose in (0.5, 1.0, 2.5)]
    wanted = treatments_chemistry(show_formula(loaf, "soda loaf").formula, read.factors, doses, 300)
    part = page.text.partition('id="chemistry"')[2].partition("</section>")[0]
    rows = [re.sub(r"<[^>]+>", " ", row).split() for row in re.findall(r"<tr>(.*?)</tr>", part, re.DOTALL)][1:]
    assert [row[1] for row in rows] == ["0.5", "1", "2.5"]
    for row, each in zip(rows, wanted, strict=True):
        told = each.chemistry
        assert float(row[-4]) == pytest.approx(told.gas_ml, abs=0.5)
        assert float(row[-3]) == pytest.approx(told.soda_left_g, abs=0.005)
        assert float(row[-2]) == pytest.approx(told.acid_left_meq, abs=0.05)
        assert float(row[-1]) == pytest.approx(told.predicted_ph, abs=0.05)
    assert [("outside" in " ".join(row)) for row in rows] == [each.senseless for each in wanted]
    assert rows[-1][-1] > rows[0][-1]
    below = unescape(part.partition("</table>")[2])
    assert "The pH is that of the watery part of the crumb" in below
    assert ("is no slip" in below) == any(float(row[-2]) > 0 and float(row[-1]) > 7 for row in rows)


def test_treatments_whose_account_is_the_same_share_a_line(loaf, as_role):
    given = {"aim": "1", "formula": "soda loaf", "factor.2": "oven", "line.1": "baking soda", "factor.3": ""}
    page = walk_through(as_role("analyst"), **given)
    part = page.text.partition('id="chemistry"')[2].partition("</section>")[0]
    rows = [re.sub(r"<[^>]+>", " ", row).split() for row in re.findall(r"<tr>(.*?)</tr>", part, re.DOTALL)][1:]
    assert [row[:2] for row in rows] == [["soda", "0.5"], ["soda", "1.5"], ["soda", "2.5"]]
    assert [("oven" in row) for row in rows] == [False, True, False]  # the middle is one treatment alone
    fixed = walk_through(as_role("analyst"), **{**given, "factor.1": "chill", "unit.1": "min", "doses.1": "5 to 30"})
    part = fixed.text.partition('id="chemistry"')[2].partition("</section>")[0]
    assert part.count("<tr>") == 2
    assert "every treatment" in part


def test_a_plan_that_takes_long_says_so_and_is_there_later(as_role, monkeypatch):
    from tracker.bench.pages import plan, plan_work

    real = plan.advise_on

    def slow(*args, **more):
        time.sleep(0.4)
        return real(*args, **more)

    monkeypatch.setattr(plan, "advise_on", slow)
    monkeypatch.setattr(plan_work, "PATIENCE_S", 0.05)
    analyst = as_role("analyst")
    page = get(analyst, "/plan/ask", {"seed": str(SEED), "aim": "3"})
    while urlsplit(str(page.url)).path == "/plan/ask":
        page = answer_page(analyst, page)
    assert page.status_code == 202
    assert page.headers["refresh"] == "3"
    assert "being worked out" in page.text
    time.sleep(0.8)
    again = get(analyst, unescape(re.search(r'href="(/plan/proposal\?[^"]+)"', page.text)[1]))
    assert again.status_code == 200
    assert shown_runs(again)


def test_only_an_analyst_plans(client, as_role, key):
    for path in ("/plan", "/plan/ask", "/plan/proposal", "/plan/answers", "/plan/own", "/plan/ready/soda-ladder"):
        assert client.get(path).status_code == 401
        assert as_role("baker").get(path).status_code == 403
        assert as_role("owner").get(path).status_code in (200, 303)
    for path in ("/plan/release", "/plan/own"):
        assert as_role("baker").post(path, data={"key": key()}).status_code == 403
    assert "/plan" not in as_role("baker").get("/").text
    assert 'href="/plan"' in as_role("analyst").get("/").text


@pytest.mark.parametrize(
    "query", ["seed=-1", "seed=99999999999999", "seed=x", "times=1000", "at=nowhere", "aim=9&aim="]
)
def test_an_address_that_was_changed_by_hand_is_taken_or_refused_in_words(query, as_role):
    answer = get(as_role("analyst"), f"/plan/ask?{query}")
    assert answer.status_code in (200, 422)
    assert "<h1>" in answer.text


def test_a_large_plan_stays_a_small_page(as_role):
    analyst = as_role("analyst")
    given = {"aim": "1", "hard-to-change": ""}
    texts = {"seed": "7", "aim": "1"}
    for number in range(1, 11):
        name = f"a thing with a rather long name {number}"
        texts |= {f"factor.{number}": name, f"kind.{number}": "1", f"unit.{number}": "g", f"doses.{number}": "1 to 3"}
    page = get(analyst, "/plan/ask", texts)
    for _ in range(20):
        if urlsplit(str(page.url)).path != "/plan/ask":
            break
        page = answer_page(analyst, page, **given)
    page = worked_out(analyst, page)
    assert page.status_code == 200
    assert len(shown_runs(page)) > 10
    assert len(page.content) + 60_000 < LARGEST
