"""Which products are baked day by day, and what has each to meet?"""

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
    from tracker.workflow.product_views import ProductView

app = make_app("")
product = make_app("Make products, say what they have to meet, and what their responses stand for.")
app.add_typer(product, name="product")

ProductArgument = Annotated[str, typer.Argument(metavar="PRODUCT", help="Name of the product.", show_default=False)]
SPEC = "NAME:lower=,upper=,target=,unit="
RESPONSE = "NAME:unit=,stands-for=,scale="


@product.command(
    epilog=example(
        'crumbwise batch product add "pass scones" --spec "rise height:lower=40,upper=48,target=44,unit=mm"',
        'crumbwise batch product add "soda loaf" --trial soda --response "crumb pH:stands-for=pH"',
    )
)
def add(
    name: Annotated[str, typer.Argument(metavar="NAME", help="What the product is called.", show_default=False)],
    trial: Annotated[
        str | None,
        typer.Option(metavar="TRIAL", help="The trial it came out of; its promise is the first expectation."),
    ] = None,
    setting: Annotated[
        list[str] | None,
        typer.Option(metavar="FACTOR=VALUE", help="The treatment chosen, when not the recommended one."),
    ] = None,
    formula: Annotated[str | None, typer.Option(metavar="FORMULA", help="The formula it is made by.")] = None,
    spec: Annotated[list[str] | None, typer.Option(metavar=SPEC, help="What a response has to meet.")] = None,
    response: Annotated[
        list[str] | None, typer.Option(metavar=RESPONSE, help="A response without a specification.")
    ] = None,
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Make a product; a response may stand for rise, pH, gas, oven temperature or bake loss."""
    from tracker.workflow.products import add_product, check_product

    check_product(name, [*(spec or ()), *(response or ())])
    # The first product may make the kitchen; what names a trial or a formula needs one that holds them.
    with open_store(kitchen, create=trial is None and formula is None and not setting) as store:
        view = add_product(
            store,
            name,
            trial=trial,
            formula=formula,
            specs=spec or (),
            responses=response or (),
            settings=setting or (),
            person=person,
        )
    _show(view, json_)


@product.command("list", epilog=example("crumbwise batch product list"))
def list_(kitchen: KitchenOption = None, json_: JsonOption = False) -> None:
    """List the products of the kitchen."""
    from tracker.workflow.products import list_products

    with open_store(kitchen) as store:
        views = list_products(store)
    if json_:
        print_json({"products": [view.to_json() for view in views]})
        return
    for view in views:
        say(view.words())
    if not views:
        tell('No product yet. Try: crumbwise batch product add "scones"')


@product.command(epilog=example('crumbwise batch product show "pass scones"'))
def show(product: ProductArgument, kitchen: KitchenOption = None, json_: JsonOption = False) -> None:
    """Show a product: its responses, specifications, expectations and whether limits are frozen."""
    from tracker.workflow.products import show_product

    with open_store(kitchen) as store:
        view = show_product(store, product)
    _show(view, json_)


@product.command(
    epilog=example(
        'crumbwise batch product spec "pass scones" "rise height:lower=41,upper=48" --reason "agreed on 26 November"'
    )
)
def spec(
    product: ProductArgument,
    specs: Annotated[list[str], typer.Argument(metavar=SPEC, help="What a response has to meet.", show_default=False)],
    reason: Annotated[str, typer.Option(help="Why it is another one; needed when one stands.")] = "",
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Say what a response has to meet from now on: a new version, the old one stays readable."""
    _specify(product, specs, reason, person, kitchen, json_)


@product.command(
    epilog=example(
        'crumbwise batch product response "pass scones" "crumb pH:stands-for=pH"',
        'crumbwise batch product response "pass scones" "split:scale=share"',
    )
)
def response(
    product: ProductArgument,
    responses: Annotated[
        list[str], typer.Argument(metavar=RESPONSE, help="A response; scale is measured, share or rate.")
    ],
    reason: Annotated[str, typer.Option(help="Why it is another one; needed when one stands.")] = "",
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Add a response, or say what it stands for: rise, pH, gas, oven temperature, bake loss or nothing."""
    _specify(product, responses, reason, person, kitchen, json_)


def _specify(product: str, texts: list[str], reason: str, person: int, kitchen: str | None, json_: bool) -> None:
    from tracker.workflow.products import specify

    with open_store(kitchen) as store:
        view = specify(store, product, texts, reason=reason, person=person)
    _show(view, json_)


def _show(view: ProductView, json_: bool) -> None:
    for notice in view.notices:
        tell(f"Note: {notice}")
    if json_:
        print_json(view.to_json())
    else:
        say(view.summary())
