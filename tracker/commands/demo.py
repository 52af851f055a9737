"""Build the demo kitchen."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tracker.commands import GROUPS
from tracker.commands.shell import JsonOption, example, make_app, print_json, progress, say, tell

app = make_app(GROUPS["demo"][1])


@app.command(epilog=example("crumbwise demo", "crumbwise demo my-demo --seed 7 --json"))
def demo(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where to build it.")] = Path("crumbwise-demo"),
    again: Annotated[bool, typer.Option("--again", help="Build it anew where a demo stands already.")] = False,
    seed: Annotated[int | None, typer.Option(min=0, help="Draw other readings from the same truth.")] = None,
    as_json: JsonOption = False,
) -> None:
    """Build the demo kitchen, analyse it and write its reports and bench sheets."""
    tell("Building the demo kitchen ...")
    from tracker.workflow.demo import STEPS, build_demo

    with progress("demo", STEPS) as step:
        built = build_demo(folder, again=again, seed=seed, step=step)
    if as_json:
        print_json(built.to_json())
    else:
        say(built.summary())
