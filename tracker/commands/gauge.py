"""How good is the measuring itself?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tracker.commands import GROUPS
from tracker.commands.report_options import DecimalOption, PaperOption, beside_of, look_of
from tracker.commands.shell import JsonOption, example, make_app, print_json, say, tell

app = make_app(GROUPS["gauge"][1])


@app.callback()
def main() -> None:
    pass  # keeps "analyse" a command of its own


@app.command(
    epilog=example(
        'crumbwise gauge analyse heights.csv --response "rise height" --person baker --piece loaf --tolerance 8',
        "crumbwise gauge analyse slices.csv --nested --lower-spec 40 --upper-spec 48 --report gauge.html",
    )
)
def analyse(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="CSV or XLSX, one row a reading.", show_default=False)],
    *,
    response: Annotated[str | None, typer.Option(metavar="COL", help="Column of the readings.")] = None,
    person: Annotated[str | None, typer.Option(metavar="COL", help="Column that names who read.")] = None,
    piece: Annotated[str | None, typer.Option(metavar="COL", help="Column that names what was read.")] = None,
    nested: Annotated[
        bool, typer.Option("--nested", help="Each person had their own pieces, since pieces are cut.")
    ] = False,
    lower_spec: Annotated[
        float | None, typer.Option(metavar="NUMBER", help="Lower limit of the specification.")
    ] = None,
    upper_spec: Annotated[
        float | None, typer.Option(metavar="NUMBER", help="Upper limit of the specification.")
    ] = None,
    tolerance: Annotated[
        float | None, typer.Option(metavar="WIDTH", help="Width that readings may take, in place of both limits.")
    ] = None,
    confidence: Annotated[float, typer.Option(metavar="SHARE", help="Of all intervals.")] = 0.95,
    sheet: Annotated[str | None, typer.Option(metavar="NAME", help="Sheet of a workbook; else the first.")] = None,
    report: Annotated[
        Path | None, typer.Option(metavar="FILE.html|FILE.pdf", help="Write a report here as well.")
    ] = None,
    decimal: DecimalOption = "point",
    paper: PaperOption = "A4",
    json_: JsonOption = False,
) -> None:
    """Say whether the measuring is good enough: people, pieces and repeat readings."""
    from tracker.workflow.gauge import GaugeAsked, analyse_gauge, write_gauge
    from tracker.workflow.reporting import require_page

    look, beside = look_of("kitchen", decimal, "C"), beside_of(None, None, paper)
    if report is not None:
        require_page(report, option="--report")
    asked = GaugeAsked(
        response=response,
        person=person,
        piece=piece,
        nested=nested,
        lower=lower_spec,
        upper=upper_spec,
        tolerance=tolerance,
        confidence=confidence,
        sheet=sheet,
    )
    found = analyse_gauge(file, asked)
    if report is not None:
        write_gauge(found, report, look=look, beside=beside)
    for remark in found.remarks:
        tell(f"Note: {remark}")
    if json_:
        print_json(found.to_json())
    else:
        with look.writing():
            say(found.summary().rstrip("\n"))
    if report is not None:
        tell(f"Report: {report}")
