"""``crumbwise leaven``: the acid-base account of amounts as a baker writes them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

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
    has_kitchen,
    make_app,
    open_store,
    print_json,
    say,
    tell,
)
from tracker.errors import UsageError

if TYPE_CHECKING:
    from tracker.workflow.leavening import Answer

app = make_app("Work out gas, what is left over and pH from amounts as a baker writes them.")

Amounts = Annotated[list[str], typer.Argument(metavar="AMOUNT...", help='As a baker writes them: "5 g baking soda".')]
Celsius = Annotated[float, typer.Option("--celsius", help="Temperature of the batter, °C.")]
Metres = Annotated[float | None, typer.Option("--altitude", metavar="METRES", help="Height above the sea, m.")]
Target = Annotated[float, typer.Option("--target-ph", help="Crumb pH to aim at.")]
Own = Annotated[list[str] | None, typer.Option("--own", help='Measured here: "my milk: acidity=2 pH=6.5 water=0.88".')]


def measured_values(kitchen: str | None) -> dict[str, Any]:
    """What the kitchen measured; the database is not loaded where there is no kitchen."""
    if not has_kitchen(kitchen):
        return {}
    from tracker.workflow.ingredients import own_values

    with open_store(kitchen) as store, store.read() as session:
        return own_values(session)


def show(answer: Answer, as_json: bool) -> None:
    if as_json:
        print_json(answer.document)
    else:
        say(answer.text)


@app.command(
    "balance",
    epilog=example(
        'crumbwise leaven balance "5 g baking soda" "240 g buttermilk"',
        'crumbwise leaven balance "5 g baking soda" "240 g buttermilk" --report balance.pdf --temperature F',
    ),
)
def balance(
    amounts: Amounts,
    celsius: Celsius = 25.0,
    altitude: Metres = None,
    portions: Annotated[float, typer.Option(help="Portions the amounts make.")] = 1.0,
    target_ph: Target = 7.0,
    own: Own = None,
    report: BalanceReportOption = None,
    decimal: DecimalOption = "point",
    temperature: TemperatureOption = "C",
    paper: PaperOption = "A4",
    kitchen: KitchenOption = None,
    as_json: JsonOption = False,
) -> None:
    """Gas, soda or acid left over, neutral dose, pH, sodium and aluminium."""
    from tracker.workflow.leavening import account

    look, beside = look_of("kitchen", decimal, temperature), beside_of(None, None, paper)
    answer = account(
        amounts,
        kitchen=measured_values(kitchen),
        celsius=celsius,
        altitude_m=altitude,
        portions=portions,
        target_ph=target_ph,
        own=own or (),
        report=report,
        look=look,
        paper=beside.paper,
        command=_said_again(amounts, celsius, altitude, portions, target_ph, own or []),
    )
    show(answer, as_json)
    if report is not None:
        tell(f"Report: {report}")


def _said_again(
    amounts: list[str], celsius: float, altitude: float | None, portions: float, target_ph: float, own: list[str]
) -> list[str]:
    """The command that makes the same account again."""
    said = ["crumbwise", "leaven", "balance", *amounts]
    numbers = (("--celsius", celsius, 25.0), ("--portions", portions, 1.0), ("--target-ph", target_ph, 7.0))
    said += [word for name, value, usual in numbers if value != usual for word in (name, f"{value:g}")]
    said += [] if altitude is None else ["--altitude", f"{altitude:g}"]
    return said + [word for text in own for word in ("--own", text)]


@app.command("curve", epilog=example('crumbwise leaven curve "100 g vinegar" --most 10'))
def curve(
    amounts: Amounts,
    most: Annotated[
        float | None, typer.Option("--most", help="Most soda, g (twice the neutral dose if left out).")
    ] = None,
    celsius: Celsius = 25.0,
    altitude: Metres = None,
    picture: Annotated[Path | None, typer.Option(metavar="FILE.svg", help="Draw the curve into this file.")] = None,
    colours: Annotated[bool, typer.Option("--colours", help="Draw the colours of red cabbage juice below it.")] = False,
    as_json: JsonOption = False,
) -> None:
    """pH and free gas as soda is added, with the colour of red cabbage juice."""
    from tracker.workflow.leaveners import soda_curve

    answer = soda_curve(amounts, most_g=most, celsius=celsius, altitude_m=altitude, picture=picture, colours=colours)
    show(answer, as_json)


@app.command("neutral", epilog=example('crumbwise leaven neutral "245 g buttermilk" --target-ph 7.2'))
def neutral(amounts: Amounts, target_ph: Target = 7.0, own: Own = None, as_json: JsonOption = False) -> None:
    """How much soda the acids need, by equivalence and by crumb pH."""
    from tracker.workflow.leavening import neutral_dose

    show(neutral_dose(amounts, target_ph=target_ph, own=own or ()), as_json)


@app.command("swap", epilog=example('crumbwise leaven swap "240 g buttermilk" "cream of tartar"'))
def swap(
    amount: Annotated[str, typer.Argument(metavar="AMOUNT", help="What is to be replaced.")],
    into: Annotated[str, typer.Argument(metavar="NAME", help="What comes in its place (the acid, with --parts).")],
    parts: Annotated[bool, typer.Option("--parts", help="Take a baking powder apart into soda, acid, starch.")] = False,
    as_json: JsonOption = False,
) -> None:
    """Replace one acid source or leavener by another, keeping gas and neutrality."""
    from tracker.workflow.leaveners import parts_of_powder, swapped

    show(parts_of_powder(amount, into) if parts else swapped(amount, into), as_json)


@app.command(
    "powder", epilog=example('crumbwise leaven powder "30 g baking soda" "67 g cream of tartar" "20 g starch"')
)
def powder(
    amounts: Annotated[list[str] | None, typer.Argument(metavar="AMOUNT...", help="A mix to check.")] = None,
    acid: Annotated[list[str] | None, typer.Option("--acid", help='Compose from: "cream of tartar=0.6".')] = None,
    available: Annotated[float, typer.Option("--available", help="Available carbon dioxide wanted, %.")] = 14.0,
    as_json: JsonOption = False,
) -> None:
    """Check a baking powder, or compose one from acids."""
    from tracker.workflow.leaveners import composed_powder, powder_of

    show(composed_powder(acid, available) if acid else powder_of(amounts or []), as_json)


@app.command("release", epilog=example('crumbwise leaven release "5 g baking powder"'))
def release(amounts: Amounts, as_json: JsonOption = False) -> None:
    """When the gas comes: in mixing, on the bench, in the oven."""
    from tracker.workflow.leaveners import release_of

    show(release_of(amounts), as_json)


@app.command("altitude", epilog=example("crumbwise leaven altitude 1600"))
def altitude(
    metres: Annotated[float, typer.Argument(help="Height above the sea, m.")], as_json: JsonOption = False
) -> None:
    """What height does to gas, boiling point and powder."""
    from tracker.workflow.leaveners import place_at

    show(place_at(metres), as_json)


@app.command("strength", epilog=example('crumbwise leaven strength "baking soda" "1 g: 260 ml" "1 g: 271 ml"'))
def strength(
    name: Annotated[str, typer.Argument(metavar="NAME", help="The leavener that was tested.")],
    tests: Annotated[list[str], typer.Argument(metavar="TEST...", help='"1 g: 260 ml", one for each gas test.')],
    celsius: Celsius = 25.0,
    altitude: Metres = None,
    as_json: JsonOption = False,
) -> None:
    """How much strength a leavener has left, from bench gas tests."""
    from tracker.workflow.leaveners import gas_test

    show(gas_test(tests, name, celsius=celsius, altitude_m=altitude), as_json)


@app.command("measured", epilog=example('crumbwise leaven measured "our buttermilk" --neutralises 0.78 --ph 4.4'))
def measured(
    name: Annotated[str | None, typer.Argument(metavar="NAME", help="The ingredient; all are listed without.")] = None,
    neutralises: Annotated[float | None, typer.Option(metavar="GRAMS", help="Soda that 100 g use up, g.")] = None,
    ph: Annotated[float | None, typer.Option("--ph", help="Its pH.")] = None,
    water: Annotated[float | None, typer.Option(help="Water in 1 g, g.")] = None,
    source: Annotated[str, typer.Option(help="How it was measured.")] = "",
    person: PersonOption = 1,
    kitchen: KitchenOption = None,
    as_json: JsonOption = False,
) -> None:
    """Keep what this kitchen measured itself; it comes before the tables."""
    from tracker.workflow.ingredients import keep_measured, list_measured

    if name is None:
        with open_store(kitchen) as store:
            kept = list_measured(store)
    else:
        if neutralises is None:
            raise UsageError(
                "How much soda 100 g use up is missing.", where="leaven measured", try_this="--neutralises 0.78"
            )
        with open_store(kitchen, create=True) as store:
            kept = (
                keep_measured(
                    store, name, neutralises_g=neutralises, ph=ph, water_share=water, source=source, person=person
                ),
            )
    if as_json:
        print_json({"measured": [each.to_json() for each in kept]})
    else:
        say("\n".join(each.summary() for each in kept) or "Nothing was measured yet.")


@app.command("acids", epilog=example("crumbwise leaven acids"))
def acids(as_json: JsonOption = False) -> None:
    """The table of acids and ingredients, with sources in --json."""
    from tracker.workflow.leaveners import tables

    show(tables(), as_json)
