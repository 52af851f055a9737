"""How does a season's spreadsheet come into the log, and go out again?"""

from __future__ import annotations

from typing import Annotated

import typer

from tracker.commands.batch_log import ProductArgument
from tracker.commands.shell import (
    DryRunOption,
    JsonOption,
    KitchenOption,
    PersonOption,
    example,
    make_app,
    open_store,
    print_json,
    say,
    tell,
)
from tracker.errors import UsageError

app = make_app("")


@app.command(
    "import",
    epilog=example(
        'crumbwise batch import "pass scones" spring.xlsx --dry-run',
        'crumbwise batch import "pass scones" spring.xlsx --map "Height=rise height" --map "weather=-"',
        'crumbwise batch import "pass scones" spring.xlsx --undo --reason "the wrong season"',
    ),
)
def import_(
    product: ProductArgument,
    file: Annotated[
        str,
        typer.Argument(metavar="FILE", help="A CSV or XLSX, a row for each piece or reading.", show_default=False),
    ],
    sheet: Annotated[str | None, typer.Option(metavar="NAME", help="Which sheet of a workbook.")] = None,
    map_: Annotated[
        list[str] | None,
        typer.Option("--map", metavar="COLUMN=PART", help='What a column holds; "-" leaves it out. May be repeated.'),
    ] = None,
    undo: Annotated[bool, typer.Option("--undo", help="Take back what this file brought; needs --reason.")] = False,
    reason: Annotated[str, typer.Option(help="Why it is undone.")] = "",
    dry_run: DryRunOption = False,
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Bring a season's spreadsheet into the log, all of it or nothing, or take it back."""
    from tracker.workflow.batch_import import import_batches, undo_import

    if undo and (map_ or sheet or dry_run):
        raise UsageError("--undo needs a reason and nothing else.", where="batch import", try_this="--undo --reason …")
    with open_store(kitchen) as store:
        if undo:
            gone = undo_import(store, product, file, reason=reason, person=person)
            if json_:
                print_json(gone.to_json())
            else:
                say(gone.summary())
            return
        preview = import_batches(store, product, file, sheet=sheet, mapping=map_ or (), dry_run=dry_run, person=person)
    for notice in preview.notices:
        tell(f"Note: {notice}")
    if json_:
        print_json(preview.to_json())
    else:
        say(preview.summary())
    if preview.errors:
        raise typer.Exit(3)
