"""Which limits hold, from which batch on, and how are new ones frozen?"""

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
    tell,
)

app = make_app("")


@app.command(
    epilog=example(
        'crumbwise batch limits "pass scones" --response "rise height" --from 260302-1 --to 260316-2 '
        '--reason "calm weeks"',
        'crumbwise batch limits "pass scones"',
    )
)
def limits(
    product: Annotated[str, typer.Argument(metavar="PRODUCT", help="Name of the product.", show_default=False)],
    response: Annotated[str | None, typer.Option(metavar="NAME", help="What was measured.")] = None,
    first: Annotated[str | None, typer.Option("--from", metavar="BATCH", help="First batch of the new phase.")] = None,
    last: Annotated[
        str | None, typer.Option("--to", metavar="BATCH", help="Last batch the limits are made from.")
    ] = None,
    without: Annotated[
        list[str] | None, typer.Option(metavar="BATCH", help="Left out, since its cause is known; may be repeated.")
    ] = None,
    kind: Annotated[str, typer.Option(help="auto, individuals, between, range, sd; counts for counts.")] = "auto",
    rule: Annotated[list[str] | None, typer.Option(metavar="RULE", help="A rule to judge by; may be repeated.")] = None,
    reason: Annotated[str, typer.Option(help="Why these limits hold; with it they are frozen.")] = "",
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Freeze limits as a new phase, or show the phases when no reason is given."""
    from tracker.workflow.phases import freeze_limits, list_phases

    with open_store(kitchen) as store:
        if not (reason or first or last or without):
            views = list_phases(store, product, response)
            if json_:
                print_json({"product": product, "phases": [view.to_json() for view in views]})
                return
            for view in views:
                say(view.words())
            if not views:
                named = f'"{response}"' if response else "NAME"
                tell(
                    f'No limits are frozen yet. Try: crumbwise batch limits "{product}" --response {named} '
                    '--from FIRST --to LAST --reason "…"'
                )
            return
        frozen = freeze_limits(
            store,
            product,
            response,
            first=first,
            last=last,
            reason=reason,
            kind=kind,
            rules=rule or (),
            without=without or (),
            person=person,
        )
    if json_:
        print_json({"product": product, **frozen.to_json()})
    else:
        say(frozen.summary())
