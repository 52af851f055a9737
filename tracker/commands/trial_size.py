"""How many bakes does an answer take? Asked from the command line."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tracker.commands.option_values import require_share
from tracker.commands.shell import JsonOption, example, make_app, print_json, say
from tracker.errors import UsageError

app = make_app("How many bakes an answer takes.")


@app.command(
    epilog=example(
        "crumbwise trial size --what means --kinds 3 --spread 2 --matters 4 --unit mm",
        "crumbwise trial size --what pieces --spread 2 --piece-spread 3 --matters 4 --bake-cost 10 --piece-cost 1",
        "crumbwise trial size muffin.toml",
    )
)
def size(
    plan: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="A plan file, to see it at 1 to 8 replicates.")
    ] = None,
    what: Annotated[
        str | None,
        typer.Option(metavar="means|pairs|effects|doses|plots|pieces|equivalence|shares|scores", help="What is asked."),
    ] = None,
    spread: Annotated[float | None, typer.Option(help="Spread between bakes of one treatment.")] = None,
    matters: Annotated[float | None, typer.Option(help="The difference that matters.")] = None,
    bakes: Annotated[int | None, typer.Option(help="Bakes of each; worked out when left out.")] = None,
    power: Annotated[float, typer.Option(help="Chance to see it.")] = 0.8,
    confidence: Annotated[float, typer.Option(help="Confidence of the intervals.")] = 0.95,
    kinds: Annotated[int, typer.Option(help="How many kinds or doses are compared.")] = 2,
    factors: Annotated[int, typer.Option(help="Two-level factors (effects).")] = 3,
    pieces: Annotated[int, typer.Option(help="Pieces read from a bake, or bakes in a whole plot.")] = 1,
    piece_spread: Annotated[float | None, typer.Option(help="Spread between pieces of one bake.")] = None,
    plot_spread: Annotated[float | None, typer.Option(help="Spread between whole plots.")] = None,
    margin: Annotated[float | None, typer.Option(help="Within which two kinds count as the same.")] = None,
    share: Annotated[list[float] | None, typer.Option(help="Shares of yes, or of each score; repeated.")] = None,
    odds_ratio: Annotated[float | None, typer.Option(help="Odds of a higher score, one kind over the other.")] = None,
    bake_cost: Annotated[float | None, typer.Option(help="What one bake costs.")] = None,
    piece_cost: Annotated[float | None, typer.Option(help="What reading one piece costs.")] = None,
    unit: Annotated[str, typer.Option(help="Unit of the response.")] = "",
    response: Annotated[str, typer.Option(help="Name of the response.")] = "",
    picture: Annotated[Path | None, typer.Option(metavar="FILE", help="Write the curve as SVG.")] = None,
    json_: JsonOption = False,
) -> None:
    """Say how many bakes a difference takes, or what so many bakes could see."""
    from tracker.workflow.sizing import size_of, size_of_plan, write_picture

    if (plan is None) == (what is None):
        raise UsageError(
            "Either a plan file or a question of size is named.",
            where="trial size",
            try_this="--what means --spread 2 --matters 4, or the name of a plan file",
        )
    require_share(confidence, "--confidence", "A confidence", such_as=0.95)
    require_share(power, "--power", "A chance", such_as=0.8)
    if plan is not None:
        sized_plan = size_of_plan(plan)
        print_json(sized_plan.to_json()) if json_ else say(sized_plan.summary())
        return
    sized = size_of(
        str(what),
        unit=unit,
        response=response,
        spread=spread,
        difference=matters,
        bakes=bakes,
        power=power,
        confidence=confidence,
        kinds=kinds,
        factors=factors,
        pieces=pieces,
        piece_spread=piece_spread,
        plot_spread=plot_spread,
        margin=margin,
        shares=tuple(share or ()),
        odds_ratio=odds_ratio,
        bake_cost=bake_cost,
        piece_cost=piece_cost,
    )
    if picture is not None:
        write_picture(sized, picture)
    if json_:
        print_json(sized.to_json())
    else:
        say(sized.summary())
        if picture is not None:
            say(f"{picture}")
