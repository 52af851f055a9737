"""How is a spreadsheet analysed without a kitchen?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tracker.commands import GROUPS
from tracker.commands.asking import ResponseOption, asks_how
from tracker.commands.grouped import GroupedCommand
from tracker.commands.report_options import (
    DecimalOption,
    ForOption,
    PaperOption,
    PicturesOption,
    TablesOption,
    TemperatureOption,
    beside_of,
    look_of,
)
from tracker.commands.shell import JsonOption, example, make_app, print_json, say, tell
from tracker.errors import UsageError

if TYPE_CHECKING:
    from tracker.workflow.options import Options

app = make_app(GROUPS["analyse"][1])


@app.command(
    cls=GroupedCommand,
    help=GROUPS["analyse"][1],
    epilog=example(
        'crumbwise analyse rise.csv --response "rise height" --factor soda:amount --block "bake day"',
        "crumbwise analyse mould.csv --kind score --response bad --scale bad:yes-no --weights total --dose salt",
        "crumbwise analyse rise.xlsx --sheet Readings --response rise --dose soda --by acid --report rise.html",
    ),
)
@asks_how(without=("follow",))  # a spreadsheet has no formula
def analyse(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV or XLSX, one row a reading.", show_default=False)],
    *,
    response: ResponseOption = None,
    factor: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME:KIND", help="What was changed: amount, category or share; may be repeated."),
    ] = None,
    block: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Baked under the same conditions; may be repeated.")
    ] = None,
    bake: Annotated[
        str | None, typer.Option(metavar="NAME", help="Names the bake; readings of one bake are averaged.")
    ] = None,
    matters: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME:NUMBER", help="Smallest difference worth acting on, in the response's unit."),
    ] = None,
    scale: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME:SCALE", help='measured, score, count or yes-no; "crumb:score(gummy<fair<fine)" orders words.'
        ),
    ] = None,
    options: Options,
    sheet: Annotated[str | None, typer.Option(metavar="NAME", help="Sheet of a workbook; else the first.")] = None,
    report: Annotated[
        Path | None, typer.Option(metavar="FILE.html|FILE.pdf", help="Write the report here as well.")
    ] = None,
    reader: ForOption = "kitchen",
    decimal: DecimalOption = "point",
    temperature: TemperatureOption = "C",
    paper: PaperOption = "A4",
    pictures: PicturesOption = None,
    tables: TablesOption = None,
    json_: JsonOption = False,
) -> None:
    from tracker.workflow.analysing import analyse_file
    from tracker.workflow.asking import Columns
    from tracker.workflow.reporting import require_page, write_report

    look, beside = look_of(reader, decimal, temperature), beside_of(pictures, tables, paper)
    if report is not None:
        require_page(report, option="--report")
    elif pictures is not None or tables is not None:
        raise UsageError(
            "Pictures and tables are those of a report.", where="--report", try_this="--report report.html"
        )
    columns = Columns(
        responses=tuple(response or ()),
        factors=tuple(factor or ()),
        blocks=tuple(block or ()),
        bake=bake,
        matters=tuple(matters or ()),
        scales=tuple(scale or ()),
    )
    answer = analyse_file(file, columns=columns, options=options, sheet=sheet)
    written = write_report(answer, report, look=look, beside=beside) if report is not None else None
    for remark in answer.remarks:
        tell(f"Note: {remark}")
    if json_:
        print_json(answer.to_json())
    else:
        say(answer.summary().rstrip("\n"))
    if written is not None:
        tell(f"Report: {written.report}")
