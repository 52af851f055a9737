"""How does a whole trial go from one kitchen to another?"""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tracker.commands.shell import (
    JsonOption,
    KitchenOption,
    PersonOption,
    example,
    make_app,
    open_store,
    print_json,
    say,
    tell,
)

app = make_app("")


@app.command(epilog=example("crumbwise trial bundle soda --out soda.zip"))
def bundle(
    trial: Annotated[str, typer.Argument(metavar="TRIAL", help="Name of the trial.", show_default=False)],
    out: Annotated[Path | None, typer.Option(metavar="FILE.zip", help="Where to write it; TRIAL.zip here.")] = None,
    replace: Annotated[bool, typer.Option("--replace", help="Write over a file that is there.")] = False,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Write everything of a trial as one open zip: data, plan, formula, report and record."""
    from tracker.workflow.bundling import bundle_trial
    from tracker.workflow.files import file_name

    with open_store(kitchen) as store:
        path = bundle_trial(store, trial, out or Path(file_name(trial, ".zip")), replace=replace)
    if json_:
        print_json({"trial": trial, "bundle": str(path)})
    else:
        say(f"{path}")


@app.command(epilog=example("crumbwise --kitchen other.db trial unpack soda.zip"))
def unpack(
    file: Annotated[Path, typer.Argument(metavar="FILE.zip", help="A bundle of a trial.", show_default=False)],
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Take a trial from another kitchen in, with the content it had there."""
    from tracker.workflow.unpacking import bundle_in, unpack_trial

    bundled = bundle_in(file)  # first: a file that is none must not leave an empty kitchen behind
    with open_store(kitchen, create=True) as store:
        unpacked = unpack_trial(store, bundled, person=person)
    for remark in unpacked.remarks:
        tell(f"Note: {remark}")
    if json_:
        print_json(unpacked.to_json())
    else:
        say(unpacked.summary())
