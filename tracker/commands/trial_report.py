"""How does the answer about a trial leave the kitchen, and is a report still what the record says?"""

from __future__ import annotations

import os
from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tracker.commands.asking import ResponseOption, asks_how
from tracker.commands.grouped import GroupedCommand
from tracker.commands.report_options import (
    DecimalOption,
    ForOption,
    PaperOption,
    PicturesOption,
    TablesOption,
    TemperatureOption,
    beside_of,
    look_of,
)
from tracker.commands.shell import (
    JsonOption,
    KitchenOption,
    example,
    kitchen_place,
    make_app,
    open_store,
    print_json,
    progress,
    say,
    tell,
)
from tracker.errors import UsageError

if TYPE_CHECKING:
    from tracker.workflow.options import Options
    from tracker.workflow.report_many import Outcome, Wish

app = make_app("")


@app.command(
    cls=GroupedCommand,
    epilog=example(
        "crumbwise trial report soda --out soda.html",
        "crumbwise trial report soda --out soda.pdf --paper Letter --pictures pictures --tables soda.xlsx",
        "crumbwise trial report --every --folder reports --jobs 2",
        "crumbwise trial report --verify soda.html",
    ),
)
@asks_how()
def report(
    trial: Annotated[
        list[str] | None, typer.Argument(metavar="TRIAL...", help="Names of trials.", show_default=False)
    ] = None,
    *,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE.html|FILE.pdf", help="Where to write it; TRIAL.html here.")
    ] = None,
    response: ResponseOption = None,
    options: Options,
    reader: ForOption = "kitchen",
    decimal: DecimalOption = "point",
    temperature: TemperatureOption = "C",
    paper: PaperOption = "A4",
    pictures: PicturesOption = None,
    tables: TablesOption = None,
    every: Annotated[bool, typer.Option("--every", help="All trials of the kitchen.")] = False,
    folder: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Where reports of several trials go, each by its name.")
    ] = None,
    pdf: Annotated[bool, typer.Option("--pdf", help="In a folder: PDF instead of HTML.")] = False,
    jobs: Annotated[int | None, typer.Option(min=1, help="How many are made at once; one for each core.")] = None,
    verify: Annotated[
        Path | None,
        typer.Option(metavar="FILE.html", help="Make this report again from the record and say what differs."),
    ] = None,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Analyse a trial and write its report, one file that needs nothing else."""
    if verify is not None:
        _verify(verify, kitchen, json_=json_)
        return
    from tracker.workflow.report_many import Wish

    look, beside = look_of(reader, decimal, temperature), beside_of(pictures, tables, paper)
    wish = Wish(responses=tuple(response or ()), options=options, look=look, beside=beside)
    if every or folder is not None or len(trial or ()) > 1:
        place, suffix = _require_folder(folder, out), ".pdf" if pdf else ".html"
        names = None if every else list(trial or ())
        _into_folder(names, place, wish, kitchen, suffix=suffix, jobs=jobs, json_=json_)
        return
    if not trial:
        raise UsageError(
            "Missing the name of a trial.", where="crumbwise trial report", try_this="crumbwise trial list"
        )
    _one(trial[0], out, wish, kitchen, json_=json_)


def _one(trial: str, out: Path | None, wish: Wish, kitchen: str | None, *, json_: bool) -> None:
    from tracker.workflow.files import file_name
    from tracker.workflow.reporting import report_trial

    with open_store(kitchen) as store:
        path = out or Path(file_name(trial, ".html"))
        written = report_trial(
            store, trial, path, responses=wish.responses, options=wish.options, look=wish.look, beside=wish.beside
        )
    for remark in written.remarks:
        tell(f"Note: {remark}")
    if json_:
        print_json({"trial": trial, **written.to_json()})
    else:
        say(f"{written.report}")


def _into_folder(
    names: list[str] | None,
    folder: Path,
    wish: Wish,
    kitchen: str | None,
    *,
    suffix: str,
    jobs: int | None,
    json_: bool,
) -> None:
    """``names`` None: every trial; processes begin already while the kitchen is read."""
    from tracker.workflow.report_many import report_many
    from tracker.workflow.report_workers import begun_workers

    at_once = jobs or os.cpu_count() or 1
    with begun_workers(at_once) if names is None and at_once > 1 else nullcontext() as workers:
        names = _all_trials(kitchen) if names is None else names
        with progress("reports", len(names)) as step:
            outcomes = report_many(
                kitchen_place(kitchen), names, folder, wish, suffix=suffix, jobs=jobs, workers=workers, step=step
            )
    for outcome in outcomes:
        _tell_outcome(outcome)
    if json_:
        print_json({"trials": [outcome.to_json() for outcome in outcomes]})
    else:
        for outcome in outcomes:
            if outcome.written is not None:
                say(f"{outcome.written.report}")
    worst = max((outcome.exit_code for outcome in outcomes), default=0)
    if worst:
        raise typer.Exit(worst)


def _tell_outcome(outcome: Outcome) -> None:
    if outcome.failure is not None:
        tell(f"{outcome.trial}: {outcome.failure.what}\nTry: {outcome.failure.try_this}")
    for remark in outcome.written.remarks if outcome.written else ():
        tell(f"Note: {outcome.trial}: {remark}")


def _all_trials(kitchen: str | None) -> list[str]:
    from tracker.workflow.trials import list_trials

    with open_store(kitchen) as store:
        return [line.name for line in list_trials(store)]


def _require_folder(folder: Path | None, out: Path | None) -> Path:
    if folder is None or out is not None:
        raise UsageError("Several reports go into a folder.", where="--folder", try_this="--folder reports")
    return folder


def _verify(path: Path, kitchen: str | None, *, json_: bool) -> None:
    from tracker.workflow.verify_report import verify_report

    verdict = verify_report(path, kitchen=kitchen_place(kitchen))
    if json_:
        print_json(verdict.to_json())
    else:
        say(verdict.summary())
    if not verdict.same:
        raise typer.Exit(6)
