"""How is a formula kept, looked up and weighed from the command line?"""

from __future__ import annotations

from typing import Annotated

import typer

from tracker.commands import GROUPS
from tracker.commands.report_options import (
    BalanceReportOption,
    DecimalOption,
    PaperOption,
    TemperatureOption,
    beside_of,
    look_of,
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

app = make_app(GROUPS["formula"][1])

NameArgument = Annotated[str, typer.Argument(metavar="NAME", help="Name of the formula.", show_default=False)]
VersionOption = Annotated[
    int | None, typer.Option("--formula-version", min=1, help="Which version; the newest when left out.")
]


@app.command(
    epilog=example(
        "crumbwise formula add loaf.toml",
        'crumbwise formula add loaf --line "wheat flour=100" --line "water=65" --line "baking soda=1.5"',
        'crumbwise formula add loaf --line "300 g wheat flour" --line "195 g water"',
    )
)
def add(
    name_or_file: Annotated[
        str, typer.Argument(metavar="NAME_OR_FILE.toml", help="A name, or a file.", show_default=False)
    ],
    line: Annotated[
        list[str] | None, typer.Option(help='"water=65" (% of flour) or "195 g water"; repeatable.')
    ] = None,
    flour: Annotated[
        list[str] | None, typer.Option(help='An ingredient that counts as flour; those named "… flour" when left out.')
    ] = None,
    method: Annotated[str, typer.Option(help="How it is mixed and baked.")] = "",
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Keep a formula; the same name again makes a new version."""
    from tracker.workflow.formulas import add_formula, read_formula

    formula = read_formula(name_or_file, line or (), flours=flour or (), method=method)
    with open_store(kitchen, create=True) as store:
        kept = add_formula(store, formula, person=person)
    if not kept.written:
        tell(f"{kept.title} stands already, just so; nothing was written.")
    if json_:
        print_json(kept.to_json())
    else:
        say(kept.summary())


@app.command("list", epilog=example("crumbwise formula list"))
def list_(kitchen: KitchenOption = None, json_: JsonOption = False) -> None:
    """List the formulas, the newest version of each."""
    from tracker.workflow.formulas import list_formulas

    with open_store(kitchen) as store:
        formulas = list_formulas(store)
    if json_:
        print_json({"formulas": [formula.to_json() for formula in formulas]})
        return
    for formula in formulas:
        say(f"{formula.title}: {', '.join(formula.formula.ingredients())}")
    if not formulas:
        tell("No formula yet. Try: crumbwise formula add --help")


@app.command(epilog=example('crumbwise formula show "yogurt loaf"'))
def show(
    name: NameArgument, version: VersionOption = None, kitchen: KitchenOption = None, json_: JsonOption = False
) -> None:
    """Show a formula in baker's percent."""
    from tracker.workflow.formulas import show_formula

    with open_store(kitchen) as store:
        formula = show_formula(store, name, version)
    if json_:
        print_json(formula.to_json())
    else:
        say(formula.summary())


@app.command(epilog=example('crumbwise formula weigh "yogurt loaf" --flour-g 300'))
def weigh(
    name: NameArgument,
    flour_g: Annotated[str, typer.Option(metavar="GRAMS", help='Flour in all: 300, or "1.5 kg".', show_default=False)],
    version: VersionOption = None,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Say what to weigh for this much flour."""
    from tracker.workflow.formulas import weigh_formula

    with open_store(kitchen) as store:
        weighed = weigh_formula(store, name, flour=flour_g, version=version)
    if json_:
        print_json(weighed.to_json())
    else:
        say(weighed.summary())


@app.command(
    epilog=example(
        'crumbwise formula balance "yogurt loaf"', 'crumbwise formula balance "yogurt loaf" --report balance.html'
    )
)
def balance(
    name: NameArgument,
    flour_g: Annotated[float, typer.Option(metavar="GRAMS", min=0.001, help="Flour in all, g.")] = 100.0,
    version: VersionOption = None,
    report: BalanceReportOption = None,
    decimal: DecimalOption = "point",
    temperature: TemperatureOption = "C",
    paper: PaperOption = "A4",
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """The acid-base account of a formula: gas, what is left over, neutral dose, pH."""
    from tracker.workflow.run_chemistry import formula_balance

    look, beside = look_of("kitchen", decimal, temperature), beside_of(None, None, paper)
    with open_store(kitchen) as store:
        answer = formula_balance(
            store, name, flour_g=flour_g, version=version, report=report, look=look, paper=beside.paper
        )
    if json_:
        print_json(answer.document)
    else:
        say(answer.text)
    if report is not None:
        tell(f"Report: {report}")


@app.command(epilog=example('crumbwise formula price "wheat flour" 1.20'))
def price(
    name: Annotated[str | None, typer.Argument(metavar="NAME", help="The ingredient; all are listed without.")] = None,
    per_kg: Annotated[float | None, typer.Argument(metavar="PRICE", help="What a kilogram costs.")] = None,
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    json_: JsonOption = False,
) -> None:
    """Keep what an ingredient costs for a kilogram, so that a trial can weigh its cost as a goal."""
    from tracker.errors import UsageError
    from tracker.workflow.prices import keep_price, list_prices

    if name is not None and per_kg is None:
        raise UsageError(
            "The price is missing.", where="formula price", try_this=f'crumbwise formula price "{name}" 1.20'
        )
    with open_store(kitchen, create=name is not None) as store:
        kept = list_prices(store) if name is None else (keep_price(store, name, per_kg or 0.0, person=person),)
    if json_:
        print_json({"prices": [each.to_json() for each in kept]})
    else:
        say("\n".join(each.summary() for each in kept) or "No price was kept yet.")
