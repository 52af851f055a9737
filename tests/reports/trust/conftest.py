"""Pages to be held against their numbers: the demo's trials, answers made by hand, and one answer of each family."""

from __future__ import annotations

import importlib
import importlib.util
import pkgutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from types import ModuleType

import numpy as np
import pandas as pd
import pytest

import analysis.words
import reports
import reports.figures
from analysis.engine import analyse
from analysis.questions import Factor, Margin, Question, Response
from analysis.results import LeftOut
from analysis.words import numbers
from demo_data.truth import TRIALS, plan_text, truth
from reports.kinds import Told, sections_of
from reports.sections.blocks import Section
from tracker.models import Person, PersonDetails
from tracker.store import open_kitchen
from tracker.workflow.analysing import TrialAnalysis, analyse_trial
from tracker.workflow.demo_bakes import bake_trial, planned_runs
from tracker.workflow.planning import plan_trial
from tracker.workflow.provenance import as_words
from tracker.workflow.trials import show_trial

PUBLISHED = Path(__file__).parents[2] / "published"


def loaded(name: str, path: Path) -> ModuleType:
    """A module of the tests, which are no package and on no path."""
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, path)
        module = importlib.util.module_from_spec(spec)
        sys.modules[name] = module
        spec.loader.exec_module(module)
    return sys.modules[name]


loaded("trust_holding", Path(__file__).with_name("holding.py"))
loaded("trust_other_pages", Path(__file__).with_name("other_pages.py"))


def samples() -> ModuleType:
    """The answers made by hand, which stand beside the tests of the pages."""
    return loaded("report_samples", Path(__file__).parents[1] / "conftest.py")


def told_of(answer: TrialAnalysis) -> Told:
    return Told(
        analysis=answer.analysis,
        notes=answer.taste_notes,
        plan=answer.plan,
        chemistry=answer.chemistry,
        provenance=as_words(answer.provenance),
        title=answer.title,
        question=answer.question,
        invented=answer.invented,
        cautions=answer.remarks,
        scores=answer.scores,
    )


@pytest.fixture(scope="session")
def demo(tmp_path_factory) -> dict[str, Told]:
    """The trials of the demo kitchen, planned, baked and analysed as anybody's."""
    part = truth()["kitchen"]
    where = str(tmp_path_factory.mktemp("trust") / "kitchen.db")
    told = {}
    with open_kitchen(where, create=True, name=part["name"], zone=part["zone"], invented=True) as store:
        with store.write(person=1, action="add person") as deed:
            people = [deed.add(Person(made_at=deed.at)).id or 0 for _ in part["people"]]
            pairs = zip(people, part["people"], strict=True)
            deed.add_many(PersonDetails(person_id=number, name=name) for number, name in pairs)
        for key in TRIALS:
            name = truth()[key]["trial"]
            plan_trial(store, plan_text(key), name=name, person=people[0])
            runs = planned_runs(show_trial(store, name).runs)
            bake_trial(store, key, name, runs, seed=truth()["seed"], people=people)
            told[f"demo {key}"] = told_of(analyse_trial(store, name))
    return told


@pytest.fixture(scope="session")
def by_hand() -> dict[str, Told]:
    ours = samples()
    notes = ours.taste_notes()
    return {
        "dose": Told(analysis=ours.dose_answer(), notes=notes, plan={"kind": "full factorial", "runs": 30}),
        "screening": Told(analysis=ours.screening_answer()),
        "factorial": Told(analysis=ours.factorial_answer(), plan={"replicates": 2}),
    }


def published(case: str, names: list[str], response: Response, kind: str = "amount", **asked) -> Told:
    factors = tuple(Factor(name=name, kind=kind, unit="%") for name in names)
    return Told(
        analysis=analyse(
            pd.read_csv(PUBLISHED / f"{case}.csv"), Question(factors=factors, responses=(response,), **asked)
        )
    )


@pytest.fixture(scope="session")
def families(by_hand) -> dict[str, Told]:
    """One answer of every family that has parts of its own, computed by the engine."""
    volume = Response(name="volume", unit="ml", goal="maximise", matters=8)
    return {
        "surface": published(
            "response_surface/bbd_loaf_volume", ["hydration", "mix_min", "proof_min"], volume, model="quadratic"
        ),
        "blend": published("mixture/yarn_scheffe_quadratic", ["pe", "ps", "pp"], Response(name="elong"), kind="share"),
        "scores": Told(analysis=scored()),
        "equivalence": Told(analysis=compared()),
        "goals": Told(analysis=wished()),
        "mixed": Told(analysis=grouped()),
    }


def scored():
    rows = [("cold", s) for s in (1, 1, 2, 2, 2, 3, 3, 4)] + [("warm", s) for s in (2, 3, 3, 4, 4, 4, 5, 5)]
    table = pd.DataFrame(rows, columns=["oven", "crumb"]).astype({"crumb": float})
    factor = Factor(name="oven", kind="category", levels=("cold", "warm"))
    return analyse(table, Question(factors=(factor,), responses=(Response(name="crumb", scale="score"),), kind="score"))


@pytest.fixture(scope="session")
def panelled() -> dict[str, Told]:
    """A tasting by four assessors, one of whom scores higher; the same with one assessor, and while it is blind."""
    whole = tasted()
    one = replace(whole, scores=whole.scores[whole.scores["person"] == 11])
    waiting = replace(whole.analysis, left_out=(LeftOut(row="857", why="not yet baked"),))
    return {
        "panel": whole,
        "panel of one": one,
        "panel still blind": replace(whole, analysis=waiting),
        "panel still tasted": replace(whole, tasting_open=True),
    }


def tasted() -> Told:
    chance = drawn(2)
    rows = []
    for bake in range(12):
        truth = 2 + bake % 3 + 0.2 * chance.standard_normal()
        for person in range(11, 15):
            score = round(min(max(truth + 0.6 * chance.standard_normal() + (person == 12), 1), 5))
            rows.append((f"{bake:03d}", "crumb", float(score), person, ("low", "mid", "high")[bake % 3]))
    scores = pd.DataFrame(rows, columns=["bake", "response", "score", "person", "soda"])
    factor = Factor(name="soda", kind="category", levels=("low", "mid", "high"))
    crumb = Response(name="crumb", scale="score", goal="maximise", matters=1.0)
    question = Question(factors=(factor,), responses=(crumb,), kind="score", bake="bake")
    return Told(analysis=analyse(scores.rename(columns={"score": "crumb"}), question), scores=scores)


def drawn(seed: int) -> np.random.Generator:
    return np.random.Generator(np.random.PCG64(seed))


def compared():
    """A substitute that is as good as the flour in use, and one that is not."""
    chance = drawn(11)
    levels = ("wheat", "spelt", "rye")
    table = pd.DataFrame({"flour": np.repeat(levels, 8)})
    table["rise"] = np.round(
        table["flour"].map({"wheat": 52.0, "spelt": 52.3, "rye": 44.0}) + chance.normal(0, 1, 24), 1
    )
    factor = Factor(name="flour", kind="category", levels=levels, reference="wheat")
    response = Response(name="rise", unit="mm", goal="maximise", matters=2.5, margin=Margin(low=-2.5, high=2.5))
    return analyse(table, Question(factors=(factor,), responses=(response,), kind="factors"))


def wished():
    """Two goals over two amounts."""
    chance = drawn(3)
    amounts = (0.0, 5.0, 10.0)
    table = pd.MultiIndex.from_product([amounts, amounts, range(3)], names=["soda", "time", "again"]).to_frame(
        index=False
    )
    both = table["soda"] + table["time"]
    table["rise"] = 34 + 1.5 * both + chance.standard_normal(len(table))
    table["pH"] = 6.4 + 0.06 * both + 0.05 * chance.standard_normal(len(table))
    goals = (
        Response(name="rise", unit="mm", goal="maximise", accept=(40.0, 60.0)),
        Response(name="pH", goal="target", target=7.0, accept=(6.6, 7.4)),
    )
    factors = (Factor(name="soda", kind="amount", unit="%"), Factor(name="time", kind="amount", unit="min"))
    return analyse(table, Question(factors=factors, responses=goals, kind="factors"))


def grouped():
    """Powder and mixing over six days drawn by chance."""
    chance = drawn(7)
    table = pd.MultiIndex.from_product(
        [range(6), (1.0, 2.0, 3.0), ("whisk", "paddle")], names=["day", "powder", "mixing"]
    ).to_frame(index=False)
    days = chance.normal(0, 1.5, 6)
    table["rise"] = np.round(
        30
        + 4 * table["powder"]
        + 2.5 * (table["mixing"] == "paddle")
        + days[table["day"]]
        + chance.normal(0, 1, len(table)),
        1,
    )
    table["day"] = "day " + (table["day"] + 1).astype(str)
    factors = (
        Factor(name="powder", kind="amount", unit="% flour"),
        Factor(name="mixing", kind="category", levels=("whisk", "paddle")),
    )
    response = Response(name="rise", unit="mm", goal="maximise", matters=2.0)
    return analyse(table, Question(factors=factors, responses=(response,), kind="factors", group=("day",)))


@pytest.fixture(scope="session")
def pages(demo, by_hand, families) -> dict[str, Told]:
    return {**demo, **by_hand, **families}


@contextmanager
def undrawn() -> Iterator[None]:
    """Pictures laid out with their words and tables, but not drawn: the drawing takes most of the time."""
    with pytest.MonkeyPatch.context() as patch:
        for found in pkgutil.iter_modules(reports.figures.__path__):
            module = importlib.import_module(f"reports.figures.{found.name}")
            if hasattr(module, "as_svg") and found.name != "svg":
                patch.setattr(module, "as_svg", lambda *_, **__: "<svg/>")
        yield


WRITERS = ("say_number", "say_fixed", "say_digits", "say_level")  # all others write through these


@contextmanager
def overheard() -> Iterator[list[tuple[float, str]]]:
    """Every number that is written meanwhile: its value, before any rounding, and what was written of it."""
    heard: list[tuple[float, str]] = []

    def listening(write):
        def inner(value, *more, **named):
            text = write(value, *more, **named)
            if isinstance(value, (int, float, np.number)) and not isinstance(value, bool):
                heard.append((float(value), text))
            return text

        return inner

    rooms = [
        importlib.import_module(found.name)
        for room in (analysis.words, reports)
        for found in pkgutil.walk_packages(room.__path__, f"{room.__name__}.")
    ]
    written = {getattr(numbers, name): listening(getattr(numbers, name)) for name in WRITERS}
    with pytest.MonkeyPatch.context() as patch:
        for room in [analysis.words, *rooms]:
            for name, value in list(vars(room).items()):
                if callable(value) and getattr(value, "__name__", "") in WRITERS and value in written:
                    patch.setattr(room, name, written[value])
        yield heard


@dataclass(frozen=True)
class Made:
    """The parts of a page, without its drawings, and every number that was written for it."""

    sections: list[Section]
    written: list[tuple[float, str]]


@pytest.fixture(scope="session")
def made(pages) -> dict[str, Made]:
    held = {}
    with undrawn():
        for name, told in pages.items():
            with overheard() as written:
                held[name] = Made(sections=sections_of("kitchen", told), written=written)
    return held


@pytest.fixture(scope="session")
def other_kinds(pages, panelled) -> dict[tuple[str, str], Made]:
    """(kind, name): pages for a class and for the sensory side."""
    asked = [("class", name) for name in pages] + [("panel", name) for name in (*panelled, "scores", "demo soda")]
    held = {}
    with undrawn():
        for kind, name in asked:
            with overheard() as written:
                held[kind, name] = Made(sections=sections_of(kind, {**pages, **panelled}[name]), written=written)
    return held


@pytest.fixture
def listening():
    """(undrawn, overheard): for a test that makes a page itself."""
    return undrawn, overheard


@pytest.fixture(scope="session")
def other_pages(logged):
    """Name -> the record and the page of batches, charts, gauge studies, pooled trials and an account."""
    return sys.modules["trust_other_pages"].others(logged)


@pytest.fixture(scope="session")
def others_made(other_pages) -> dict[str, Made]:
    held = {}
    with undrawn():
        for name, page in other_pages.items():
            with overheard() as written:
                held[name] = Made(sections=page.sections(), written=written)
    return held
