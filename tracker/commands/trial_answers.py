"""What did a trial say, and what should be baked next?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from tracker.commands.asking import ResponseOption, asks_how
from tracker.commands.grouped import GroupedCommand
from tracker.commands.shell import JsonOption, KitchenOption, example, make_app, open_store, print_json, say, tell

if TYPE_CHECKING:
    from tracker.workflow.options import Options

app = make_app("")

TrialArgument = Annotated[str, typer.Argument(metavar="TRIAL", help="Name of the trial.", show_default=False)]


@app.command(
    cls=GroupedCommand,
    epilog=example("crumbwise trial analyse soda", 'crumbwise trial analyse soda --response "rise height" --json'),
)
@asks_how()
def analyse(
    trial: TrialArgument,
    *,
    response: ResponseOption = None,
    options: Options,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Say which variables matter, by how much, and how sure that is."""
    from tracker.workflow.analysing import analyse_trial

    with open_store(kitchen) as store:
        answer = analyse_trial(store, trial, responses=response or (), options=options)
    for remark in answer.remarks:
        tell(f"Note: {remark}")
    if json_:
        print_json(answer.to_json())
    else:
        say(answer.summary().rstrip("\n"))


@app.command(epilog=example("crumbwise trial balance soda"))
def balance(trial: TrialArgument, kitchen: KitchenOption = None, json_: JsonOption = False) -> None:
    """The acid-base account of every run: gas, soda or acid left over, predicted pH."""
    from tracker.workflow.run_chemistry import trial_balance

    with open_store(kitchen) as store:
        answer = trial_balance(store, trial)
    if json_:
        print_json(answer.document)
    else:
        say(answer.text)


@app.command("next", epilog=example("crumbwise trial next soda"))
def next_(trial: TrialArgument, kitchen: KitchenOption = None, json_: JsonOption = False) -> None:
    """Say what to bake next to settle what is open."""
    from tracker.workflow.next_bakes import next_bakes_of

    with open_store(kitchen) as store:
        proposals = next_bakes_of(store, trial)
    if json_:
        print_json({"trial": trial, "next_bakes": [each.to_json() for each in proposals]})
        return
    for each in proposals:
        say(each.summary())
    if not proposals:
        say("Nothing is left open that more bakes of this trial would settle.")
