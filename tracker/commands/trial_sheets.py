"""What goes to the bench on paper?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tracker.commands.report_options import DecimalOption, TemperatureOption, look_of
from tracker.commands.shell import JsonOption, KitchenOption, example, make_app, open_store, print_json, say

app = make_app("What goes to the bench on paper.")


@app.command(
    epilog=example(
        "crumbwise trial sheet soda --out sheet.html",
        "crumbwise trial sheet soda --labels labels.html --weighing weighing.html --oven oven.html",
        "crumbwise trial sheet soda --decimal comma --temperature F",
    )
)
def sheet(
    trial: Annotated[str, typer.Argument(metavar="TRIAL", help="Name of the trial.", show_default=False)],
    out: Annotated[Path, typer.Option(metavar="FILE", help="Where to write the sheet (HTML).")] = Path("sheet.html"),
    labels: Annotated[Path | None, typer.Option(metavar="FILE", help="Code labels to cut.")] = None,
    weighing: Annotated[Path | None, typer.Option(metavar="FILE", help="Weighing list for the day.")] = None,
    oven: Annotated[Path | None, typer.Option(metavar="FILE", help="Who stands where in the oven.")] = None,
    spare: Annotated[float, typer.Option(metavar="PERCENT", help="To spare on the weighing list.")] = 0.0,
    address: Annotated[
        str, typer.Option(metavar="URL", help="Address of the kitchen's pages, for the printed codes.")
    ] = "",
    decimal: DecimalOption = "point",
    temperature: TemperatureOption = "C",
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Write the bench sheet: what to weigh for each run, in the order of baking; labels and lists beside it."""
    from tracker.workflow.sheets import Papers, write_papers

    look = look_of("kitchen", decimal, temperature)
    papers = Papers(sheet=out, labels=labels, weighing=weighing, oven=oven)
    with open_store(kitchen) as store, look.writing():
        written = write_papers(store, trial, papers, address=address, spare_percent=spare)
    if json_:
        print_json({"trial": trial, **written})
    else:
        say("\n".join(written.values()))
