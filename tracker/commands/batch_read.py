"""Which batches of a product were baked, and how does the log leave the kitchen?"""

from __future__ import annotations

from typing import Annotated

import typer

from tracker.commands.shell import JsonOption, KitchenOption, example, make_app, open_store, print_json, say

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


@app.command(epilog=example('crumbwise --kitchen crumbwise-demo/kitchen.db batch export "pass scones" > log.csv'))
def export(product: ProductArgument, kitchen: KitchenOption = None) -> None:
    """Write one CSV row for each reading on stdout, in order of baking."""
    from tracker.workflow.batches import batch_table, list_batches

    with open_store(kitchen) as store:
        lines = list_batches(store, product)
    say(batch_table(product, lines).csv().replace("\r\n", "\n").rstrip("\n"))
