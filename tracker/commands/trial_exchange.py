"""How do spreadsheets come into a trial, and out of it?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tracker.commands.shell import (
    DryRunOption,
    JsonOption,
    KitchenOption,
    PersonOption,
    example,
    make_app,
    open_store,
    open_store_if_there,
    print_json,
    say,
    tell,
)
from tracker.errors import UsageError

app = make_app("")

TrialArgument = Annotated[str, typer.Argument(metavar="TRIAL", help="Name of the trial.", show_default=False)]


@app.command(
    "import",
    epilog=example(
        'crumbwise trial import soda readings.csv --map "height=rise height" --dry-run',
        "crumbwise trial import soda readings.xlsx --sheet Monday",
        "crumbwise trial import cake cake.csv --new --factor recipe:category --factor temperature:amount "
        "--response angle --block replicate",
    ),
)
def import_(
    trial: TrialArgument,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A CSV or XLSX file.", show_default=False)],
    map_: Annotated[
        list[str] | None,
        typer.Option("--map", metavar="COLUMN=FIELD", help='Which column is what; "COLUMN=-" leaves one out.'),
    ] = None,
    sheet: Annotated[str | None, typer.Option(metavar="NAME", help="Sheet of a workbook; else the first.")] = None,
    new: Annotated[bool, typer.Option("--new", help="Make a new trial of a finished one.")] = False,
    factor: Annotated[
        list[str] | None, typer.Option(metavar="NAME:KIND", help="With --new: what was changed; may be repeated.")
    ] = None,
    response: Annotated[
        list[str] | None, typer.Option(metavar="NAME:SCALE", help="With --new: what was measured; may be repeated.")
    ] = None,
    block: Annotated[str | None, typer.Option(metavar="NAME", help="With --new: same conditions.")] = None,
    group: Annotated[str | None, typer.Option(metavar="A+B", help="With --new: bakes that share an error.")] = None,
    bake: Annotated[
        str | None, typer.Option(metavar="A+B", help="With --new: names the bake; each row is one when left out.")
    ] = None,
    reason: Annotated[str, typer.Option(help="Why unlikely values are kept.")] = "",
    dry_run: DryRunOption = False,
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Bring a spreadsheet of readings into a planned trial, or (--new) a finished trial into the kitchen."""
    if not new and (factor or response or block or group or bake):
        raise UsageError(
            "--factor, --response, --block, --group and --bake describe a new trial.",
            where="trial import",
            try_this=f'crumbwise trial import "{trial}" {file} --new …',
        )
    if new and map_:
        raise UsageError("--map goes with a planned trial.", where="trial import", try_this="leave --map or --new out")
    from tracker.workflow.exchange import import_readings
    from tracker.workflow.trial_import import Asked, import_trial, preview_trial

    if new:
        asked = Asked(
            factors=tuple(factor or ()),
            responses=tuple(response or ()),
            block=block,
            bake=_names(bake),
            group=_names(group),
        )
        with open_store_if_there(kitchen) as there:
            # First without writing: a file that is wrong must not leave an empty kitchen behind.
            preview = preview_trial(there, trial, file, asked, sheet=sheet)
        if not dry_run:
            with open_store(kitchen, create=True) as store:
                preview = import_trial(store, trial, file, asked, sheet=sheet, person=person)
    else:
        with open_store(kitchen) as store:
            preview = import_readings(
                store, trial, file, sheet=sheet, mapping=map_ or (), person=person, reason=reason, dry_run=dry_run
            )
    for note in preview.notes:
        tell(f"Note: {note}")
    for warning in preview.warnings:
        tell(f"Warning: {warning}")
    if json_:
        print_json(preview.to_json())
    else:
        say(preview.summary())
    if preview.errors:
        raise typer.Exit(3)


@app.command(
    epilog=example(
        "crumbwise trial export soda --out soda.csv",
        "crumbwise trial export soda --out bench.xlsx --blank",
    )
)
def export(
    trial: TrialArgument,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help='A .csv (with a dictionary beside it) or .xlsx; "-" is stdout.')
    ] = None,
    blank: Annotated[bool, typer.Option("--blank", help="Codes and empty columns, to type readings into.")] = False,
    replace: Annotated[bool, typer.Option("--replace", help="Write over a file that is there.")] = False,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Write a trial as a spreadsheet with its data dictionary."""
    from tracker.workflow.exporting import export_table, export_trial
    from tracker.workflow.files import file_name

    with open_store(kitchen) as store:
        if out == Path("-"):
            say(export_table(store, trial, blank=blank).csv().rstrip("\r\n"))
            return
        files = export_trial(store, trial, out or Path(file_name(trial, ".csv")), blank=blank, replace=replace)
    if json_:
        print_json({"trial": trial, "files": [str(file) for file in files]})
    else:
        for file in files:
            say(str(file))


def _names(text: str | None) -> tuple[str, ...]:
    return tuple(part.strip() for part in text.split("+")) if text else ()
