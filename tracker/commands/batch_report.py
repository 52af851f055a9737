"""How did the batches of a day, a week or a month turn out?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tracker.commands.report_options import DecimalOption, PaperOption, beside_of, look_of
from tracker.commands.shell import JsonOption, KitchenOption, example, make_app, open_store, print_json, say, tell

app = make_app("")


@app.command(
    epilog=example(
        'crumbwise --kitchen crumbwise-demo/kitchen.db batch report "pass scones" --month 2026-04 --out april.html',
        'crumbwise --kitchen crumbwise-demo/kitchen.db batch report "pass scones" --day last',
        "crumbwise --kitchen crumbwise-demo/kitchen.db batch report --week last --out week.pdf",
    )
)
def report(
    product: Annotated[
        str | None, typer.Argument(metavar="[PRODUCT]", help="A product; without one all of them on a page.")
    ] = None,
    *,
    day: Annotated[str | None, typer.Option(metavar="DATE", help='A date, or "last" for the latest batch.')] = None,
    week: Annotated[str | None, typer.Option(metavar="DATE", help="The week, from Monday on, that holds it.")] = None,
    month: Annotated[str | None, typer.Option(metavar="YYYY-MM", help="A month.")] = None,
    out: Annotated[Path | None, typer.Option(metavar="FILE.html|FILE.pdf", help="Write the page here.")] = None,
    decimal: DecimalOption = "point",
    paper: PaperOption = "A4",
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Say whether the batches are what they were and what was promised, and what to do."""
    from tracker.workflow.batch_reporting import report_batches, report_products, write_batches
    from tracker.workflow.reporting import require_page

    look, beside = look_of("kitchen", decimal, "C"), beside_of(None, None, paper)
    if out is not None:
        require_page(out)
    with open_store(kitchen) as store, look.writing():
        found = (
            report_products(store, day=day, week=week, month=month, look=look)
            if product is None
            else report_batches(store, product, day=day, week=week, month=month, look=look)
        )
    if out is not None:
        write_batches(found, out, look=look, beside=beside)
    if json_:
        print_json(found.to_json())
    else:
        say(found.summary)
    if out is not None:
        tell(f"Report: {out}")
