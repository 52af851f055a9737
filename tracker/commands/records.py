"""How is the record checked, verified, backed up and read from the command line?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tracker.commands import GROUPS
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
)
from tracker.errors import UsageError

app = make_app(GROUPS["records"][1])
people = make_app("Add, list and erase the people behind the numbers.")
app.add_typer(people, name="people")


@app.command(epilog=example("crumbwise records check", "crumbwise records check --full --json"))
def check(
    full: Annotated[bool, typer.Option("--full", help="Read every page and index of the file.")] = False,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Check the database: settings read back, pages, links, version of the tables."""
    from tracker.workflow.records import check_kitchen

    with open_store(kitchen) as store:
        report = check_kitchen(store, full=full)
    if json_:
        report.require_sound()
        print_json(report.to_json())
    else:
        say(report.summary())
        report.require_sound()


@app.command(epilog=example("crumbwise records verify", "crumbwise records verify --expect 4f1c09d2a6b7"))
def verify(
    expect: Annotated[
        str | None,
        typer.Option(metavar="HASH", help="A head noted earlier; it must be a part of the chain.", show_default=False),
    ] = None,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Verify the whole record: the chain of entries, and every row against its entry."""
    from tracker.workflow.records import verify_record

    with open_store(kitchen) as store:
        verified = verify_record(store, expect=expect)
    if json_:
        print_json(verified.to_json())
    else:
        say(verified.summary())


@app.command(
    epilog=example(
        "crumbwise records history --trial soda --run 417",
        'crumbwise records history --product "pass scones" --batch 121',
    )
)
def history(
    trial: Annotated[
        str | None, typer.Option(metavar="NAME", help="Entries of this trial.", show_default=False)
    ] = None,
    run: Annotated[
        str | None, typer.Option(metavar="CODE", help="Entries of this run of the trial.", show_default=False)
    ] = None,
    product: Annotated[
        str | None, typer.Option(metavar="NAME", help="Entries of this product's log.", show_default=False)
    ] = None,
    batch: Annotated[
        str | None, typer.Option(metavar="NUMBER", help="Entries of this batch of the product.", show_default=False)
    ] = None,
    by: Annotated[
        int | None, typer.Option(metavar="NUMBER", help="Entries of this person.", show_default=False)
    ] = None,
    limit: Annotated[int, typer.Option(help="How many entries at most.")] = 50,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Show who entered or corrected what, when and why, newest first."""
    from tracker.workflow.records import history as read_history

    with open_store(kitchen) as store:
        lines = read_history(store, trial=trial, run=run, product=product, batch=batch, person=by, limit=limit)
    if json_:
        print_json({"entries": [line.to_json() for line in lines]})
    else:
        say("\n".join(line.words() for line in lines) or "No entries.")


@app.command(epilog=example("crumbwise records backup", "crumbwise records backup /media/stick/kitchen.db"))
def backup(
    file: Annotated[
        Path | None,
        typer.Argument(metavar="[FILE]", help="The new file; beside the kitchen when left out.", show_default=False),
    ] = None,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Copy the kitchen into a new, checked file with a manifest, while others may write."""
    from tracker.workflow.records import back_up

    with open_store(kitchen) as store:
        made = back_up(store, file)
    if json_:
        print_json({**made.to_json(), "path": str(made.path), "manifest": str(made.manifest)})
    else:
        say(made.summary())


@app.command(epilog=example("crumbwise records restore kitchen.backup.db kitchen-again.db"))
def restore(
    backup_file: Annotated[Path, typer.Argument(metavar="BACKUP", help="The backup.", show_default=False)],
    new_file: Annotated[Path, typer.Argument(metavar="NEW_FILE", help="A file that is not there yet.")],
    json_: JsonOption = False,
) -> None:
    """Bring a backup back into a new file, after verifying all of it."""
    from tracker.workflow.records import restore as bring_back

    restored = bring_back(backup_file, new_file)
    if json_:
        print_json(restored.to_json())
    else:
        say(restored.summary())


@app.command("erase-photo", epilog=example('crumbwise records erase-photo 3 --reason "a face was in it" --yes'))
def erase_photo(
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="The photo's number.", show_default=False)],
    reason: Annotated[str, typer.Option(help="Why; kept for ever.", show_default=False)],
    yes: Annotated[bool, typer.Option("--yes", help="It is meant; without it you are asked.")] = False,
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Erase a photo for good; that there was one, its hash and who had it erased stay."""
    from tracker.workflow import erasing

    with open_store(kitchen) as store:
        trial, run = erasing.run_of_photo(store, number)
        if not yes:
            _must_be_sure(f"Erase photo {number} of run {run} of {trial} for good?")
        done = erasing.erase_photo(store, number, reason=reason, person=person)
    if json_:
        print_json(done.to_json())
    else:
        say(done.summary())


def _must_be_sure(question: str) -> None:
    """Raises UsageError unless somebody types yes."""
    if (ask(f"{question} Type yes: ") or "").strip().casefold() != "yes":
        raise UsageError("Nothing was erased.", where="erase-photo", try_this="--yes, if it is meant")


@people.command("add", epilog=example('crumbwise records people add "Ada" --allergens hazelnut'))
def add(
    name: Annotated[str, typer.Argument(metavar="NAME", help="What the person is called.", show_default=False)],
    number: Annotated[
        int | None, typer.Option(help="Name this nameless person instead of adding one.", show_default=False)
    ] = None,
    allergens: Annotated[str, typer.Option(help="What the person must not taste.", show_default=False)] = "",
    note: Annotated[str, typer.Option(help="Anything else; erased with the name.", show_default=False)] = "",
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Add a person; readings and entries will hold the number only."""
    from tracker.workflow.records import add_person

    with open_store(kitchen) as store:
        line = add_person(store, name, allergens=allergens, note=note, number=number, person=person)
    if json_:
        print_json(line.to_json())
    else:
        say(line.words())


@people.command("list", epilog=example("crumbwise records people list"))
def list_(kitchen: KitchenOption = None, json_: JsonOption = False) -> None:
    """List the people of the kitchen."""
    from tracker.workflow.records import list_people

    with open_store(kitchen) as store:
        lines = list_people(store)
    if json_:
        print_json({"people": [line.to_json() for line in lines]})
    else:
        say("\n".join(line.words() for line in lines))


@people.command("erase", epilog=example('crumbwise records people erase 4 --reason "asked for it"'))
def erase(
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="The person's number.", show_default=False)],
    reason: Annotated[str, typer.Option(help="Why; kept for ever, so without the name.", show_default=False)],
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Erase a person's name and health answers; what the number recorded stays."""
    from tracker.workflow.records import erase_person

    with open_store(kitchen) as store:
        line = erase_person(store, number, reason=reason, person=person)
    if json_:
        print_json(line.to_json())
    else:
        say(line.words())


@people.command("close", epilog=example('crumbwise records people close 4 --reason "works elsewhere now"'))
def close(
    number: Annotated[int, typer.Argument(metavar="NUMBER", help="The person's number.", show_default=False)],
    reason: Annotated[str, typer.Option(help="Why; kept for ever, so without the name.", show_default=False)],
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Close a person's account at the bench: signed out everywhere, their cards void; the name stays."""
    from tracker.workflow.accounts import change_role

    with open_store(kitchen) as store:
        ended = change_role(store, number, "none", reason=reason, by=person)
    if json_:
        print_json({"person": number, "closed": True, "ended": ended.to_json() if ended else None})
    else:
        say(f"The account of person {number} is closed. {ended.words() if ended else ''}")
