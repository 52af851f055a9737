"""How does a baker tell what came out of the oven?"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tracker.commands.shell import (
    JsonOption,
    KitchenOption,
    PersonOption,
    ask,
    example,
    make_app,
    open_store,
    print_json,
    say,
    tell,
)
from tracker.errors import TrackerError, UsageError

if TYPE_CHECKING:
    from tracker.workflow.kitchens import Store
    from tracker.workflow.recorded import Recorded
    from tracker.workflow.to_record import RunToRecord

app = make_app("")

TrialArgument = Annotated[str, typer.Argument(metavar="TRIAL", help="Name of the trial.", show_default=False)]
PieceOption = Annotated[int | None, typer.Option(min=1, help="Number of the piece (loaf, cookie) of this bake.")]


@app.command(
    epilog=example(
        'crumbwise trial record soda 417 "rise height=42.5 41.8" "crumb score=4"',
        'crumbwise trial record soda 233 --failed --reason "dropped the tin"',
        "crumbwise trial record soda",
    )
)
def record(
    trial: TrialArgument,
    run: Annotated[
        str | None, typer.Argument(metavar="RUN", help="Its code, or #7 for the 7th bake; asks when left out.")
    ] = None,
    values: Annotated[
        list[str] | None, typer.Argument(metavar="NAME=VALUE", help="What was read, one text each response.")
    ] = None,
    piece: PieceOption = None,
    repeat: Annotated[int | None, typer.Option(min=1, help="Which of several readings is meant.")] = None,
    again: Annotated[bool, typer.Option("--again", help="Add a reading beside those that stand.")] = False,
    failed: Annotated[bool, typer.Option("--failed", help="The bake went wrong; needs --reason.")] = False,
    skipped: Annotated[bool, typer.Option("--skipped", help="The run was not baked; needs --reason.")] = False,
    reason: Annotated[str, typer.Option(help="Why: for failed, skipped, corrected or unlikely.")] = "",
    weighed: Annotated[
        list[str] | None, typer.Option(metavar="NAME=GRAMS", help="What was really weighed; may be repeated.")
    ] = None,
    oven: Annotated[str | None, typer.Option(metavar="CELSIUS", help="Measured oven temperature.")] = None,
    deviations: Annotated[str, typer.Option(help="What was done otherwise than planned.")] = "",
    correct: Annotated[bool, typer.Option("--correct", help="Replace what stands; needs --reason.")] = False,
    void: Annotated[bool, typer.Option("--void", help="Take the named readings back; needs --reason.")] = False,
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Record a run: its readings, how it ended, what was really weighed.

    Without RUN it asks for one run after the other, in the order of baking. With --weighed
    alone nothing is said of how the bake ended.
    """
    from tracker.intake.numbers import read_number
    from tracker.workflow.recording import record_run, void_readings

    if failed and skipped:
        raise UsageError("A run cannot be both failed and skipped.", where="trial record", try_this="give one of them")
    with open_store(kitchen) as store:
        if run is None:
            _dialogue(store, trial, person, json_)
            return
        if void:
            done = void_readings(
                store, trial, run, values or [], reason=reason, piece=piece, repeat=repeat, person=person
            )
        else:
            done = record_run(
                store,
                trial,
                run,
                values or [],
                piece=piece,
                repeat=repeat,
                person=person,
                outcome="failed" if failed else "skipped" if skipped else "",
                reason=reason,
                weighed=weighed or [],
                oven_temperature_c=None if oven is None else read_number(oven, what="oven", where="--oven"),
                deviations=deviations,
                correct=correct,
                again=again,
            )
    _show(done, json_)


@app.command(epilog=example('crumbwise trial note soda 417 "soapy at the back of the tongue" --tag soapy --tag bitter'))
def note(
    trial: TrialArgument,
    run: Annotated[str, typer.Argument(metavar="RUN", help="Its code, or #7 for the 7th bake.", show_default=False)],
    words: Annotated[str, typer.Argument(metavar="WORDS", help="What it tasted like.")] = "",
    tag: Annotated[list[str] | None, typer.Option(help="A short word to find it by; may be repeated.")] = None,
    piece: PieceOption = None,
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Keep a taste note beside a run."""
    from tracker.workflow.recording import add_note

    with open_store(kitchen) as store:
        done = add_note(store, trial, run, words, tags=tag or [], piece=piece, person=person)
    _show(done, json_)


@app.command(epilog=example("crumbwise trial photo soda 417 crumb.jpg --piece 2"))
def photo(
    trial: TrialArgument,
    run: Annotated[str, typer.Argument(metavar="RUN", help="Its code, or #7 for the 7th bake.", show_default=False)],
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A JPEG, PNG or WebP.", show_default=False)],
    words: Annotated[str, typer.Option(help="What is to be seen.")] = "",
    piece: PieceOption = None,
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Keep a photo beside a run: the picture alone, without place or time."""
    from tracker.workflow.photos import keep_photo_file

    with open_store(kitchen) as store:
        done = keep_photo_file(store, trial, run, file, piece=piece, words=words, person=person)
    if json_:
        print_json(done.to_json())
    else:
        say(done.summary())


def _show(done: Recorded, as_json: bool) -> None:
    for warning in done.warnings:
        tell(f"Warning: {warning}")
    if as_json:
        print_json(done.to_json())
    else:
        say(done.summary())


def _dialogue(store: Store, trial: str, person: int, as_json: bool) -> None:
    """Ask for one run after the other; each is stored before the next is asked for."""
    from tracker.workflow.to_record import runs_to_record

    waiting = runs_to_record(store, trial)
    if sys.stdin is None or sys.stdin.closed:
        code = waiting[0].code if waiting else "417"
        raise UsageError(
            "No run was named, and there is no input to ask.",
            where="trial record",
            try_this=f'crumbwise trial record "{trial}" {code} "rise height=42.5"',
        )
    done: list[Recorded] = []
    wait = "run waits" if len(waiting) == 1 else "runs wait"
    tell(f"{len(waiting)} {wait} for readings. Enter leaves one out; a run is stored when its last answer is in.")
    for run in waiting:
        answers = _ask_run(run)
        if answers is None:  # the input has ended
            break
        if answers:
            kept = _store_run(store, trial, run, answers, person)
            if kept is not None:
                done.append(kept)
    if as_json:
        print_json({"trial": trial, "recorded": [each.to_json() for each in done]})
    else:
        say(f"{len(done)} {'run' if len(done) == 1 else 'runs'} recorded.")


def _ask_run(run: RunToRecord) -> list[str] | None:
    tell(f"\nRun {run.code} (#{run.bake_order}{f', {run.block}' if run.block else ''})")
    answers = []
    for response in run.responses:
        while True:
            typed = ask(f"  {response.prompt}: ")
            if typed is None:
                return None
            wrong = response.refusal(typed) if typed else None
            if wrong is None:
                break
            tell(f"  {wrong.what} Try: {wrong.try_this}")
        if typed:
            answers.append(f"{response.name}={typed}")
    return answers


def _store_run(store: Store, trial: str, run: RunToRecord, answers: list[str], person: int) -> Recorded | None:
    from tracker.workflow.recording import record_run

    reason = ""
    for warning in run.warnings(answers):
        tell(f"  Warning: {warning}")
        reason = ask("  Why is it kept? ") or "no reason was given at the bench"
    try:
        done = record_run(store, trial, run.code, answers, person=person, reason=reason)
    except TrackerError as error:
        tell(f"  Not stored: {error.what} Try: {error.try_this}")
        return None
    tell(f"  Stored: {'; '.join(reading.words() for reading in done.readings)}")
    return done
