"""How does a trial go on from the command line?"""

from __future__ import annotations

from typing import Annotated, Any

import typer

from tracker.commands.shell import (
    DryRunOption,
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

app = make_app("Add runs to a trial.")


@app.command(
    epilog=example(
        "crumbwise trial extend soda --replicates 1",
        'crumbwise trial extend soda --again 417 --again 802 --reason "oven failed"',
        "crumbwise trial extend cookie --best 6 --model quadratic --dry-run",
    )
)
def extend(
    trial: Annotated[str, typer.Argument(metavar="TRIAL", help="Name of the trial.", show_default=False)],
    replicates: Annotated[int | None, typer.Option(min=1, help="Bake every treatment so many times more.")] = None,
    centre_points: Annotated[
        int | None, typer.Option("--centre-points", min=1, help="Add so many bakes half way between all doses.")
    ] = None,
    axial: Annotated[
        float | None,
        typer.Option(min=0, help="Add star points to see a bend; 1 stays within the doses, more goes beyond."),
    ] = None,
    fold_over: Annotated[
        bool, typer.Option("--fold-over", help="Bake every run again with the other level of each factor.")
    ] = False,
    factor: Annotated[str | None, typer.Option(help="With --fold-over: turn this factor alone.")] = None,
    best: Annotated[int | None, typer.Option(min=1, help="Add the so many bakes that would tell most.")] = None,
    model: Annotated[
        str | None, typer.Option(help="With --best: what they shall tell (main effects, interactions, quadratic).")
    ] = None,
    again: Annotated[
        list[str] | None, typer.Option(help="Bake a failed or skipped run again: its code, or all for every one.")
    ] = None,
    bake: Annotated[
        list[str] | None, typer.Option(help='Add this treatment, such as "soda=1.5, acid source=yogurt".')
    ] = None,
    next_: Annotated[bool, typer.Option("--next", help="Add what `trial next` proposes.")] = False,
    times: Annotated[int, typer.Option(min=1, help="With --bake and --next: bake each so many times.")] = 1,
    reason: Annotated[str, typer.Option(help="Why the trial goes on.")] = "",
    seed: Annotated[int | None, typer.Option(help="Seed of order and codes; drawn when left out.")] = None,
    dry_run: DryRunOption = False,
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Add runs to a trial and keep what was baked: replicates, centre or star points, a fold-over, the best next."""
    from tracker.workflow.extending import extend_trial, preview_extension
    from tracker.workflow.ways_on import chosen_way, proposed

    named = chosen_way(
        replicates=replicates,
        centre_points=centre_points,
        axial=axial,
        fold_over=fold_over,
        factor=factor,
        best=best,
        model=model,
        again=tuple(again or ()),
        bakes=tuple(bake or ()),
        times=times,
        what_is_proposed=next_,
    )
    with open_store(kitchen) as store:
        further = named or proposed(store, trial, times=times)
        planned: Any = (
            preview_extension(store, trial, further, seed=seed)
            if dry_run
            else extend_trial(store, trial, further, reason=reason, seed=seed, person=person)
        )
    for caution in planned.cautions:
        tell(caution)
    if json_:
        print_json(planned.to_json())
        return
    say(planned.summary())
    if not dry_run:
        say(f'\nNext: crumbwise trial sheet "{trial}" --out sheet.html')
