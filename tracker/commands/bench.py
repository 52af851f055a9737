"""Serve the pages for the tablets at the bench."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from tracker.commands import GROUPS
from tracker.commands.shell import JsonOption, KitchenOption, example, kitchen_place, make_app, print_json, say, tell

app = make_app(GROUPS["bench"][1])


@app.command(
    epilog=example(
        "crumbwise bench",
        "crumbwise bench --lan --tls --host 192.168.1.20 --allow kitchen.example",
        "crumbwise bench --check --json",
    )
)
def bench(
    host: Annotated[str, typer.Option("--host", help="The address to listen at.")] = "127.0.0.1",
    port: Annotated[int, typer.Option("--port", min=1, max=65535, help="The port to listen at.")] = 8030,
    lan: Annotated[bool, typer.Option("--lan", help="Let tablets of the kitchen's network in.")] = False,
    allow: Annotated[
        list[str] | None, typer.Option("--allow", metavar="NAME", help="A name tablets ask for (may be repeated).")
    ] = None,
    certificate: Annotated[Path | None, typer.Option("--tls-cert", help="Certificate (PEM), for https.")] = None,
    private_key: Annotated[Path | None, typer.Option("--tls-key", help="Its private key (PEM).")] = None,
    tls: Annotated[
        bool, typer.Option("--tls", help="Serve https with a certificate made here, beside the kitchen.")
    ] = False,
    check: Annotated[bool, typer.Option("--check", help="Say how it would be served, and serve nothing.")] = False,
    kitchen: KitchenOption = None,
    as_json: JsonOption = False,
) -> None:
    """Serve the pages for the tablets at the bench."""
    from tracker.bench.serving import Wanted, plan, serve

    wanted = Wanted(
        kitchen=kitchen_place(kitchen),
        host=host,
        port=port,
        lan=lan,
        names=tuple(allow or ()),
        certificate=certificate,
        private_key=private_key,
        tls=tls,
        check=check,
    )
    planned = plan(wanted)

    def told() -> None:
        if as_json:
            print_json(planned.to_json())
        else:
            (say if check else tell)(planned.words())

    if check:
        told()
    else:
        serve(wanted, planned, ready=told)
