"""Which options say how to analyse? Spelled once for a trial and for a spreadsheet."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from inspect import Parameter, signature
from typing import TYPE_CHECKING, Annotated, Any, get_type_hints

import typer

from tracker.commands.option_values import require_at_least, require_colon, require_known, require_share

if TYPE_CHECKING:
    from tracker.workflow.options import Options

KINDS = ("auto", "factors", "dose", "surface", "mixture", "score")
SMALL_SAMPLE = ("kenward-roger", "satterthwaite")
TRANSFORMS = ("none", "auto", "log", "square root", "reciprocal", "reciprocal square root", "logit")
ADJUST = ("auto", "holm", "bonferroni", "scheffe", "none")
INTERVALS = ("standard", "profile", "bootstrap")
LINKS = ("logit", "probit")
SQUARES = ("1", "2", "3")
# Spelled here too because the help may not load the engine; a test compares.
SHAPES = (
    "flat", "line", "quadratic", "linear-plateau", "quadratic-plateau", "logistic-3", "logistic-4", "log-logistic-3",
    "log-logistic-4", "hump", "saturation", "gompertz-3", "gompertz-4", "hormesis-4", "hormesis-5", "biphasic",
    "monotone", "smooth",
)  # fmt: skip
SHAPE_FAMILIES = ("logistic", "log-logistic", "gompertz", "hormesis", "plateau")
MODELS = (
    "main effects", "interactions", "quadratic", "mixture linear", "mixture quadratic", "mixture special cubic",
)  # fmt: skip

ResponseOption = Annotated[list[str] | None, typer.Option(metavar="NAME", help="What was measured; may be repeated.")]


def options_of(
    kind: Annotated[
        str,
        typer.Option(
            metavar="auto|factors|dose|surface|mixture|score",
            help="Which variables matter, how the response follows a dose, a surface with bends, a blend, or scores "
            "(counts, yes or no) taken as what they are.",
        ),
    ] = "auto",
    model: Annotated[
        list[str] | None,
        typer.Option(
            metavar="MODEL",
            help='Terms to fit, such as quadratic, or "pH:main effects" for one response; a trial\'s plan says which '
            "by itself; may be repeated.",
        ),
    ] = None,
    dose: Annotated[str | None, typer.Option(metavar="NAME", help="The amount that is the dose.")] = None,
    by: Annotated[str | None, typer.Option(metavar="NAME", help="One curve for each level of this category.")] = None,
    shape: Annotated[
        str | None,
        typer.Option(
            metavar="SHAPE",
            help=f"Shape of the curve; the best of them when left out. One of {', '.join(SHAPES)}; "
            f"or the better of two: {', '.join(SHAPE_FAMILIES)}.",
        ),
    ] = None,
    group: Annotated[
        list[str] | None,
        typer.Option(
            metavar="A+B",
            help="Bakes of one group (a bake day, an oven load) are alike; A+B: B lies within A. Repeated: groups that "
            "cut across each other.",
        ),
    ] = None,
    whole_plot: Annotated[
        str | None, typer.Option(metavar="NAME", help="The whole plot; the same as naming it as a group.")
    ] = None,
    slope: Annotated[
        list[str] | None,
        typer.Option(metavar="AMOUNT:GROUP", help="The effect of an amount varies between groups; may be repeated."),
    ] = None,
    small_sample: Annotated[
        str,
        typer.Option(metavar="kenward-roger|satterthwaite", help="How few groups are allowed for in mixed models."),
    ] = "kenward-roger",
    covariate: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME", help="Measured but not set on purpose (room temperature, flour lot)."),
    ] = None,
    weights: Annotated[
        str | None, typer.Option(metavar="NAME", help="Column with what each row weighs (a count or a precision).")
    ] = None,
    transform: Annotated[
        str | None, typer.Option(metavar="TRANSFORM", help="auto, log, square root, reciprocal, logit or none.")
    ] = None,
    robust: Annotated[
        bool, typer.Option("--robust", help="Weigh odd bakes down, so that few of them do not carry the answer.")
    ] = False,
    unequal_spread: Annotated[
        bool, typer.Option("--unequal-spread", help="Do not take the scatter of all treatments as equal.")
    ] = False,
    contrast: Annotated[
        list[str] | None,
        typer.Option(
            metavar="CONTRAST",
            help='Your own comparison: "acid: yogurt = 1, lemon juice = -1", "soda: linear" or "soda: slope"; may be '
            "repeated.",
        ),
    ] = None,
    interaction: Annotated[
        list[str] | None,
        typer.Option(metavar="A:B", help="Fit only these joint effects; all pairs when left out; may be repeated."),
    ] = None,
    adjust: Annotated[
        str,
        typer.Option(
            metavar="auto|holm|bonferroni|scheffe|none",
            help="Allowance for many comparisons; auto: Tukey-Kramer for all pairs, Dunnett with a --reference.",
        ),
    ] = "auto",
    margin: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME:NUMBER",
            help='Equally good within this, "rise:2", "rise:-2..3" or "rise:0.95..1.05 ratio"; may be repeated.',
        ),
    ] = None,
    goal: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME:GOAL",
            help='maximise, minimise or target=NUMBER, in place of what the plan of a trial says; "cost:minimise" also '
            "weighs the price of its formula. May be repeated.",
        ),
    ] = None,
    accept: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME:LOW..HIGH", help='Good enough, "rise:45..", "pH:6.9..7.5"; may be repeated.'),
    ] = None,
    importance: Annotated[
        list[str] | None,
        typer.Option(metavar="NAME:NUMBER", help="Weight among several goals; 1 when left out; may be repeated."),
    ] = None,
    intervals: Annotated[
        str, typer.Option(metavar="standard|profile|bootstrap", help="How intervals of a dose curve are made.")
    ] = "standard",
    link: Annotated[
        str, typer.Option(metavar="logit|probit", help="The hidden scale behind scores and yes or no.")
    ] = "logit",
    effective: Annotated[
        list[float] | None,
        typer.Option(metavar="SHARE", help="Also the dose that gives this share of the whole rise; may be repeated."),
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
    """The options as the workflow takes them. Raises UsageError for a value that no option has."""
    from tracker.workflow.options import Options

    require_known(kind, KINDS, "--kind", "kind of analysis")
    own_models = tuple(text for text in model or () if ":" in text)
    plain_models = [text for text in model or () if ":" not in text]
    for text in (*plain_models, *(text.rpartition(":")[2].strip() for text in own_models)):
        require_known(text, MODELS, "--model", "model")
    require_known(small_sample, SMALL_SAMPLE, "--small-sample", "small-sample method")
    if transform is not None:
        require_known(transform, TRANSFORMS, "--transform", "transformation")
    require_known(adjust, ADJUST, "--adjust", "allowance")
    require_known(intervals, INTERVALS, "--intervals", "kind of interval")
    require_known(link, LINKS, "--link", "link")
    if shape is not None:
        require_known(shape, (*SHAPES, *SHAPE_FAMILIES), "--shape", "shape")
    require_known(str(squares), SQUARES, "--squares", "type of sums of squares")
    require_share(confidence, "--confidence", "A confidence", such_as=0.95)
    for share in effective or ():
        require_share(share, "--effective", "A share", such_as=0.5)
    require_colon(slope or (), "--slope", "AMOUNT:GROUP")
    require_colon(interaction or (), "--interaction", "A:B")
    require_colon(contrast or (), "--contrast", "acid: yogurt = 1, lemon juice = -1")
    require_at_least(order, 1, "--order", "An order")
    require_at_least(seed, 0, "--seed", "A seed")
    return Options(
        kind=kind,  # type: ignore[arg-type]  # one of KINDS
        model=plain_models[-1] if plain_models else None,  # type: ignore[arg-type]  # one of MODELS
        models=own_models,
        dose=dose,
        by=by,
        shape=shape,
        groups=(*(group or ()), *([whole_plot] if whole_plot else [])),
        slopes=tuple(slope or ()),
        small_sample=small_sample,  # type: ignore[arg-type]  # one of SMALL_SAMPLE
        covariates=tuple(covariate or ()),
        weights=weights,
        transform=transform,  # type: ignore[arg-type]  # one of TRANSFORMS
        robust=robust,
        unequal_spread=unequal_spread,
        contrasts=tuple(contrast or ()),
        interactions=tuple(interaction or ()),
        adjust=adjust,  # type: ignore[arg-type]  # one of ADJUST
        margins=tuple(margin or ()),
        goals=tuple(goal or ()),
        accepts=tuple(accept or ()),
        importances=tuple(importance or ()),
        intervals=intervals,  # type: ignore[arg-type]  # one of INTERVALS
        link=link,  # type: ignore[arg-type]  # one of LINKS
        effective=tuple(effective or ()),
        references=tuple(reference or ()),
        order=order,
        squares=squares,  # type: ignore[arg-type]  # one of SQUARES
        confidence=confidence,
        seed=seed,
        follow=tuple(follow or ()),
    )


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
