"""Does anything that reaches an assessor tell which sample is which?

A trial of words that stand nowhere else is tasted to the end, by code and by PIN, with everything done wrong that can
be; every byte of every answer (head, body, scripts, cookies, where it leads) is searched for all of those words.
"""

from __future__ import annotations

import html
import json
import re
from pathlib import Path
from urllib.parse import unquote_plus

import pytest
from fastapi.testclient import TestClient
from jinja2 import ChoiceLoader, DictLoader

from tracker.bench.kit import PERSON
from tracker.bench.pages import PAGES
from tracker.models import Factor, Formula, FormulaLine, Response, Run, Trial, TrialState
from tracker.workflow.accounts import list_accounts
from tracker.workflow.recording import add_note, record_run
from tracker.workflow.signed_in import begin, end_all
from tracker.workflow.tasting_passes import make_cards
from tracker.workflow.tasting_setup import WhoTastes, set_up_tasting
from tracker.workflow.tastings import close_tasting, serving_sheet, tasting_view

HOST = "127.0.0.1:8030"
TRIAL, TITLE, QUESTION = "zinnober neun", "Quittenfrage des Herbstes", "Was hebt den Mürbeteig?"
FACTORS = {"Weinsteinmenge": [0.7311, 1.4622], "Tränkung": ["Holunder & Salbei", "Sanddorn/Kresse"]}
FORMULA, INGREDIENTS = "Wolkenbrot", ["Dinkelgrieß", "Pottasche", "Birkenzucker"]
SAID = "schmeckt nach Pfefferminze"  # by somebody else
CODES = ["417", "863", "295", "638", "174"]
WORDS = [TRIAL, TITLE, QUESTION, *FACTORS, *FACTORS["Tränkung"], FORMULA, *INGREDIENTS, SAID, "Freitagsblock"]
WORDS += [
    "Weinstein",
    "Holunder",
    "Sanddorn",
    "Dinkel",
    "0.7311",
    "1.4622",
    "bake_order",
    "place_in_design",
]
FIGURES = [*CODES, *(f"bake {order}" for order in range(1, 6)), "Bo", "Dora", "Cleo"]


@pytest.fixture
def tasting(bench_store):
    """Two tastings: one for Asta, who has a PIN, one for two who come by code; another baker has noted something."""
    with bench_store.write(person=1, action="plan") as deed:
        formula = deed.add(Formula(name=FORMULA, version=1, made_at=deed.at))
        deed.add_many(
            FormulaLine(formula_id=formula.id, position=at, ingredient=name, bakers_percent=100.0 / at, flour=at == 1)
            for at, name in enumerate(INGREDIENTS, start=1)
        )
        about = {"name": TRIAL, "title": TITLE, "question": QUESTION, "formula_id": formula.id, "made_at": deed.at}
        trial = deed.add(Trial(**about, design=json.dumps({"block": "Freitagsblock"}), plan=f"# {TITLE}"))
        deed.add(TrialState(trial_id=trial.id, state="planned", at=deed.at, person_id=1))
        for at, (name, levels) in enumerate(FACTORS.items(), start=1):
            kind = "amount" if at == 1 else "category"
            deed.add(Factor(trial_id=trial.id, position=at, name=name, kind=kind, levels=json.dumps(levels)))
        words = ["gummy", "coarse", "fair", "fine", "fine and even"]
        deed.add(Response(trial_id=trial.id, position=1, name="crumb score", scale="score", anchors=json.dumps(words)))
        deed.add(Response(trial_id=trial.id, position=2, name="split crust", scale="yes-no"))
        deed.add(Response(trial_id=trial.id, position=3, name="seeds seen", scale="count"))
        levels = [(one, other) for one in FACTORS["Weinsteinmenge"] for other in FACTORS["Tränkung"]]
        for order, code in enumerate(CODES, start=1):
            settings = json.dumps(dict(zip(FACTORS, levels[order % 4], strict=True)))
            run = {"place_in_design": order, "bake_order": order, "block": "Freitagsblock", "code": code}
            deed.add(Run(trial_id=trial.id, settings=settings, **run))
    for code in CODES:
        record_run(bench_store, TRIAL, code, ["crumb score=2"])
        add_note(bench_store, TRIAL, code, SAID)
    asta = next(line.person for line in list_accounts(bench_store) if line.role == "assessor")
    asked = {"runs": CODES, "responses": [1, 2, 3], "allergens": "milk, cereals with gluten", "by": 1, "rest_s": 60}
    set_up_tasting(bench_store, TRIAL, **asked, who=WhoTastes(people=[asta]), seed=3)
    return set_up_tasting(bench_store, TRIAL, **asked, who=WhoTastes(nameless=2), seed=4).number


class Listener:
    """A tablet that keeps everything it is answered; ``leaks`` are (what was asked, word) found in it."""

    def __init__(self, app):
        ours = {"origin": f"http://{HOST}"}
        self.client = TestClient(app, base_url=f"http://{HOST}", headers=ours, follow_redirects=False)
        self.heard: list[tuple[str, str]] = []
        self.statuses: set[int] = set()
        self.at = 0

    def ask(self, method, path, data=None, **headers):
        answer = self.client.request(method, path, data=data, headers=headers)
        said = "\n".join([f"{name}: {value}" for name, value in answer.headers.multi_items()])
        self.heard.append((f"{method} {path}", f"{said}\n\n{answer.content.decode('utf-8')}"))
        self.statuses.add(answer.status_code)
        return answer

    def get(self, path, **headers):
        return self.ask("GET", path, **headers)

    def post(self, path, **data):
        """The same twice, as a script sends it and as a page does."""
        self.at += 1
        first = self.ask("POST", path, {"key": f"heard-{self.at:06}", **data})
        self.ask("POST", path, {"key": f"asked-{self.at:06}", **data}, accept="application/json")
        return first

    @property
    def leaks(self):
        return [(asked, word) for asked, said in self.heard for word in leaks_in(said)]


def leaks_in(said):
    """Words of the trial, however they are written; codes and figures where they stand alone."""
    ways = {said, html.unescape(said), unquote_plus(said), html.unescape(unquote_plus(said)), unescaped(said)}
    lines = [way.casefold() for way in ways]
    found = [word for word in WORDS if any(word.casefold() in line for line in lines)]
    alone = [re.compile(rf"(?<![\w.#-]){re.escape(word.casefold())}(?![\w-])") for word in FIGURES]
    return found + [word for word, look in zip(FIGURES, alone, strict=True) if any(look.search(line) for line in lines)]


def unescaped(said):
    r"""As JSON writes it: \u00e4."""
    return re.sub(r"\\u([0-9a-fA-F]{4})", lambda found: chr(int(found[1], 16)), said)


def walk(tablet, clock, *, secret="", code=""):
    """Everything an assessor can do, wrong and right, until all is tasted."""
    if code:
        tablet.get("/taste")
        tablet.get("/taste?code=AAAA-AAAA")
        tablet.post("/taste", do="answer", place="000")
        assert tablet.ask("POST", "/taste/code", {"code": "AAAA-AAAA"}).status_code == 401
        assert tablet.ask("POST", "/taste/code", {"code": code}).status_code == 303
    else:
        tablet.client.cookies.set(PERSON, secret, domain="127.0.0.1", path="/")
    tablet.get("/taste")
    for refused in ({}, {"agrees": "yes"}, {"do": "nothing"}, {"do": "answer", "place": "863", "v1": "1"}):
        assert tablet.post("/taste", **{"do": "agree", **refused}).status_code in (404, 409, 422)
    tablet.post("/taste", do="agree", agrees="yes", eats="yes")
    served = []
    for left in range(5, 0, -1):
        shown = tablet.get("/taste")
        if left < 5:
            assert "A short rest" in shown.text
            shown = tablet.get("/taste?ready=yes")
        sample = re.search(r'name="place" value="(\d{3})"', shown.text)[1]
        served.append(sample)
        for wrong in (
            {"v1": "4", "v2": "no"},
            {"v1": "9", "v2": "no", "v3": "1"},
            {"v1": "4", "v2": "x", "v3": "1"},
            {"v1": "4", "v2": "no", "v3": "-1"},
            {"v1": "4", "v2": "no", "v3": "1", "place": "000"},
            {"v1": "4", "v2": "no", "v3": "1", "by": "99"},
        ):
            assert tablet.post("/taste", **{"do": "answer", "place": sample, **wrong}).status_code in (403, 404, 422)
        if left == 3:
            assert tablet.post("/taste", do="leave", place=sample).status_code == 303
        else:
            said = {"words": "good", "tag": "sour"}
            assert tablet.post("/taste", do="answer", place=sample, v1="4", v2="no", v3="2", **said).status_code == 303
        again = tablet.post("/taste", do="answer", place=sample, v1="1", v2="yes", v3="1")
        assert again.status_code == 409
        clock.move(seconds=10)
    assert "Thank you" in tablet.get("/taste?ready=yes").text
    for page in every_page():
        tablet.get(page)
    tablet.ask("HEAD", "/taste")
    return served


def every_page():
    """Each address there is, with something in its places, and all that lies beside the pages."""
    paths = [route.path for each in PAGES for route in each.router.routes if "GET" in route.methods]
    filled = [re.sub(r"{[^}]*}", "1", path) for path in paths]
    static = Path(__file__).parents[3] / "tracker" / "bench" / "static"
    names = [f"/static/{path.relative_to(static)}" for path in sorted(static.rglob("*")) if path.is_file()]
    assert len(filled) > 15
    assert len(names) > 8
    return [*filled, *names, "/nowhere", "/openapi.json", "/docs"]


def test_nothing_an_assessor_hears_tells_which_sample_is_which(app, bench_store, tasting, clock):
    tablet = Listener(app)
    card, other = make_cards(bench_store, tasting, by=1)
    served = walk(tablet, clock, code=card.code)
    assert not set(served) & set(CODES)
    tablet.post("/taste", do="finished")
    tablet.get("/taste?ended=finished")
    for how in ("declined", "stopped"):
        tablet.ask("POST", "/taste/code", {"code": other.code})
        tablet.post("/taste", do=how)
        tablet.get(f"/taste?ended={how}")
    tablet.ask("POST", "/taste/code", {"code": other.code})
    tablet.post("/taste", do="agree", agrees="yes", eats="yes")
    close_tasting(bench_store, tasting, reason="done", by=1)
    tablet.get("/taste")
    tablet.ask("POST", "/taste/code", {"code": other.code})
    end_all(bench_store)
    tablet.post("/taste", do="answer", place=served[0], v1="4")
    tablet.post("/sign-out")
    assert tablet.statuses >= {200, 303, 401, 403, 404, 409, 422}
    assert len(tablet.heard) > 150
    assert tablet.leaks == []
    # What was heard is what is looked at: a served code is found by the same search.
    assert any(re.search(rf"(?<![\w.#-]){served[0]}(?![\w-])", said) for _, said in tablet.heard)


def test_nor_anything_that_somebody_with_a_pin_hears(app, bench_store, tasting, clock):
    tablet = Listener(app)
    asta = next(line.person for line in list_accounts(bench_store) if line.role == "assessor")
    walk(tablet, clock, secret=begin(bench_store, "person", asta))
    assert tablet.leaks == []


def test_a_trial_closed_under_way_is_not_named(app, bench_store, tasting, clock):
    tablet = Listener(app)
    card, _ = make_cards(bench_store, tasting, by=1)
    tablet.ask("POST", "/taste/code", {"code": card.code})
    tablet.post("/taste", do="agree", agrees="yes", eats="yes")
    sample = re.search(r'name="place" value="(\d{3})"', tablet.get("/taste").text)[1]
    with bench_store.write(person=1, action="close trial") as deed:
        trial = tasting_view(bench_store, tasting).line
        assert trial.trial == TRIAL
        deed.add(TrialState(trial_id=2, state="closed", at=deed.at, person_id=1))
    assert tablet.post("/taste", do="answer", place=sample, v1="4", v2="no", v3="2").status_code == 409
    assert "This tasting is over" in tablet.get("/taste").text
    assert tablet.leaks == []


def test_a_card_tells_its_code_and_no_more(as_role, tasting):
    baker = as_role("baker")
    page = baker.post(f"/tasting/{tasting}/cards", data={"key": "cards-000001"}).text
    cards = page[page.index('class="passcards"') :]
    assert leaks_in(cards) == []
    from tracker.workflow.tasting_passes import square_of

    for code in re.findall(r'class="passcode">([A-Z0-9-]{9})<', cards):
        assert str(square_of(f"http://{HOST}/taste?code={code}")) in cards
    assert len(re.findall(r"<svg", cards)) == 2


LEAKS = {
    "in words": f"<p>{TITLE}</p>",
    "in a comment": f"<!-- {TRIAL} -->",
    "escaped": "<p>Holunder &amp; Salbei</p>",
    "in an address": "<a href='/x?of=Tr%C3%A4nkung'>x</a>",
    "a code alone": '<i data-run="417">x</i>',
    "in a script": r'<script type="application/json">{"f": "Tr\u00e4nkung"}</script>',
    "an order of baking": "<p>Bake 3</p>",
    "a column": "<p>bake_order</p>",
    "a neighbour's words": f"<p>{SAID}</p>",
    "a figure": "<p>0.7311 %</p>",
    "in a cookie": "",
}


@pytest.mark.parametrize("leak", LEAKS)
def test_the_search_finds_a_page_that_leaks(app, bench_store, tasting, leak):
    """Otherwise the tests above could not fail."""
    templates = app.state.templates
    page = "{% extends 'base.html' %}{% block content %}" + LEAKS[leak] + "{% endblock %}"
    templates.loader = ChoiceLoader([DictLoader({"taste/taste.html": page}), templates.loader])
    tablet = Listener(app)
    if leak == "in a cookie":

        @app.get("/leaks")
        def leaks():
            from starlette.responses import RedirectResponse

            return RedirectResponse("/taste", headers={"set-cookie": "last=863"})

        tablet.get("/leaks")
    else:
        tablet.ask("POST", "/taste/code", {"code": make_cards(bench_store, tasting, by=1)[0].code})
        assert tablet.leaks == []
        tablet.get("/taste")
    assert tablet.leaks != []


def test_the_sheet_for_who_serves_would_be_found_too(bench_store, tasting):
    told = " ".join(
        f"{row.code} {row.run} bake {row.bake_order}: {row.settings}"
        for row in serving_sheet(bench_store, tasting, person=1)
    )
    assert {"417", "bake 3", "Weinsteinmenge", "Tränkung"} <= set(leaks_in(told))
