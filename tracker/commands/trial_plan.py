"""How does a question become a trial: from a plan file, a ready plan, or a few plain questions?"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tracker.commands.shell import (
    DryRunOption,
    JsonOption,
    KitchenOption,
    PersonOption,
    ask,
    example,
    make_app,
    open_store,
    open_store_if_there,
    print_json,
    say,
    tell,
)
from tracker.errors import InputError, UsageError

if TYPE_CHECKING:
    from tracker.workflow.questions import Interview, Proposal
    from tracker.workflow.wishes import Asked

app = make_app("")

HELP_WORDS = ("?", "help")
YES = ("y", "yes")


@app.command(
    "plan",
    epilog=example(
        "crumbwise trial plan",
        "crumbwise trial plan soda.toml --dry-run",
        "crumbwise trial plan soda.toml --name soda",
        "crumbwise trial plan --starter soda-ladder --out my-ladder.toml",
    ),
)
def plan_(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="The plan file (TOML); asks without it.", show_default=False)
    ] = None,
    starter: Annotated[str | None, typer.Option(metavar="NAME", help="A ready plan instead of a file.")] = None,
    list_starters: Annotated[bool, typer.Option("--list-starters", help="List the ready plans.")] = False,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write the plan file there, to change it first.")
    ] = None,
    name: Annotated[str | None, typer.Option(help="Name of the trial; made from the title when left out.")] = None,
    seed: Annotated[int | None, typer.Option(help="Seed of order and codes; the plan's when left out.")] = None,
    dry_run: DryRunOption = False,
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Lay out a plan as a trial: runs in random order, blocks, blind codes.

    Without FILE it asks a few plain questions, advises a design and writes the plan file.
    """
    if list_starters:
        _list(json_)
        return
    if file is not None and (starter is not None or out is not None):
        extra = "--starter" if starter is not None else "--out"
        raise UsageError(
            f"A plan file is given, and {extra} as well.", where="trial plan", try_this=f"crumbwise trial plan {file}"
        )
    if starter is not None:
        _from_starter(starter, out, name, seed, dry_run, person, kitchen, json_)
    elif file is not None:
        _lay_out(file, name, seed, dry_run, person, kitchen, json_)
    else:
        _from_questions(out, name, seed, dry_run, person, kitchen, json_)


def _lay_out(
    plan: Path | str,
    name: str | None,
    seed: int | None,
    dry_run: bool,
    person: int,
    kitchen: str | None,
    json_: bool,
) -> None:
    from tracker.workflow.planning import plan_trial, preview_plan

    with open_store_if_there(kitchen) as there:
        if dry_run or there is None:  # a plan that is wrong must not leave an empty kitchen behind
            planned = preview_plan(plan, there, name=name, seed=seed)
    if not dry_run:
        with open_store(kitchen, create=True) as store:
            planned = plan_trial(store, plan, name=name, person=person, seed=seed)
    for caution in planned.cautions:
        tell(caution)
    if json_:
        print_json(planned.to_json())
    else:
        say(planned.summary())
        if not dry_run:
            say(f'\nNext: crumbwise trial sheet "{planned.name}" --out sheet.html')


def _list(json_: bool) -> None:
    from tracker.workflow.starters import list_starters

    found = list_starters()
    if json_:
        print_json({"starters": [each.to_json() for each in found]})
        return
    width = max(len(each.name) for each in found)
    for each in found:
        say(f"{each.name:<{width}}  {each.title}")
    say(f"\nNext: crumbwise trial plan --starter {found[0].name} --dry-run")


def _from_starter(
    starter: str,
    out: Path | None,
    name: str | None,
    seed: int | None,
    dry_run: bool,
    person: int,
    kitchen: str | None,
    json_: bool,
) -> None:
    from tracker.workflow.files import write_new
    from tracker.workflow.starters import find_starter

    found = find_starter(starter)
    if out is None:
        _lay_out(found.text, name, seed, dry_run, person, kitchen, json_)
        return
    if not dry_run:
        write_new(out, found.text)
    if json_:
        print_json({**found.to_json(), "plan": str(out), "written": not dry_run})
    else:
        say(f"{out}")
        say(f"\nNext: change it as you like, then crumbwise trial plan {out} --dry-run")


# -- the dialogue -------------------------------------------------------------------


def _from_questions(
    out: Path | None,
    name: str | None,
    seed: int | None,
    dry_run: bool,
    person: int,
    kitchen: str | None,
    json_: bool,
) -> None:
    if json_ or not _somebody_is_there():
        why = "--json cannot ask questions" if json_ else "there is nobody to ask"
        raise UsageError(
            f"No plan file was named, and {why}.",
            where="trial plan",
            try_this="crumbwise trial plan FILE, or --starter NAME (crumbwise trial plan --list-starters)",
        )
    from tracker.workflow.files import free_name, refuse_existing, write_new
    from tracker.workflow.requests import refuse_seed

    refuse_seed(seed)
    if out is not None:
        refuse_existing(out)
    try:
        proposal = _interview(kitchen, seed)
    except KeyboardInterrupt:
        tell("\nInterrupted: nothing was written.")
        raise
    say("\n" + proposal.summary())
    path = out or free_name(Path(proposal.file_name))
    if dry_run:
        say("\n" + proposal.text)
        return
    write_new(path, proposal.text)
    say(f"\nThe plan file is {path}: every line of it can be changed.")
    try:
        made = (ask("Make the trial from it now? [no] ") or "").casefold() in YES
    except KeyboardInterrupt:
        tell(f"\nInterrupted: the plan file stays, no trial was made. Next: crumbwise trial plan {path}")
        raise
    if made:
        _lay_out(path, name, seed, False, person, kitchen, False)
    else:
        say(f"Next: crumbwise trial plan {path} --dry-run")


def _somebody_is_there() -> bool:
    return sys.stdin is not None and not sys.stdin.closed and sys.stdin.isatty()


def _interview(kitchen: str | None, seed: int | None) -> Proposal:
    """All questions, asked again where the answer cannot be; raises UsageError when the input ends."""
    from tracker.workflow.questions import Interview, propose

    interview = Interview(_formulas(kitchen))
    tell("Enter takes what stands in brackets, ? explains, back returns to the question before.\n")
    while True:
        _ask_all(interview)
        tell("\nLaying out what could answer this ...")
        try:
            return propose(interview.wishes, seed=seed)
        except InputError as refused:
            tell(f"\n{refused.what} Try: {refused.try_this}. (back returns further.)\n")
            interview.back_to("bakes at most")


def _formulas(kitchen: str | None) -> dict[str, Sequence[str]]:
    from tracker.workflow.formulas import list_formulas, newest_first

    with open_store_if_there(kitchen) as there:
        return {} if there is None else newest_first(list_formulas(there))


def _ask_all(interview: Interview) -> None:
    while interview.question is not None:
        question = interview.question
        typed = ask(_prompt(question))
        if typed is None:
            tell("")
            raise UsageError(
                "The input ended before the last question; nothing was written.",
                where="trial plan",
                try_this="crumbwise trial plan, or crumbwise trial plan --starter soda-ladder",
            )
        if typed.casefold() in HELP_WORDS:
            tell(f"  {question.help}")
        elif typed.casefold() == "back":
            if not interview.back():
                tell("  This is the first question.")
        else:
            refusal = interview.answer(typed)
            if refusal is not None:
                tell(f"  {refusal.what} Try: {refusal.try_this}")


def _prompt(question: Asked) -> str:
    listed = "".join(f"\n  {number}  {words}" for number, words in enumerate(question.choices, start=1))
    return f"{question.words}{listed}{chr(10) + ' ' if listed else ''} [{question.default}] "
