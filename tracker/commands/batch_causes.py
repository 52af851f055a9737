"""Why did the batches of a product change?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tracker.commands.shell import JsonOption, KitchenOption, example, make_app, open_store, print_json, say, tell

app = make_app("")


@app.command(
    epilog=example(
        'crumbwise --kitchen crumbwise-demo/kitchen.db batch why "pass scones"',
        'crumbwise batch why log.xlsx --response "rise height" --json',
    )
)
def why(
    product_or_file: Annotated[
        str,
        typer.Argument(
            metavar="PRODUCT|FILE", help="A product, or a CSV or XLSX with a row a reading.", show_default=False
        ),
    ],
    response: Annotated[
        str | None, typer.Option(metavar="NAME", help="What was measured; else the first that was logged.")
    ] = None,
    sheet: Annotated[str | None, typer.Option(metavar="NAME", help="Sheet of a workbook; else the first.")] = None,
    seed: Annotated[int, typer.Option(metavar="NUMBER", min=0, help="Seed of the reshuffled logs.")] = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Say when the level changed, by how much, and which lot, oven or shift goes with it."""
    from tracker.workflow.causes import why_file, why_product
    from tracker.workflow.charting import is_file

    if is_file(product_or_file):
        answer = why_file(Path(product_or_file), response=response, sheet=sheet, seed=seed)
    else:
        with open_store(kitchen) as store:
            answer = why_product(store, product_or_file, response=response, seed=seed)
    for remark in answer.remarks:
        tell(f"Note: {remark}")
    if json_:
        print_json(answer.to_json())
    else:
        say(answer.summary())
