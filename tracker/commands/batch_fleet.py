"""Which product lines of all sites need eyes, and how do readings get there?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tracker.commands.shell import JsonOption, example, make_app, print_json, say, tell

app = make_app("")


@app.command(
    epilog=example(
        "crumbwise batch export --parquet readings",
        "crumbwise batch fleet readings",
        "crumbwise batch fleet readings --engine pyspark://local --out lines.csv",
    )
)
def fleet(
    folder: Annotated[
        str,
        typer.Argument(
            metavar="FOLDER", help="Readings as Parquet; or what the engine calls them.", show_default=False
        ),
    ],
    engine: Annotated[
        str | None,
        typer.Option(
            metavar="duckdb|URL",
            help="Where to work it out: embedded, or a cluster, as pyspark://HOST:7077.",
            show_default="embedded",
        ),
    ] = None,
    rule: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help='Rule to use instead of the usual two; may be repeated; "all" for all.'),
    ] = None,
    spec: Annotated[
        Path | None,
        typer.Option(metavar="FILE.csv", help="Specifications: product, response, lower, upper; else those exported."),
    ] = None,
    lower_spec: Annotated[
        float | None, typer.Option(metavar="NUMBER", help="Least that is accepted, any line.")
    ] = None,
    upper_spec: Annotated[float | None, typer.Option(metavar="NUMBER", help="Most that is accepted, any line.")] = None,
    recent: Annotated[int, typer.Option(min=1, metavar="N", help="An alarm in the newest N batches needs eyes.")] = 20,
    shown: Annotated[int, typer.Option("--show", min=1, metavar="N", help="How many lines to name.")] = 10,
    out: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write all lines, as .csv or .parquet.", show_default=False)
    ] = None,
    alarms: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write every alarm, as .csv or .parquet.", show_default=False)
    ] = None,
    json_: JsonOption = False,
) -> None:
    """Judge very many product lines at once: limits, alarms, specifications; the worst first."""
    from tracker.workflow.chart_wishes import rules_asked
    from tracker.workflow.fleet import FleetAsked, look_over, write_alarms, write_lines
    from tracker.workflow.fleet_specifications import specifications_for

    asked = FleetAsked(
        place=folder,
        engine=engine,
        rules=rules_asked(rule or ()),
        specifications=specifications_for(folder, file=spec, lower=lower_spec, upper=upper_spec),
        recent=recent,
    )
    answer = look_over(asked)
    if out is not None:
        tell(f"Lines written: {write_lines(answer, out)}")
    if alarms is not None:
        tell(f"Alarms written: {write_alarms(asked, alarms)}")
    if json_:
        print_json(answer.to_json())
    else:
        say(answer.summary(shown))
