"""Which alarms stand, what caused them, and what was done?"""

from __future__ import annotations

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
)

app = make_app("")

ProductArgument = Annotated[str, typer.Argument(metavar="PRODUCT", help="Name of the product.", show_default=False)]


@app.command(epilog=example('crumbwise batch alarms "pass scones" --open'))
def alarms(
    product: ProductArgument,
    open_: Annotated[bool, typer.Option("--open", help="Those without a cause only.")] = False,
    withdrawn: Annotated[bool, typer.Option("--withdrawn", help="Those that were withdrawn as well.")] = False,
    response: Annotated[str | None, typer.Option(metavar="NAME", help="Those of this response only.")] = None,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """List the alarms of a product and what became of each."""
    from tracker.workflow.alarms import alarms_text, list_alarms

    with open_store(kitchen) as store:
        lines = list_alarms(store, product, open_only=open_, response=response, withdrawn=withdrawn)
    if json_:
        print_json({"product": product, "alarms": [line.to_json() for line in lines]})
        return
    say(alarms_text(lines) or ("No alarm is open." if open_ else "No alarm stands."))


@app.command(
    epilog=example(
        'crumbwise batch answer "pass scones" 3-9 --cause "powder open too long" --action "new lot opened"',
        'crumbwise batch answer "pass scones" 5',
    )
)
def answer(
    product: ProductArgument,
    numbers: Annotated[
        list[str], typer.Argument(metavar="ALARM", help="Numbers of alarms, as 7 or 7-12.", show_default=False)
    ],
    cause: Annotated[str, typer.Option(help="What caused it; without it the alarm is acknowledged.")] = "",
    action: Annotated[str, typer.Option(help="What was done about it.")] = "",
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Say what caused alarms and what was done, or acknowledge that they were seen."""
    from tracker.workflow.alarms import alarms_text, answer_alarms, read_numbers

    with open_store(kitchen) as store:
        lines = answer_alarms(store, product, read_numbers(numbers), cause=cause, action=action, person=person)
    if json_:
        print_json({"product": product, "alarms": [line.to_json() for line in lines]})
        return
    say(alarms_text(lines))


@app.command(epilog=example('crumbwise batch causes "pass scones"'))
def causes(product: ProductArgument, kitchen: KitchenOption = None, json_: JsonOption = False) -> None:
    """Count how often each cause was behind an alarm, the most frequent first."""
    from tracker.workflow.alarms import causes_of

    with open_store(kitchen) as store:
        found = causes_of(store, product)
    if json_:
        print_json({"product": product, **found.to_json()})
    else:
        say(found.summary())
