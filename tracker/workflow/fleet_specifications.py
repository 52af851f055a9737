"""Which specifications hold for a fleet: a file's, one for all lines, or those exported beside the readings?"""

from __future__ import annotations

import csv
from pathlib import Path

from analysis.control.fleet.specifications import LineSpecification
from analysis.control.results import Specification
from tracker.errors import InputError, NotFound
from tracker.workflow.batch_parquet import SPECIFICATIONS

LIMITS = ("lower", "upper", "target")


def specifications_for(
    place: str, *, file: Path | None = None, lower: float | None = None, upper: float | None = None
) -> tuple[LineSpecification, ...]:
    """The file's, else ``lower`` and ``upper`` for every line, else those in the folder; perhaps none.

    Raises NotFound for a file that is not there, InputError for one that cannot be read.
    """
    if file is not None:
        if not file.is_file():
            raise NotFound(f"There is no file {file}.", where="--spec", try_this="a CSV with response, lower and upper")
        return read_specifications(file)
    if lower is not None or upper is not None:
        return (LineSpecification(specification=Specification(response="", lower=lower, upper=upper)),)
    folder = Path(place)
    found = sorted(folder.rglob(SPECIFICATIONS)) if folder.is_dir() else []
    return tuple(each for path in found for each in read_specifications(path))


def read_specifications(path: Path) -> tuple[LineSpecification, ...]:
    """A CSV with the columns response, lower, upper, and perhaps product, site, target, unit; rows without limits go.

    Raises InputError that names the row.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as stream:
            rows = list(csv.DictReader(stream))
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise InputError(
            f"{path} cannot be read as CSV.", where=str(path), try_this="save it as CSV in UTF-8"
        ) from error
    if rows and not {"lower", "upper"} & set(rows[0]):
        raise InputError(
            f'{path} has neither a column "lower" nor "upper".',
            where=str(path),
            try_this="columns: product, response, lower, upper",
        )
    found = [_row(path, number, row) for number, row in enumerate(rows, 2)]
    return tuple(each for each in found if (each.specification.lower, each.specification.upper) != (None, None))


def _row(path: Path, number: int, row: dict[str, str]) -> LineSpecification:
    def text(name: str) -> str:
        return (row.get(name) or "").strip()

    limits: dict[str, float | None] = {}
    for name in LIMITS:
        try:
            limits[name] = float(text(name)) if text(name) else None
        except ValueError as error:
            raise InputError(
                f'"{text(name)}" is not a number.',
                where=f"{path}, line {number}, {name}",
                try_this="a number like 42.5",
            ) from error
    return LineSpecification(
        product=text("product"),
        site=text("site"),
        response=text("response"),
        specification=Specification(response=text("response"), unit=text("unit"), **limits),
    )
