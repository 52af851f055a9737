"""Is a product still doing what it always did, and which batches stood out?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tracker.commands.option_values import require_known
from tracker.commands.report_options import DecimalOption, PaperOption, beside_of, look_of
from tracker.commands.shell import JsonOption, KitchenOption, example, make_app, open_store, print_json, say, tell
from tracker.errors import UsageError

app = make_app("")


@app.command(
    epilog=example(
        'crumbwise batch chart "pass scones" --response "rise height"',
        "crumbwise batch chart --list-rules",
        'crumbwise batch chart log.xlsx --response "piece weight" --kind range --lower-spec 245 --upper-spec 255',
        'crumbwise batch chart log.csv --response "piece weight" --report chart.html',
    )
)
def chart(
    product_or_file: Annotated[
        str | None,
        typer.Argument(
            metavar="PRODUCT|FILE", help="A product, or a CSV or XLSX with a row a reading.", show_default=False
        ),
    ] = None,
    response: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="What was measured; may be repeated.")
    ] = None,
    kind: Annotated[
        str,
        typer.Option(
            metavar="KIND",
            help="auto, individuals, range, sd, between, weighted, sums, counts, several, dependent, skewed.",
        ),
    ] = "auto",
    rule: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help='Rule to use instead of the usual two; may be repeated; "all" for all.'),
    ] = None,
    list_rules: Annotated[
        bool, typer.Option("--list-rules", help="List the rules with what they cost in false alarms.")
    ] = False,
    lower_spec: Annotated[float | None, typer.Option(metavar="NUMBER", help="Least that is accepted.")] = None,
    upper_spec: Annotated[float | None, typer.Option(metavar="NUMBER", help="Most that is accepted.")] = None,
    target: Annotated[float | None, typer.Option(metavar="NUMBER", help="What is aimed at.")] = None,
    size: Annotated[str | None, typer.Option(metavar="NAME", help="Column out of how many each count was.")] = None,
    of: Annotated[
        str, typer.Option(metavar="pieces|places", help="A piece is or is not so, or may have several places.")
    ] = "pieces",
    setting: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME=VALUE", help='What a kind takes, as "last=B-25" or "weight=0.2"; may be repeated.'),
    ] = None,
    sheet: Annotated[str | None, typer.Option(metavar="NAME", help="Sheet of a workbook; else the first.")] = None,
    report: Annotated[
        Path | None, typer.Option(metavar="FILE.html|FILE.pdf", help="Write a report here as well.")
    ] = None,
    decimal: DecimalOption = "point",
    paper: PaperOption = "A4",
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Say whether batches are stable: limits, and which batches raised which rule."""
    from tracker.workflow.chart_report import chart_command, write_charts
    from tracker.workflow.chart_wishes import OF, Chosen, kind_asked, rules_asked, settings_asked
    from tracker.workflow.charting import chart_file, chart_product, is_file
    from tracker.workflow.provenance import is_invented
    from tracker.workflow.reporting import require_page

    if list_rules:
        _list_rules(json_)
        return
    if product_or_file is None:
        raise UsageError(
            "Neither a product nor a file was named.",
            where="batch chart",
            try_this='crumbwise batch chart "pass scones"',
        )
    require_known(of, OF, "--of", "kind of count")
    look, beside = look_of("kitchen", decimal, "C"), beside_of(None, None, paper)
    if report is not None:
        require_page(report, option="--report")
    chosen = Chosen(
        kind=kind_asked(kind),
        rules=rules_asked(rule or ()),
        lower=lower_spec,
        upper=upper_spec,
        target=target,
        size=size,
        of=of,
        settings=settings_asked(setting or (), kind),
    )
    invented = False
    if is_file(product_or_file):
        answer = chart_file(Path(product_or_file), responses=response or (), chosen=chosen, sheet=sheet)
    else:
        with open_store(kitchen) as store:
            answer = chart_product(store, product_or_file, responses=response or (), chosen=chosen)
            invented = is_invented(store)
    for note in answer.notes():
        tell(f"Note: {note}")
    if json_:
        print_json(answer.to_json())
    else:
        with look.writing():
            say(answer.summary())
    if report is not None:
        command = chart_command(product_or_file, response or (), chosen, sheet=sheet)
        write_charts(answer, report, command=command, look=look, beside=beside, invented=invented)
        tell(f"Report: {report}")


def _list_rules(json_: bool) -> None:
    from tracker.workflow.chart_wishes import list_rules

    found = list_rules()
    if json_:
        print_json({"schema_version": "1.0", "rules": [each.to_json() for each in found]})
        return
    for each in found:
        say(f"{each.rule}\n    {each.words}\n    {each.cost}")
