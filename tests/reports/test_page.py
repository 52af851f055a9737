"""Does the report say what the analysis holds, first things first, and nothing that runs?"""

from __future__ import annotations

import base64
import hashlib
import os
import re
import subprocess
import sys
from dataclasses import fields, is_dataclass, replace
from itertools import pairwise
from pathlib import Path

import pandas as pd
import pytest

from analysis.results import Analysis, LeftOut, NextBakes
from analysis.words import headline, say_check, say_finding, say_next
from reports.page import trial_report

HOSTILE = """</style><script>alert(1)</script>"' <img src=x onerror=a> $x_1^2$"""
ROOT = Path(__file__).parents[2]
PROVENANCE = {
    "content hash": "3f" * 32,
    "audit head": "9c" * 32,
    "versions": "crumbwise 0.1.0",
    "rebuild": "crumbwise …",
}
ORDER = [
    "answer",
    "glance",
    "mattered",
    "amount",
    "taste",
    "next",
    "sure",
    "made",
    "checks",
    "data",
    "provenance",
]


def report(analysis: Analysis, **more) -> str:
    return trial_report(analysis, **({"title": "A trial", "provenance": PROVENANCE} | more))


@pytest.mark.parametrize("kind", ["dose", "screening", "factorial"])
def test_a_report_is_well_formed_with_landmarks_and_headings_in_order(answers, notes, read, kind):
    page = read(report(answers[kind](), notes=notes, plan={"kind": "full factorial"}))
    assert page.faults == []
    assert page.headings.count(1) == 1
    assert page.headings[0] == 1
    assert all(later - earlier <= 1 for earlier, later in pairwise(page.headings))
    assert (page.tags["main"], page.tags["header"], page.tags["title"]) == (1, 1, 1 + page.tags["svg"])
    assert max(page.ids.values()) == 1
    assert ("html", "lang", "en") in page.values
    assert ("a", "href", "#main") in page.values
    assert page.tags["caption"] == page.tags["table"] > 0
    assert page.attributes["th", "scope"] == page.tags["th"] > 0


@pytest.mark.parametrize("kind", ["dose", "screening", "factorial"])
def test_no_script_no_style_attribute_no_request(answers, notes, read, kind):
    page = read(report(answers[kind](), notes=notes))
    assert page.tags["script"] == page.tags["link"] == page.tags["img"] == page.tags["iframe"] == 0
    assert page.tags["style"] == 1
    names = {name for _, name in page.attributes}
    assert "style" not in names
    assert not [name for name in names if name.startswith("on")]
    links = [value for _, name, value in page.values if name in ("href", "src", "xlink:href", "action")]
    assert all(link.startswith("#") for link in links)
    assert not re.search(r"@import|@font-face|url\((?!#)", report(answers[kind]()))


def test_the_policy_allows_exactly_the_style_in_the_page(answers):
    page = report(answers["dose"]())
    style = re.search(r"<style>(.*?)</style>", page, re.S)
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'" in page


def test_the_answer_comes_first_and_the_parts_in_their_order(answers, notes):
    page = report(answers["dose"](), notes=notes, plan={"kind": "full factorial"})
    assert re.findall(r'<h2 id="(\w+)"', page) == ORDER


def test_sentences_are_those_of_the_catalogue(answers, read):
    analysis = answers["factorial"]()
    text = read(report(analysis)).text
    for sentence in headline(analysis).split(". "):
        assert sentence.rstrip(".") in text
    for result in analysis.responses:
        for finding in result.findings:
            assert say_finding(finding, result.response, 0.95) in text
        for check in result.checks:
            assert say_check(check) in text


def test_next_bakes_are_given_with_their_reason(answers, read):
    analysis = answers["factorial"]()
    bakes = NextBakes(
        why="confirm", treatments=({"powder": 2.5, "mixing": "whisk"},), facts={"response": "rise height"}
    )
    first = replace(analysis.responses[0], next_bakes=(bakes,))
    text = read(report(replace(analysis, responses=(first, *analysis.responses[1:])))).text
    assert say_next(bakes) in text
    assert "Powder 2.5 % flour, mixing whisk" in text


def test_rows_used_and_left_out_stand_with_their_reasons(answers, read):
    text = read(report(answers["dose"]())).text
    assert "60 of 62 rows were used." in text
    assert "failed: the tin tipped over" in text


def test_many_rows_left_out_get_a_table(answers, read):
    out = tuple(LeftOut(row=i, why=f"reason {i}") for i in range(40))
    text = read(report(replace(answers["dose"](), left_out=out))).text
    assert "reason 39" in text


def test_provenance_and_plan_are_printed_as_given(answers, read):
    text = read(report(answers["dose"](), plan={"kind": "full factorial", "seed": 7, "formula": {"flour": 100}})).text
    for word in (*PROVENANCE.values(), "full factorial", "flour 100", "content hash"):
        assert word in text


def test_invented_data_say_so_at_the_top_and_others_do_not(answers, read):
    assert read(report(answers["dose"](), invented=True)).text.find("Invented data") in range(200)
    assert "Invented" not in read(report(answers["dose"]())).text


def test_cautions_stand_right_below_the_answer(answers):
    page = report(answers["dose"](), cautions=("Mind the gap.",))
    assert page.index('id="answer"') < page.index("Mind the gap.") < page.index('id="mattered"')


def test_every_bake_is_in_the_data_table(answers, read):
    analysis = answers["factorial"]()
    text = read(report(analysis)).text
    data = text[text.index("The data") :]
    for point in analysis.responses[0].family.points:
        assert point.bake in data
        assert f"{point.observed:.3f}" in data


def test_taste_notes_stand_under_their_treatment(answers, read):
    frame = pd.DataFrame(
        {
            "soda": [2.5, 0.5],
            "acid source": ["yogurt", "yogurt"],
            "tags": [["soapy"], ["gummy"]],
            "words": ["soap!", "wet"],
        }
    )
    text = read(report(answers["dose"](), notes=frame)).text
    notes = text[text.index("Taste notes by treatment") :]
    assert notes.index("soda 0.5 % flour, yogurt") < notes.index("soda 2.5 % flour, yogurt")
    assert "soap!" in notes


def test_without_notes_there_is_no_taste_part(answers):
    assert 'id="taste"' not in report(answers["dose"](), notes=pd.DataFrame({"tags": [], "words": [], "treatment": []}))


CHANGES = {
    "dose": (lambda build: build(), lambda build: build(0.3), "amount"),
    "screening": (lambda build: build(), lambda build: build(-3.1), "mattered"),
    "factorial": (lambda build: build(), lambda build: build(1.0), "mattered"),
}


@pytest.mark.parametrize("kind", CHANGES)
def test_one_changed_result_changes_sentence_figure_alt_and_table(answers, kind):
    """Nothing in the page may be written ahead of the numbers."""
    before, after, part = CHANGES[kind]
    one, other = (_parts(report(make(answers[kind])), part) for make in (before, after))
    for name in ("sentences", "outlines", "alt", "table"):
        assert one[name], name
        assert one[name] != other[name], name


def _parts(page: str, part: str) -> dict[str, list[str]]:
    section = page[page.index(f'<h2 id="{part}"') :]
    section = section[: section.index("</section>")]
    return {
        "sentences": re.findall(r"<li>(.*?)</li>", section),
        "outlines": re.findall(r'<path d="([^"]*)"', section),
        "alt": re.findall(r"<desc[^>]*>(.*?)</desc>", section),
        "table": re.findall(r"<td[^>]*>(.*?)</td>", section),
    }


def test_hostile_text_in_every_field_stays_text(answers, notes, read):
    """Each text of each record replaced: the page keeps exactly its elements and attributes."""
    analysis = answers["factorial"]()
    frames = [notes.assign(treatment=word, tags=[[word]] * len(notes), words=word) for word in ("w", HOSTILE)]
    pages = [
        read(
            trial_report(
                _renamed(analysis, word),
                title=word,
                question=word,
                notes=frame,
                plan={word: word, f"{word} ": [word]},
                provenance={word: word},
                cautions=(word,),
                invented=True,
            )
        )
        for word, frame in zip(("w", HOSTILE), frames, strict=True)
    ]
    assert pages[1].faults == []
    inside = ("path", "use", "g", "defs", "clippath", "rect", "text")  # other letters, other outlines
    plain, hostile = ({tag: n for tag, n in page.tags.items() if tag not in inside} for page in pages)
    assert hostile == plain
    plain, hostile = ({k: n for k, n in page.attributes.items() if k[0] not in inside} for page in pages)
    assert hostile == plain
    assert not [name for _, name in pages[1].attributes if name.startswith("on") or name == "style"]
    assert pages[1].text.count("<script>alert(1)</script>") > 20


def _renamed(value, word: str):
    """The record with a suffix on every name of a baker's (not on our own key words)."""
    ours = {
        "kind",
        "check",
        "verdict",
        "scale",
        "goal",
        "direction",
        "matters",
        "statistic",
        "edge",
        "why",
        "dose",
        "by",
    }
    if is_dataclass(value) and not isinstance(value, type):
        changed = {
            f.name: getattr(value, f.name) if f.name in ours else _renamed(getattr(value, f.name), word)
            for f in fields(value)
        }
        return type(value)(**changed)
    if isinstance(value, str):
        return f"{value} {word}"
    if isinstance(value, tuple):
        return tuple(_renamed(item, word) for item in value)
    if isinstance(value, dict):
        keep = {"factor_kind", "of_kind", "method"}
        return {
            (k if k in FACTS else _renamed(k, word)): v if k in keep else _renamed(v, word) for k, v in value.items()
        }
    return value


FACTS = {"factor_kind", "factor_unit", "from", "to", "method", "why", "level", "effect_at_from", "effect_at_to"}
FACTS |= {"of", "of_kind", "of_unit", "by", "by_from", "by_to", "by_unit"}


def test_ten_thousand_bakes_stay_below_five_megabytes(answers):
    analysis = answers["factorial"]()
    result = analysis.responses[0]
    points = tuple(
        replace(point, bake=f"{point.bake}-{i}", order=i)
        for i, point in enumerate(result.family.points * (10_000 // len(result.family.points) + 1))
    )
    many = replace(result, family=replace(result.family, points=points), n_bakes=len(points))
    page = report(replace(analysis, responses=(many,)))
    assert len(page.encode()) < 5_000_000
    assert "The first 1000 of" in page
    assert "Pictures draw one bake in 21" in page


BUILD = """
import importlib.util, sys
spec = importlib.util.spec_from_file_location("samples", sys.argv[1])
samples = importlib.util.module_from_spec(spec)
spec.loader.exec_module(samples)
from reports.page import trial_report
from reports.sheet import bench_sheet
for answer in (samples.dose_answer(), samples.screening_answer()):
    page = trial_report(answer, title="Ä title", notes=samples.taste_notes(), plan={"runs": 30}, provenance={"a": "b"})
    sys.stdout.buffer.write(page.encode())
sys.stdout.buffer.write(bench_sheet(samples.sample_sheet()).encode())
"""


def test_same_answer_same_bytes_whatever_the_machine_is_set_to(tmp_path):
    settings = (
        {"TZ": "UTC", "PYTHONHASHSEED": "0", "LANG": "C", "where": ROOT},
        {"TZ": "Pacific/Kiritimati", "PYTHONHASHSEED": "4242", "LANG": "de_DE.UTF-8", "where": tmp_path},
    )
    made = []
    for setting in settings:
        env = {**os.environ, **{k: v for k, v in setting.items() if k != "where"}, "PYTHONPATH": str(ROOT)}
        run = subprocess.run(
            [sys.executable, "-c", BUILD, str(Path(__file__).with_name("conftest.py"))],
            cwd=setting["where"],
            env=env,
            capture_output=True,
            check=True,
        )
        made.append(run.stdout)
    assert len(made[0]) > 100_000
    assert made[0] == made[1]


def test_importing_the_page_loads_no_drawing_and_no_statistics():
    heavy = ("seaborn", "matplotlib", "statsmodels", "scipy", "pandas", "jinja2")
    code = f"import sys, reports.page, reports.sheet; print([m for m in {heavy} if m in sys.modules])"
    run = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert run.stdout.strip() == "[]"
