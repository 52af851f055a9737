"""How is a trial planned, baked, recorded and read from the command line?"""

from __future__ import annotations

from typing import Annotated

import typer

from tracker.commands import (
    GROUPS,
    trial_answers,
    trial_bundle,
    trial_entries,
    trial_exchange,
    trial_extend,
    trial_plan,
    trial_pool,
    trial_report,
    trial_sheets,
    trial_size,
)
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

app = make_app(GROUPS["trial"][1])

TrialArgument = Annotated[str, typer.Argument(metavar="TRIAL", help="Name of the trial.", show_default=False)]


@app.command("list", epilog=example("crumbwise trial list"))
def list_(kitchen: KitchenOption = None, json_: JsonOption = False) -> None:
    """List the trials of the kitchen."""
    from tracker.workflow.trials import list_trials

    with open_store(kitchen) as store:
        lines = list_trials(store)
    if json_:
        print_json({"trials": [line.to_json() for line in lines]})
        return
    for line in lines:
        say(f"{line.name}  ({line.state}; {line.baked} of {line.runs} runs baked)  {line.title}")
    if not lines:
        tell("No trial yet. Try: crumbwise trial plan PLAN.toml")


@app.command(epilog=example("crumbwise trial show soda"))
def show(trial: TrialArgument, kitchen: KitchenOption = None, json_: JsonOption = False) -> None:
    """Show one trial: its factors, responses and runs, and how far it has come."""
    from tracker.workflow.trials import show_trial

    with open_store(kitchen) as store:
        view = show_trial(store, trial)
    if json_:
        print_json(view.to_json())
    else:
        say(view.summary())


@app.command(epilog=example('crumbwise trial close soda --reason "all runs baked"'))
def close(
    trial: TrialArgument,
    reason: Annotated[str, typer.Option(help="Why it ends here.")] = "",
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Say that no more readings are expected."""
    from tracker.workflow.trials import close_trial

    with open_store(kitchen) as store:
        line = close_trial(store, trial, reason=reason, person=person)
    if json_:
        print_json(line.to_json())
    else:
        say(f'Trial "{line.name}" is {line.state}.')


@app.command(epilog=example('crumbwise trial reopen soda --reason "two runs were forgotten"'))
def reopen(
    trial: TrialArgument,
    reason: Annotated[str, typer.Option(help="Why it is taken up again.", show_default=False)],
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Take a closed trial up again."""
    from tracker.workflow.trials import reopen_trial

    with open_store(kitchen) as store:
        line = reopen_trial(store, trial, reason=reason, person=person)
    if json_:
        print_json(line.to_json())
    else:
        say(f'Trial "{line.name}" is {line.state}.')


# Without a name their commands stand beside the ones above.
app.add_typer(trial_plan.app)
app.add_typer(trial_entries.app)
app.add_typer(trial_extend.app)
app.add_typer(trial_size.app)
app.add_typer(trial_sheets.app)
app.add_typer(trial_exchange.app)
app.add_typer(trial_answers.app)
app.add_typer(trial_report.app)
app.add_typer(trial_pool.app)
app.add_typer(trial_bundle.app)
