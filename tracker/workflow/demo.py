"""What does a kitchen look like from plan to report, with a truth to hold it against?

Builds the invented kitchen in a folder through the same calls as anybody's: plans its
four trials from their plan files, records them run by run, analyses them, and writes
reports, bench sheets and tables beside one page of links.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from demo_data.generate import draw_log
from demo_data.truth import ALIKE, TRIALS, plan_text, truth
from tracker.workflow.demo_bakes import bake_trial, log_days, planned_runs
from tracker.workflow.demo_folder import building_site, refuse_strangers

if TYPE_CHECKING:
    from tracker.store import Store
    from tracker.workflow.analysing import TrialAnalysis

KITCHEN = "kitchen.db"
STEPS = 3 + 4 * len(TRIALS)
OPENING = (
    "Everything here is invented: the hut, the people, every number. The readings were drawn by chance from a known "
    "truth, so that what the analysis says can be held against it."
)


@dataclass(frozen=True, kw_only=True)
class DemoTrial:
    """One trial of the demo. ``files`` maps what a file is to its path relative to the folder."""

    name: str
    title: str
    question: str
    headline: tuple[str, ...]
    files: dict[str, str]


@dataclass(frozen=True, kw_only=True)
class DemoLog:
    """The daily log of the demo and what it told; ``files`` as for a trial."""

    product: str
    batches: int
    headline: tuple[str, ...]
    files: dict[str, str]


@dataclass(frozen=True, kw_only=True)
class Demo:
    """Where the demo lies and what it found."""

    folder: Path
    trials: tuple[DemoTrial, ...]
    log: DemoLog

    @property
    def kitchen(self) -> Path:
        return self.folder / KITCHEN

    def summary(self) -> str:
        lines = ["The demo kitchen is built. Everything in it is invented.", ""]
        for trial in self.trials:
            lines += [
                trial.title,
                *(f"  {said}" for said in trial.headline),
                f"  report: {self.folder / trial.files['report']}",
                "",
            ]
        lines += [
            f"{self.log.batches} batches of {self.log.product}",
            *(f"  {said}" for said in self.log.headline),
            f"  report: {self.folder / self.log.files['report']}",
            "",
        ]
        lines += [
            f"Begin here: {self.folder / 'index.html'}",
            f"The kitchen itself: {self.kitchen} (with a log of {self.log.batches} batches of {self.log.product})",
            f"Ask it more: crumbwise --kitchen {self.kitchen} trial list",
            f"What two of its trials say together: {pool_command(str(self.kitchen))}",
        ]
        return "\n".join(lines)

    def to_json(self) -> dict[str, Any]:
        return {
            "schema_version": 1,
            "invented": True,
            "folder": str(self.folder),
            "kitchen": str(self.kitchen),
            "index": str(self.folder / "index.html"),
            "trials": [
                {
                    "trial": trial.name,
                    "title": trial.title,
                    "headline": " ".join(trial.headline),
                    "files": {what: str(self.folder / path) for what, path in trial.files.items()},
                }
                for trial in self.trials
            ],
            "log": {
                "product": self.log.product,
                "batches": self.log.batches,
                "headline": " ".join(self.log.headline),
                "files": {what: str(self.folder / path) for what, path in self.log.files.items()},
            },
            "pool": pool_command(str(self.kitchen)),
        }


def pool_command(kitchen: str) -> str:
    """The command that puts the trials of one loaf together."""
    named = " ".join(f'"{truth()[key]["trial"]}"' for key in ALIKE)
    return f"crumbwise --kitchen {kitchen} trial pool {named}"


def build_demo(
    folder: str | Path,
    *,
    again: bool = False,
    seed: int | None = None,
    step: Callable[[str], None] = lambda words: None,
) -> Demo:
    """Build the demo in ``folder``; ``step`` is called with a few words as each of ``STEPS`` begins.

    ``seed`` draws other readings from the same truth. Raises Conflict when the folder holds
    something else, or a demo and ``again`` is not set.
    """
    folder = Path(folder)
    refuse_strangers(folder, again=again)
    with building_site(folder) as site:
        trials, log = _build(site, truth()["seed"] if seed is None else seed, step)
        demo = Demo(folder=folder, trials=trials, log=log)
        step("writing the page of links")
        (site / "index.html").write_text(_index(demo), encoding="utf-8")
    return demo


def _build(site: Path, seed: int, step: Callable[[str], None]) -> tuple[tuple[DemoTrial, ...], DemoLog]:
    from tracker.store import open_kitchen

    part = truth()["kitchen"]
    with open_kitchen(str(site / KITCHEN), create=True, name=part["name"], zone=part["zone"], invented=True) as store:
        people = _people(store, part["people"])
        trials = tuple(_trial(store, site, key, seed, people, step) for key in TRIALS)
        log = _log(store, site, seed, people, step)
    journal = site / f"{KITCHEN}-journal"
    if journal.exists() and not journal.stat().st_size:  # SQLite leaves it behind, emptied
        journal.unlink()
    return trials, log


def _log(store: Store, site: Path, seed: int, people: list[int], step: Callable[[str], None]) -> DemoLog:
    """Log the batches, say what was promised, freeze limits from the first days, and write what the log tells."""
    from tracker.workflow.batch_reporting import report_batches, write_batches
    from tracker.workflow.phases import freeze_limits
    from tracker.workflow.products import specify
    from tracker.workflow.reporting import Beside, Look

    part = truth()["log"]
    product, drawn, place = part["product"], draw_log(seed), part["product"].replace(" ", "-")
    step(f"{product}: writing the daily log")
    batches = log_days(store, product, drawn, person=people[0])
    specify(store, product, [part["specification"]], reason="what the hut promises", person=people[0])
    last = drawn[part["calm_days"] * len(part["shifts"]) - 1].number
    said = f"the first {part['calm_days']} days"
    freeze_limits(store, product, "rise height", first=drawn[0].number, last=last, reason=said, person=people[0])
    step(f"{product}: looking for what changed")
    (site / place).mkdir()
    files = {"report": f"{place}/report.html", "last week": f"{place}/last-week.html"}
    whole, week = report_batches(store, product), report_batches(store, product, week="last")
    for found, name in ((whole, "report"), (week, "last week")):
        write_batches(found, site / files[name], look=Look(), beside=Beside())
    return DemoLog(product=product, batches=batches, headline=whole.headline, files=files)


def _people(store: Store, names: list[str]) -> list[int]:
    from tracker.models import Person, PersonDetails

    with store.write(person=1, action="add person") as deed:
        people = [deed.add(Person(made_at=deed.at)).id or 0 for _ in names]
        deed.add_many(PersonDetails(person_id=number, name=name) for number, name in zip(people, names, strict=True))
    return people


def _trial(store: Store, site: Path, key: str, seed: int, people: list[int], step: Callable[[str], None]) -> DemoTrial:
    from tracker.workflow.analysing import analyse_trial
    from tracker.workflow.exporting import export_trial
    from tracker.workflow.planning import plan_trial
    from tracker.workflow.reporting import write_report
    from tracker.workflow.sheets import write_sheet
    from tracker.workflow.trials import show_trial

    name, text = truth()[key]["trial"], plan_text(key)
    place = site / name.replace(" ", "-")
    place.mkdir()
    step(f"{name}: planning")
    (place / "plan.toml").write_text(text, encoding="utf-8")
    planned = plan_trial(store, text, name=name, person=people[0])
    write_sheet(store, name, place / "sheet.html")
    step(f"{name}: baking")
    view = show_trial(store, name)
    bake_trial(store, key, name, planned_runs(view.runs), seed=seed, people=people)
    step(f"{name}: analysing")
    answer = analyse_trial(store, name)
    step(f"{name}: writing")
    write_report(answer, place / "report.html")
    export_trial(store, name, place / "readings.csv")
    return DemoTrial(
        name=name, title=planned.title, question=view.question, headline=_headlines(answer), files=_files(place.name)
    )


def _headlines(answer: TrialAnalysis) -> tuple[str, ...]:
    from analysis.words import headlines

    return tuple(headlines(answer.analysis))


def _files(place: str) -> dict[str, str]:
    return {
        "report": f"{place}/report.html",
        "bench sheet": f"{place}/sheet.html",
        "plan": f"{place}/plan.toml",
        "readings": f"{place}/readings.csv",
        "data dictionary": f"{place}/readings_dictionary.csv",
    }


def _index(demo: Demo) -> str:
    from analysis.words.batch_pages import QUESTION
    from reports.overview import Chapter, Link, overview_page

    chapters = [
        Chapter(
            title=trial.title,
            question=trial.question,
            answers=trial.headline,
            links=tuple(Link(words=what, href=path) for what, path in trial.files.items()),
        )
        for trial in demo.trials
    ]
    chapters.append(
        Chapter(
            title=f"Daily batches: {demo.log.product}",
            question=QUESTION,
            answers=demo.log.headline,
            links=tuple(Link(words=what, href=path) for what, path in demo.log.files.items()),
        )
    )
    closing = (
        f"The kitchen itself is {KITCHEN}; besides the trials it holds a daily log of {demo.log.batches} batches of "
        f"{demo.log.product}. In this folder, crumbwise --kitchen {KITCHEN} trial list shows what is in it, and "
        f"{pool_command(KITCHEN)} puts the two trials of the hut loaf together."
    )
    return overview_page(truth()["kitchen"]["name"], opening=OPENING, chapters=chapters, closing=closing)
