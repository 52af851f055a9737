"""Which options say how to analyse? Spelled once for a trial and for a spreadsheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from tracker.errors import UsageError

if TYPE_CHECKING:
    from tracker.workflow.options import Options

KINDS = ("auto", "factors", "dose")

ResponseOption = Annotated[list[str] | None, typer.Option(metavar="NAME", help="What was measured; may be repeated.")]
KindOption = Annotated[
    str, typer.Option(metavar="auto|factors|dose", help="Which variables matter, or how the response follows a dose.")
]
DoseOption = Annotated[str | None, typer.Option(metavar="NAME", help="The amount that is the dose.")]
ByOption = Annotated[str | None, typer.Option(metavar="NAME", help="One curve for each level of this category.")]
ShapeOption = Annotated[
    str | None, typer.Option(metavar="SHAPE", help="Shape of the curve; the best of them when left out.")
]
GroupOption = Annotated[
    str | None, typer.Option(metavar="A+B", help="Readings that share this share an error (a whole plot, a bake day).")
]
ReferenceOption = Annotated[
    list[str] | None,
    typer.Option(metavar="LEVEL", help='Level the others are compared with, or "FACTOR:LEVEL"; may be repeated.'),
]
OrderOption = Annotated[int, typer.Option(metavar="N", help="Interactions of up to this many factors.")]
SquaresOption = Annotated[int, typer.Option(metavar="1|2|3", help="Type of the sums of squares.")]
ConfidenceOption = Annotated[float, typer.Option(metavar="SHARE", help="Confidence of the intervals.")]
SeedOption = Annotated[int, typer.Option(metavar="N", help="Seed of the resampling.")]

FollowOption = Annotated[
    list[str] | None,
    typer.Option(
        metavar="CHEMISTRY", help="gas, soda left, acid left or predicted pH in place of the factors; may be repeated."
    ),
]


def options_of(**said: Any) -> Options:
    """The options as the workflow takes them."""
    from tracker.workflow.options import Options

    if said["kind"] not in KINDS:
        from tracker.intake.spreadsheet import nearest

        near = nearest(said["kind"], KINDS) or "auto"
        raise UsageError(
            f'"{said["kind"]}" is no kind of analysis.',
            where="--kind",
            try_this=f"--kind {near} (of {', '.join(KINDS)})",
        )
    references = tuple(said.pop("reference") or ())
    follow = tuple(said.pop("follow", None) or ())
    return Options(references=references, follow=follow, **said)
