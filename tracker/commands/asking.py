"""Which options say how to analyse? Spelled once for a trial and for a spreadsheet."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from inspect import Parameter, signature
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

import typer

from tracker.errors import UsageError

if TYPE_CHECKING:
    from tracker.workflow.options import Options

KINDS = ("auto", "factors", "dose", "surface", "mixture")
MODELS = (
    "main effects", "interactions", "quadratic", "mixture linear", "mixture quadratic", "mixture special cubic",
)  # fmt: skip

ResponseOption = Annotated[list[str] | None, typer.Option(metavar="NAME", help="What was measured; may be repeated.")]


def options_of(
    kind: Annotated[
        str,
        typer.Option(
            metavar="auto|factors|dose|surface|mixture",
            help="Which variables matter, how the response follows a dose, a surface with bends, or a blend.",
        ),
    ] = "auto",
    model: Annotated[
        str | None,
        typer.Option(metavar="MODEL", help="Terms to fit, such as quadratic; a trial's plan says which by itself."),
    ] = None,
    dose: Annotated[str | None, typer.Option(metavar="NAME", help="The amount that is the dose.")] = None,
    by: Annotated[str | None, typer.Option(metavar="NAME", help="One curve for each level of this category.")] = None,
    shape: Annotated[
        str | None, typer.Option(metavar="SHAPE", help="Shape of the curve; the best of them when left out.")
    ] = None,
    group: Annotated[
        str | None,
        typer.Option(metavar="A+B", help="Readings that share this share an error (a whole plot, a bake day)."),
    ] = None,
    reference: Annotated[
        list[str] | None,
        typer.Option(metavar="LEVEL", help='Level the others are compared with, or "FACTOR:LEVEL"; may be repeated.'),
    ] = None,
    order: Annotated[int, typer.Option(metavar="N", help="Interactions of up to this many factors.")] = 2,
    squares: Annotated[int, typer.Option(metavar="1|2|3", help="Type of the sums of squares.")] = 2,
    confidence: Annotated[float, typer.Option(metavar="SHARE", help="Confidence of the intervals.")] = 0.95,
    seed: Annotated[int, typer.Option(metavar="N", help="Seed of the resampling.")] = 1,
    follow: Annotated[
        list[str] | None,
        typer.Option(
            metavar="CHEMISTRY",
            help="gas, soda left, acid left or predicted pH in place of the factors; may be repeated.",
        ),
    ] = None,
) -> Options:
    """The options as the workflow takes them. Raises UsageError with the nearest kind."""
    from tracker.workflow.options import Options

    _require_known(kind, KINDS, "--kind", "kind of analysis")
    if model is not None:
        _require_known(model, MODELS, "--model", "model")
    return Options(
        kind=kind,  # type: ignore[arg-type]  # one of KINDS
        model=model,
        dose=dose,
        by=by,
        shape=shape,
        group=group,
        references=tuple(reference or ()),
        order=order,
        squares=squares,
        confidence=confidence,
        seed=seed,
        follow=tuple(follow or ()),
    )


def _require_known(word: str, known: tuple[str, ...], option: str, what: str) -> None:
    if word not in known:
        from tracker.intake.spreadsheet import nearest

        near = nearest(word, known) or known[0]
        shown = f'"{near}"' if " " in near else near
        raise UsageError(f'"{word}" is no {what}.', where=option, try_this=f"{option} {shown} (of {', '.join(known)})")


def asks_how(*, without: tuple[str, ...] = ()) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """A command whose parameter ``options`` is asked for by the options of ``options_of``, in its place.

    ``without``: those that make no sense for the command. Typer reads a command's signature, so
    the decorated one has theirs in it.
    """
    asked = {name: each for name, each in _parameters(options_of).items() if name not in without}

    def decorate(command: Callable[..., None]) -> Callable[..., None]:
        shown: list[Parameter] = []
        for name, parameter in _parameters(command).items():
            shown += asked.values() if name == "options" else [parameter]

        @wraps(command)
        def filled(**said: Any) -> None:
            how = {name: said.pop(name) for name in asked}
            command(**said, options=options_of(**how))

        filled.__signature__ = signature(command).replace(parameters=shown)  # type: ignore[attr-defined]
        filled.__annotations__ = {each.name: each.annotation for each in shown}
        return filled

    return decorate


def _parameters(function: Callable[..., Any]) -> dict[str, Parameter]:
    """The parameters with their types read; ``Options`` itself is known to the type checker only."""
    types = get_type_hints(function, localns={"Options": object}, include_extras=True)
    return {
        name: each.replace(annotation=types[name], kind=Parameter.KEYWORD_ONLY)
        for name, each in signature(function).parameters.items()
    }
