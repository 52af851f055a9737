"""What do several trials say together?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tracker.commands.option_values import require_share
from tracker.commands.shell import JsonOption, KitchenOption, example, make_app, open_store, print_json, say, tell

app = make_app("")


@app.command(
    epilog=example(
        "crumbwise trial pool soda-spring soda-autumn",
        'crumbwise trial pool soda-spring soda-autumn --response "rise height" --factor soda --report pooled.html',
    )
)
def pool(
    trials: Annotated[
        list[str], typer.Argument(metavar="TRIAL TRIAL …", help="Names of the trials.", show_default=False)
    ],
    response: Annotated[
        list[str] | None, typer.Option(metavar="NAME", help="Only this response; may be repeated.")
    ] = None,
    factor: Annotated[list[str] | None, typer.Option(metavar="NAME", help="Only this factor; may be repeated.")] = None,
    confidence: Annotated[float, typer.Option(metavar="SHARE", help="Confidence of the intervals.")] = 0.95,
    anyway: Annotated[bool, typer.Option("--anyway", help="Pool trials of different formulas as one product.")] = False,
    report: Annotated[Path | None, typer.Option(metavar="FILE.html", help="Write a report here as well.")] = None,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Put the trials of one product together: shared effects, how far trials differ, what was learnt when."""
    from tracker.workflow.pooling import pool_trials, write_pooled_report

    require_share(confidence, "--confidence", "A confidence", such_as=0.95)
    with open_store(kitchen) as store:
        answer = pool_trials(
            store, trials, responses=response or (), factors=factor or (), confidence=confidence, anyway=anyway
        )
    written = write_pooled_report(answer, report) if report is not None else None
    if json_:
        print_json(answer.to_json())
    else:
        say(answer.summary())
    if written is not None:
        tell(f"Report: {written}")
