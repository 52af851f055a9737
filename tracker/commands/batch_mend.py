"""How is a batch put right, looked at whole, and decided about? When did its lots come in?"""

from __future__ import annotations

from typing import Annotated

import typer

from tracker.commands.batch_log import LotOption, NumberArgument, ProductArgument, show_verdict
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
from tracker.errors import UsageError

app = make_app("")
lot = make_app("Say when lots came in and were opened; list which batches each went into.")
app.add_typer(lot, name="lot")


@app.command(
    epilog=example(
        'crumbwise batch correct "pass scones" 121 --oven lower --reason "oven typed wrong"',
        'crumbwise batch correct "pass scones" 121 --piece 2 --reading "rise height=41.8" --reason "digits swapped"',
        'crumbwise batch correct "pass scones" 121 --void --reason "logged twice"',
    )
)
def correct(
    product: ProductArgument,
    number: NumberArgument,
    at: Annotated[str | None, typer.Option(metavar="TIME", help="When it was baked.")] = None,
    line: Annotated[str | None, typer.Option(help="Production line.")] = None,
    oven: Annotated[str | None, typer.Option(help="Oven.")] = None,
    shift: Annotated[str | None, typer.Option(help="Shift.")] = None,
    lot: LotOption = None,
    reading: Annotated[
        list[str] | None, typer.Option(metavar="NAME=VALUES", help="All readings of a response anew; may be repeated.")
    ] = None,
    piece: Annotated[int | None, typer.Option(min=1, help="The one piece that is meant.")] = None,
    take_back: Annotated[
        list[str] | None, typer.Option("--take-back", metavar="NAME", help="Readings that count no longer.")
    ] = None,
    void: Annotated[bool, typer.Option("--void", help="Take the whole batch back.")] = False,
    unvoid: Annotated[bool, typer.Option("--unvoid", help="Let a batch that was taken back stand again.")] = False,
    reason: Annotated[str, typer.Option(help="Why; always needed.")] = "",
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Put right what was typed wrong, as a new entry with a reason; the batch is judged anew."""
    from tracker.workflow.correcting_batches import Mended, correct_batch

    if void and unvoid:
        raise UsageError("A batch cannot be taken back and stand.", where="batch correct", try_this="one of them")
    mended = Mended(
        at=at,
        line=line,
        oven=oven,
        shift=shift,
        lots=tuple(lot or ()),
        readings=tuple(reading or ()),
        piece=piece,
        take_back=tuple(take_back or ()),
        void=True if void else False if unvoid else None,
    )
    with open_store(kitchen) as store:
        verdict = correct_batch(store, product, number, mended, reason=reason, person=person)
    show_verdict(verdict, json_)


@app.command(
    epilog=example(
        'crumbwise batch verdict "pass scones" 121',
        'crumbwise batch verdict "pass scones" 121 --hold --reason "one piece is too low; second check"',
    )
)
def verdict(
    product: ProductArgument,
    number: NumberArgument,
    accept: Annotated[bool, typer.Option("--accept", help="It may go out.")] = False,
    hold: Annotated[bool, typer.Option("--hold", help="It waits.")] = False,
    reject: Annotated[bool, typer.Option("--reject", help="It may not go out.")] = False,
    by_rule: Annotated[bool, typer.Option("--by-rule", help="What the product's rules say.")] = False,
    reason: Annotated[str, typer.Option(help="Why it was decided so.")] = "",
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Say what a batch is, and decide about it: accept, hold or reject, with a reason."""
    from tracker.workflow.dispositions import batch_story, decide

    ways = (("accept", accept), ("hold", hold), ("reject", reject), ("by rule", by_rule))
    chosen = [name for name, asked in ways if asked]
    if len(chosen) > 1:
        raise UsageError(f"A batch is {' or '.join(chosen)}, not both.", where="batch verdict", try_this="one of them")
    if reason and not chosen:
        raise UsageError("A reason of what?", where="batch verdict", try_this="--accept, --hold or --reject as well")
    with open_store(kitchen) as store:
        if chosen:
            story = decide(store, product, number, chosen[0], reason=reason, person=person)
        else:
            story = batch_story(store, product, number)
    if json_:
        print_json(story.to_json())
    else:
        say(story.summary())


@lot.command(
    "add", epilog=example('crumbwise batch lot add "baking powder=P-10" --received 2026-11-20 --opened 2026-11-26')
)
def add_lot(
    text: Annotated[str, typer.Argument(metavar="INGREDIENT=CODE", help="The lot.", show_default=False)],
    received: Annotated[str | None, typer.Option(metavar="DAY", help="When it came in.")] = None,
    opened: Annotated[str | None, typer.Option(metavar="DAY", help="When it was opened.")] = None,
    reason: Annotated[str, typer.Option(help="Why another day than stands.")] = "",
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Enter a lot with the days it came in and was opened."""
    from tracker.workflow.lots import add_lot as enter_lot

    with open_store(kitchen) as store:
        line = enter_lot(store, text, received=received, opened=opened, reason=reason, person=person)
    if json_:
        print_json(line.to_json())
    else:
        say(line.words())


@lot.command("list", epilog=example("crumbwise batch lot list", 'crumbwise batch lot list "baking powder"'))
def list_lots(
    ingredient: Annotated[str | None, typer.Argument(metavar="[INGREDIENT]", help="Of this ingredient only.")] = None,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """List lots with their days and the batches each went into."""
    from tracker.workflow.lots import list_lots as every_lot

    with open_store(kitchen) as store:
        lines = every_lot(store, ingredient)
    if json_:
        print_json({"lots": [line.to_json() for line in lines]})
        return
    for line in lines:
        say(line.words())
    if not lines:
        tell('No lot yet. Try: crumbwise batch lot add "flour=F-341" --received 2026-11-20')
