"""By which rule is a batch accepted, held or rejected, and how often is that wrong?"""

from __future__ import annotations

from typing import Annotated

import typer

from tracker.commands.batch_log import ProductArgument
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


@app.command(
    epilog=example(
        'crumbwise batch rule "pass scones" --pieces 20 --accept 1 --reject 3',
        'crumbwise batch rule "pass scones" --by mean --good 0.01 --bad 0.1 --reason "fewer pieces"',
        'crumbwise batch rule "pass scones"',
    )
)
def rule(
    product: ProductArgument,
    response: Annotated[str | None, typer.Option(metavar="NAME", help="What was measured.")] = None,
    by: Annotated[
        str, typer.Option(help="count: pieces outside; mean: standard deviations from the mean to the nearer bound.")
    ] = "count",
    pieces: Annotated[int | None, typer.Option(metavar="N", help="How many pieces are read of a batch.")] = None,
    accept: Annotated[float | None, typer.Option(metavar="A", help="Accepted up to (mean: from) so much.")] = None,
    reject: Annotated[float | None, typer.Option(metavar="R", help="Rejected from (mean: below) so much.")] = None,
    sigma: Annotated[float | None, typer.Option(help="With mean: the known standard deviation of a piece.")] = None,
    batch_size: Annotated[int | None, typer.Option(metavar="N", help="With count: pieces in a batch.")] = None,
    good: Annotated[float | None, typer.Option(metavar="SHARE", help="Share outside that should pass.")] = None,
    bad: Annotated[float | None, typer.Option(metavar="SHARE", help="Share outside that should not.")] = None,
    end: Annotated[bool, typer.Option("--end", help="No rule from now on; needs --reason.")] = False,
    reason: Annotated[str, typer.Option(help="Why it is another rule; needed when one holds.")] = "",
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Set the rule that proposes accept, hold or reject, with its operating curve; without numbers show it."""
    from tracker.workflow.acceptance import RuleAsked, end_rule, list_rules, set_rule

    asked = RuleAsked(
        by=by, pieces=pieces, accept=accept, reject=reject, sigma=sigma, batch_size=batch_size, good=good, bad=bad
    )
    if end and not asked.nothing:
        raise UsageError("A rule is ended or set.", where="batch rule", try_this="--end --reason … alone")
    with open_store(kitchen) as store:
        if end:
            ended = end_rule(store, product, response, reason=reason, person=person)
            if json_:
                print_json({"product": product, "response": ended, "rule": None})
            else:
                say(f"{ended} has no rule any more.")
            return
        views = (
            list_rules(store, product)
            if asked.nothing
            else (set_rule(store, product, response, asked, reason=reason, person=person),)
        )
    if json_:
        print_json({"product": product, "rules": [view.to_json() for view in views]})
        return
    for view in views:
        say(view.summary())
    if not views:
        tell(f'No rule is set yet. Try: crumbwise batch rule "{product}" --pieces 20 --accept 1 --reject 3')
