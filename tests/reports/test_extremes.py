"""Does a report stand when a trial is huge, tiny or hostile?

200 levels, one bake, 30 responses, names of 300 letters, right-to-left notes, emoji, and strings that
would like to be markup, in every field a person can fill. Each page is whole, quiet, below 5 MB and
made in under ten seconds; on a phone no picture is cut.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.questions import Factor, Question, Response
from analysis.results import Analysis
from reports.kinds import KINDS, Told
from reports.page import trial_page
from reports.sheet import Sheet, SheetDay, SheetResponse, SheetRun, Weighed, bench_sheet

MOST_BYTES, MOST_SECONDS = 5_000_000, 10.0
LONG = "a very long name of a baking powder " * 9
RIGHT_TO_LEFT = "טעם סבון حامض جدا \u202eesrever"
EMOJI = "🍞👩🏽‍🍳 rise"
EMOJI_ONLY = "🍞👩🏽‍🍳🥐" * 100
COMBINING = "so" + "\u0301\u0323\u0308" * 40 + "da e" + "\u0301" * 30 + "clair"
HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</title></style></svg><iframe src=//a.b>",
    "<svg/onload=alert(1)>",
    "}*{display:none}@import url(//a.b)",
    "&lt;b&gt; &#60;i&#62; $\\frac{1}{0}$ {{ 7*7 }} {% raw %}",
    "]]><!--\x00\x1b[31m",
)


def noise(i: int) -> float:
    return 2 * ((i * 0.6180339887498949 + 0.31) % 1.0 - 0.5)


def answered(
    table: pd.DataFrame, factors: tuple[Factor, ...], responses: tuple[Response, ...], blocks: tuple[str, ...] = ()
) -> Analysis:
    return analyse(table, Question(factors=factors, responses=responses, blocks=blocks, kind="factors"))


def many_responses() -> Analysis:
    names = [f"reading {i}" for i in range(30)]
    rows = [(d, *(30 + k * d + noise(7 * i + k) for k in range(30))) for i, d in enumerate((1.0, 2.0, 3.0) * 3)]
    responses = tuple(Response(name=name, unit="mm", goal="maximise", matters=1) for name in names)
    return answered(pd.DataFrame(rows, columns=["soda", *names]), (Factor(name="soda", kind="amount"),), responses)


def named(*words: str) -> Analysis:
    """A small factorial in which every name, level, unit and block is one of ``words``, each made unlike the others."""
    word = [f"{words[i % len(words)]} {i}" for i in range(8)]
    rows = [
        (amount, level, word[5] if i % 2 else word[6], 30 + 3 * amount + k + noise(i))
        for i, (amount, k, level) in enumerate(
            [(a, k, level) for a in (1.0, 2.0) for k, level in enumerate(word[:2]) for _ in range(4)]
        )
    ]
    factors = (
        Factor(name=word[2], kind="amount", unit=words[0]),
        Factor(name=word[3], kind="category", levels=tuple(word[:2])),
    )
    table = pd.DataFrame(rows, columns=[word[2], word[3], word[7], word[4]])
    return answered(
        table, factors, (Response(name=word[4], unit=words[0], goal="maximise", matters=1),), blocks=(word[7],)
    )


def notes_of(*words: str) -> pd.DataFrame:
    return pd.DataFrame([(word, word, word) for word in words] * 2, columns=["treatment", "tags", "words"])


EXTREMES: dict[str, Callable[[], Told]] = {
    "30 responses": lambda: Told(analysis=many_responses(), title="t"),
    "300 letters": lambda: Told(
        analysis=named(LONG), title=LONG, question=LONG, notes=notes_of(LONG), cautions=(LONG,)
    ),
    "unbroken": lambda: Told(analysis=named("x" * 300), title="x" * 300, question="y" * 300, notes=notes_of("z" * 300)),
    "right to left": lambda: Told(analysis=named(RIGHT_TO_LEFT), title=RIGHT_TO_LEFT, notes=notes_of(RIGHT_TO_LEFT)),
    "emoji": lambda: Told(analysis=named(EMOJI), title=EMOJI, notes=notes_of(EMOJI)),
    "emoji only": lambda: Told(
        analysis=named(EMOJI_ONLY), title=EMOJI_ONLY, question=EMOJI_ONLY, notes=notes_of(EMOJI_ONLY)
    ),
    "combining": lambda: Told(analysis=named(COMBINING), title=COMBINING, notes=notes_of(COMBINING)),
    **{
        f"hostile {i}": lambda word=word: Told(
            analysis=named(word),
            title=word,
            question=word,
            notes=notes_of(word),
            plan={word: word, "kind": word},
            provenance={word: word, "content hash": word},
            cautions=(word,),
        )
        for i, word in enumerate(HOSTILE)
    },
}


def written(told: Told, kind: str = "kitchen") -> str:
    begun = time.process_time()
    page = trial_page(told, kind=kind).html()
    assert time.process_time() - begun < MOST_SECONDS
    assert len(page.encode()) < MOST_BYTES
    return page


@cache
def page_of(case: str) -> str:
    """Drawn once for the reader and for the browser."""
    return written(EXTREMES[case]())


def check_quiet(read, page: str) -> None:
    parsed = read(page)
    assert parsed.faults == []
    assert max(parsed.ids.values()) == 1
    assert not {"script", "iframe", "img", "object", "link", "base", "form"} & set(parsed.tags)
    assert parsed.tags["style"] <= 1
    assert not [name for _, name in parsed.attributes if name.startswith("on") or name == "style"]
    assert all(value.startswith("#") for _, name, value in parsed.values if name in ("href", "src"))
    parser = pytest.importorskip("tinyhtml5.parser").HTMLParser()
    parser.parse(page)
    assert parser.errors == []


@pytest.mark.parametrize("case", EXTREMES)
def test_the_page_stands_whole_and_nothing_in_it_lives(read, case):
    check_quiet(read, page_of(case))


@pytest.mark.parametrize("kind", sorted(set(KINDS) - {"kitchen"}))
def test_so_does_a_page_for_other_readers(read, kind):
    check_quiet(read, written(EXTREMES["hostile 1"](), kind))


def test_two_hundred_levels_still_make_a_page(answers, read):
    names = tuple(f"kitchen {i:03d}" for i in range(200))
    page = written(Told(analysis=answers["factorial"](names=names), title="Many"))
    check_quiet(read, page)
    assert "kitchen 199" in page


@pytest.mark.parametrize("kind", ["dose", "factorial", "screening"])
def test_one_single_bake_still_makes_a_page(answers, read, kind):
    whole = answers[kind]()
    alone = [
        replace(
            one, n_bakes=1, n_readings=1, family=replace(one.family, points=one.family.points[:1], effects=(), means=())
        )
        for one in whole.responses
    ]
    check_quiet(read, written(Told(analysis=replace(whole, responses=tuple(alone)), title="One")))


@pytest.mark.parametrize("word", [*HOSTILE, "half \ud800", LONG, RIGHT_TO_LEFT, EMOJI, EMOJI_ONLY, COMBINING])
def test_a_bench_sheet_stays_quiet_with_any_words(read, word):
    run = SheetRun(
        bake_order=1,
        code=word,
        weights=(Weighed(ingredient=word, grams="1"),),
        settings=((word, word),),
        places=((word, word),),
        plot=word,
        set_once=((word, word),),
    )
    response = SheetResponse(name=word, unit=word, scale="score", anchors=(word, word))
    sheet = Sheet(
        trial=word,
        title=word,
        question=word,
        kitchen=word,
        formula=word,
        cautions=(word,),
        responses=(response,),
        days=(SheetDay(block=word, runs=(run,)),),
    )
    check_quiet(read, bench_sheet(sheet))


@pytest.mark.browser
@pytest.mark.parametrize(
    "case", ["unbroken", "hostile 1", "300 letters", "right to left", "emoji", "emoji only", "combining"]
)
def test_no_picture_is_cut_on_a_phone_and_no_page_sticks_out(browser, tmp_path, case):
    target = tmp_path / "page.html"
    target.write_text(page_of(case), encoding="utf-8")
    page = browser.new_context(viewport={"width": 390, "height": 900}).new_page()
    page.goto(target.as_uri())
    page.evaluate("document.querySelectorAll('details').forEach(folded => { folded.open = true })")
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    outside = page.evaluate(
        """[...document.querySelectorAll('figure > svg')].map(svg => {
             const frame = svg.getBoundingClientRect();
             return [...svg.querySelectorAll('use, text')].map(e => e.getBoundingClientRect())
               .filter(b => b.width && (b.left < frame.left - 1 || b.right > frame.right + 1
                                        || b.top < frame.top - 1 || b.bottom > frame.bottom + 1)).length })"""
    )
    page.context.close()
    assert outside
    assert sum(outside) == 0, outside
