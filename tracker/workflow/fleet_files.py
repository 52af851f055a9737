"""Which files make a fleet, what do they hold, and how is a row group of whole lines read?"""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.control.fleet.one_pass import Block, pass_over
from analysis.control.fleet.readings import KEY, require_columns
from analysis.control.fleet.specifications import LineSpecification, specification_of
from analysis.control.rules import Rule
from tracker.errors import InputError, NotFound
from tracker.workflow.batch_parquet import names_by_number

if TYPE_CHECKING:
    import numpy as np
    import pyarrow.parquet as pq

Names = tuple[str, str, str, str]
WHOLE = ("series", "place")  # whole numbers; what a pass reads beside the value and the names


@dataclass(frozen=True, kw_only=True)
class FleetFiles:
    """The Parquet files of a folder, in order of their names, each with its footer."""

    folder: Path
    paths: tuple[Path, ...]
    footers: tuple[pq.FileMetaData, ...]

    @property
    def columns(self) -> tuple[str, ...]:
        return tuple(self.footers[0].schema.to_arrow_schema().names)

    @property
    def site_in_folder(self) -> bool:
        """Do only the folders' names (``site=north``) say which site it is?"""
        return "site" not in self.columns and any("site=" in str(path.relative_to(self.folder)) for path in self.paths)


def find_files(folder: Path) -> FleetFiles:
    """Raises NotFound for a folder that is none, or that holds no Parquet; InputError for files that are not."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    if not folder.exists():
        raise NotFound(f"There is no folder {folder}.", where=str(folder), try_this="crumbwise batch export --parquet")
    found = [folder] if folder.is_file() else sorted(folder.rglob("*.parquet"))
    paths = tuple(path for path in found if not path.name.startswith("."))
    if not paths:
        raise NotFound(
            f"The folder {folder} holds no Parquet file.",
            where=str(folder),
            try_this=f"crumbwise batch export --parquet {folder}",
        )
    footers = []
    for path in paths:
        try:
            footers.append(pq.read_metadata(path))
        except (OSError, pa.ArrowException) as error:
            raise InputError(
                f"{path} is no Parquet file, or a damaged one.",
                where=str(path),
                try_this="write it anew, or move it away",
            ) from error
    for footer in footers:
        require_columns(footer.schema.to_arrow_schema().names)
    return FleetFiles(folder=folder, paths=paths, footers=tuple(footers))


def pass_over_files(
    files: FleetFiles,
    *,
    rules: Sequence[Rule],
    recent: int,
    specifications: Sequence[LineSpecification],
) -> dict[str, list[Any]] | None:
    """The columns of ``line_table`` from one pass over row groups; None where lines do not lie whole in them.

    Nothing is trusted: that lines are whole and in order is seen on the rows themselves.
    """
    if not all(_fits(footer) for footer in files.footers):
        return None
    groups = [
        (path, footer, known, group)
        for path, footer in zip(files.paths, files.footers, strict=True)
        for known in [names_by_number(footer)]
        for group in range(footer.num_row_groups)
        if footer.row_group(group).num_rows
    ]

    def work(which: tuple[Path, pq.FileMetaData, dict[int, Names], int]) -> dict[str, Any] | None:
        return _one_group(*which, rules=rules, recent=recent, specifications=specifications)

    import pyarrow  # noqa: F401  (once, before threads ask for it together)

    found: dict[str, list[Any]] = {}
    seen: set[int] = set()
    with ThreadPoolExecutor(os.cpu_count() or 1) as threads:
        for columns in _in_turn(threads, work, groups):
            series = [] if columns is None else columns.pop("series").tolist()
            if columns is None or not seen.isdisjoint(series):
                return None
            seen.update(series)
            for name, column in columns.items():
                found.setdefault(name, []).extend(column if isinstance(column, list) else column.tolist())
    return found


def _in_turn(threads: ThreadPoolExecutor, work: Any, groups: Sequence[Any]) -> Iterator[Any]:
    """Answers in order, a few groups ahead: a pass that is given up leaves little undone."""
    ahead = 2 * (os.cpu_count() or 1)
    waiting = [threads.submit(work, group) for group in groups[:ahead]]
    for following in range(ahead, len(groups) + ahead):
        if not waiting:
            return
        yield waiting.pop(0).result()
        if following < len(groups):
            waiting.append(threads.submit(work, groups[following]))


def _fits(footer: pq.FileMetaData) -> bool:
    import pyarrow as pa

    schema = footer.schema.to_arrow_schema()
    if any(name not in schema.names for name in (*WHOLE, *KEY, "value")):
        return False
    whole = all(pa.types.is_integer(schema.field(name).type) for name in WHOLE)
    texts = all(pa.types.is_string(schema.field(name).type) for name in KEY)
    return whole and texts and pa.types.is_floating(schema.field("value").type)


def _one_group(
    path: Path,
    footer: pq.FileMetaData,
    known: dict[int, Names],
    group: int,
    *,
    rules: Sequence[Rule],
    recent: int,
    specifications: Sequence[LineSpecification],
) -> dict[str, Any] | None:
    import numpy as np
    import pyarrow.parquet as pq

    with pq.ParquetFile(path, metadata=footer) as file:
        rows = file.read_row_group(group, columns=[*WHOLE, "value"], use_threads=False)
    if any(rows.column(name).null_count for name in WHOLE):
        return None
    block = Block(**{name: rows.column(name).to_numpy() for name in WHOLE}, value=_floats(rows.column("value")))
    if not block.whole():
        return None
    series = block.series[block.starts]
    lines = [known[number] for number in series.tolist() if number in known]
    if len(lines) < len(series):
        lines = _names(path, footer, group, block.starts)
    limits = {}
    if specifications:
        found = [specification_of(line, specifications) for line in lines]
        limits = {
            f"{side}_spec": np.array([np.nan if each is None else _or_nan(getattr(each, side)) for each in found])
            for side in ("lower", "upper")
        }
    names = dict(zip(KEY, map(list, zip(*lines, strict=True)), strict=True))
    return {"series": series, **names, **pass_over(block, rules=rules, recent=recent, **limits)}


def _names(path: Path, footer: pq.FileMetaData, group: int, starts: np.ndarray[Any, Any]) -> list[Names]:
    """The names in the first row of each line."""
    import pyarrow.parquet as pq

    with pq.ParquetFile(path, metadata=footer, read_dictionary=list(KEY)) as file:
        rows = file.read_row_group(group, columns=list(KEY), use_threads=False)
    columns = [[text or "" for text in rows.column(name).take(starts).to_pylist()] for name in KEY]
    return list(zip(*columns, strict=True))


def _floats(column: Any) -> np.ndarray[Any, Any]:
    import numpy as np

    return np.asarray(column.to_numpy(), dtype=np.float64)


def _or_nan(limit: float | None) -> float:
    return float("nan") if limit is None else limit
