"""Which options say how a report looks and what is written beside it? Spelled once for trials and spreadsheets."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from tracker.errors import UsageError

if TYPE_CHECKING:
    from tracker.workflow.reporting import Beside, Look

MARKS = ("point", "comma")
DEGREES = ("C", "F")
PAPERS = ("A4", "Letter")

ForOption = Annotated[str, typer.Option("--for", metavar="READER", help="For whom it is: kitchen, class or panel.")]
DecimalOption = Annotated[str, typer.Option(metavar="MARK", envvar="CRUMBWISE_DECIMAL", help="Decimal point or comma.")]
TemperatureOption = Annotated[str, typer.Option(metavar="UNIT", envvar="CRUMBWISE_TEMPERATURE", help="Degrees C or F.")]
PaperOption = Annotated[str, typer.Option(metavar="SIZE", help="A4 or Letter, for a PDF.")]
BalanceReportOption = Annotated[
    Path | None, typer.Option("--report", metavar="FILE.html|FILE.pdf", help="Write a report here as well.")
]
PicturesOption = Annotated[
    Path | None, typer.Option(metavar="FOLDER", help="Write its pictures here too, as SVG and PNG.")
]
TablesOption = Annotated[
    Path | None, typer.Option(metavar="FOLDER|FILE.xlsx", help="Write its tables here too: CSV files or one workbook.")
]


def look_of(reader: str, decimal: str, temperature: str) -> Look:
    """How the page is written. Raises UsageError for a word that is none of the known."""
    from tracker.workflow.reporting import Look

    return Look(
        reader=reader,
        decimal=_one_of(decimal, MARKS, "--decimal", "decimal mark"),  # type: ignore[arg-type]  # one of MARKS
        temperature=_one_of(temperature, DEGREES, "--temperature", "unit of warmth"),  # type: ignore[arg-type]
    )


def beside_of(pictures: Path | None, tables: Path | None, paper: str) -> Beside:
    """What is written beside the page."""
    from tracker.workflow.reporting import Beside

    size = _one_of(paper, PAPERS, "--paper", "paper")
    return Beside(pictures=pictures, tables=tables, paper=size)  # type: ignore[arg-type]  # one of PAPERS


def _one_of(said: str, known: tuple[str, ...], option: str, what: str) -> str:
    for word in known:
        if word.casefold() == said.strip().casefold():
            return word
    raise UsageError(f'"{said}" is no {what}.', where=option, try_this=f"{option} {known[0]} (of {', '.join(known)})")
