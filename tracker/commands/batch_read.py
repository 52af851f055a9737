"""Which batches of a product were baked, and how does the log leave the kitchen?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tracker.commands.shell import (
    JsonOption,
    KitchenOption,
    example,
    make_app,
    open_store,
    print_json,
    say,
    tell,
)
from tracker.errors import UsageError

app = make_app("")

ProductArgument = Annotated[str, typer.Argument(metavar="PRODUCT", help="Name of the product.", show_default=False)]


@app.command("list", epilog=example('crumbwise --kitchen crumbwise-demo/kitchen.db batch list "pass scones"'))
def list_(
    product: ProductArgument,
    void: Annotated[bool, typer.Option("--void", help="Those that were taken back as well.")] = False,
    kitchen: KitchenOption = None,
    as_json: JsonOption = False,
) -> None:
    """List the batches of a product in order of baking, with their lots."""
    from tracker.workflow.batches import list_batches

    with open_store(kitchen) as store:
        lines = list_batches(store, product, void=void)
    if as_json:
        print_json({"schema_version": 1, "product": product, "batches": [line.to_json() for line in lines]})
        return
    for line in lines:
        say(line.words())


@app.command(epilog=example('crumbwise --kitchen crumbwise-demo/kitchen.db batch show "pass scones" 260302-1'))
def show(
    product: ProductArgument,
    number: Annotated[str, typer.Argument(metavar="NUMBER", help="Number of the batch.", show_default=False)],
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Show one batch: lots with their age, every reading, what was changed and decided."""
    from tracker.workflow.batches import show_batch

    with open_store(kitchen) as store:
        line = show_batch(store, product, number)
    if json_:
        print_json(line.to_json())
    else:
        say(line.summary())


@app.command(
    epilog=example(
        'crumbwise --kitchen crumbwise-demo/kitchen.db batch export "pass scones" > log.csv',
        "crumbwise --kitchen crumbwise-demo/kitchen.db batch export --parquet readings --site north",
    )
)
def export(
    product: Annotated[
        str, typer.Argument(metavar="[PRODUCT]", help="Name of the product; with --parquet all, if none is named.")
    ] = "",
    parquet: Annotated[
        Path | None,
        typer.Option(metavar="FOLDER", help="Write Parquet for batch fleet there instead.", show_default=False),
    ] = None,
    site: Annotated[
        str | None, typer.Option(metavar="NAME", help="Whose readings these are.", show_default="the kitchen's name")
    ] = None,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Write the readings: one CSV row each on stdout, or this site's part of a folder of Parquet."""
    if parquet is not None:
        _export_parquet(kitchen, parquet, product or None, site, json_)
        return
    if not product:
        raise UsageError(
            "Which product?", where="batch export", try_this="name one, or write all with --parquet FOLDER"
        )
    from tracker.workflow.batches import batch_table, list_batches

    with open_store(kitchen) as store:
        lines = list_batches(store, product)
    if json_:
        print_json({"schema_version": 1, "product": product, "batches": [line.to_json() for line in lines]})
        return
    say(batch_table(product, lines).csv().replace("\r\n", "\n").rstrip("\n"))


def _export_parquet(kitchen: str | None, folder: Path, product: str | None, site: str | None, as_json: bool) -> None:
    from tracker.workflow.batch_parquet import export_parquet

    with open_store(kitchen) as store:
        written = export_parquet(store, folder, product=product, site=site)
    for response in written.left_out:
        tell(f"Note: {response} is counted, not measured, and was left out.")
    if as_json:
        print_json(written.to_json())
    else:
        say(written.summary())
