"""How does a technician log a batch and see its verdict, or mend what was typed wrong?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

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

if TYPE_CHECKING:
    from tracker.workflow.verdicts import BatchVerdict

app = make_app("")

ProductArgument = Annotated[str, typer.Argument(metavar="PRODUCT", help="Name of the product.", show_default=False)]
NumberArgument = Annotated[str, typer.Argument(metavar="NUMBER", help="Number of the batch.", show_default=False)]
ReadingOption = Annotated[
    list[str] | None,
    typer.Option(metavar="NAME=VALUES", help="What was read, piece by piece; a count as 3/40. May be repeated."),
]
LotOption = Annotated[
    list[str] | None, typer.Option(metavar="INGREDIENT=CODE", help="A lot that went in; may be repeated.")
]


@app.command(
    epilog=example(
        'crumbwise batch log "pass scones" 121 --oven upper --shift early --lot "flour=F-341" '
        '--lot "baking powder=P-10" --reading "rise height=43.1, 42.8"',
        'crumbwise batch log "pass scones" 121 --more --reading "crumb pH=7.1"',
    )
)
def log(
    product: ProductArgument,
    number: NumberArgument,
    at: Annotated[str | None, typer.Option(metavar="TIME", help="When it was baked; now when left out.")] = None,
    line: Annotated[str, typer.Option(help="Production line.")] = "",
    oven: Annotated[str, typer.Option(help="Oven.")] = "",
    shift: Annotated[str, typer.Option(help="Shift.")] = "",
    lot: LotOption = None,
    reading: ReadingOption = None,
    more: Annotated[bool, typer.Option("--more", help="Add readings to a batch that is in the log.")] = False,
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Log one batch and say at once whether it is as usual, and whether it meets its specification."""
    from tracker.workflow.quick_entry import add_readings, log_batch

    with open_store(kitchen) as store:
        if more:
            verdict = add_readings(store, product, number, reading or (), person=person)
        else:
            verdict = log_batch(
                store,
                product,
                number,
                at=at,
                line=line,
                oven=oven,
                shift=shift,
                lots=lot or (),
                readings=reading or (),
                person=person,
            )
    show_verdict(verdict, json_)


def show_verdict(verdict: BatchVerdict, json_: bool) -> None:
    """A batch and what is said of it; what needs a look on stderr."""
    for notice in verdict.notices:
        tell(f"Note: {notice}")
    if json_:
        print_json(verdict.to_json())
    else:
        say(verdict.summary())
