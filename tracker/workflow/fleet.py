"""Which of very many product lines, at all sites, need eyes?

Readings that were exported as Parquet are worked out by the embedded engine or by a cluster; where the files
have the layout of our own export, one pass over them is enough. The answers are the same.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.control.fleet.lines import RECENT, alarm_table, line_table
from analysis.control.fleet.readings import Readings, largest_batch, readings
from analysis.control.fleet.results import Fleet, LineAnswer, line_answers
from analysis.control.fleet.serialise import fleet_json
from analysis.control.fleet.specifications import LineSpecification, checked
from analysis.control.rules import DEFAULT, require_rules
from analysis.errors import AnalysisError
from analysis.words.fleet import SHOWN, say_fleet
from tracker.errors import InputError, NotFound, TrackerError, UsageError
from tracker.workflow.files import write_whole
from tracker.workflow.fleet_engines import EMBEDDED, SPARK, connected, spoken, unreachable
from tracker.workflow.fleet_files import FleetFiles, find_files, pass_over_files

if TYPE_CHECKING:
    import pyarrow as pa
    from ibis.backends import BaseBackend

ONE_PASS = "one pass"  # noqa: S105 (what the answer calls it)


@dataclass(frozen=True, kw_only=True)
class FleetAsked:
    """What is asked of a fleet.

    ``place`` is a folder of Parquet files, or what the engine itself calls a folder or a table. ``engine`` None lets
    the files decide: one pass over whole lines where they lie so, else the embedded engine.
    """

    place: str
    engine: str | None = None
    rules: tuple[str, ...] = DEFAULT
    specifications: tuple[LineSpecification, ...] = field(default_factory=tuple)
    recent: int = RECENT


@dataclass(frozen=True, kw_only=True)
class FleetAnswer:
    fleet: Fleet

    def summary(self, shown: int = SHOWN) -> str:
        return say_fleet(self.fleet, shown=shown)

    def to_json(self) -> dict[str, Any]:
        return fleet_json(self.fleet)


def look_over(asked: FleetAsked) -> FleetAnswer:
    """Limits, alarms and, with specifications, capability of every line.

    Raises NotFound for a folder without readings or an engine that does not answer, TrialDataError for
    columns or specifications that make no sense, InputError for damaged files, UsageError for an unknown engine.
    """
    rules = require_rules(asked.rules)
    specifications = checked(asked.specifications)
    columns, engine = None, asked.engine or EMBEDDED
    if asked.engine is None:
        columns = pass_over_files(
            find_files(Path(asked.place)), rules=rules, recent=asked.recent, specifications=specifications
        )
    if columns is not None:
        engine = ONE_PASS
    else:
        with connected(engine) as connection:
            given, largest = _open(connection, engine, asked.place)
            wanted = line_table(given, rules=rules, largest=largest, specifications=specifications, recent=asked.recent)
            columns = _run(connection, engine, wanted).to_pydict()
    names = tuple(rule.key for rule in rules)
    lines = line_answers(columns, names)
    if not lines:
        raise NotFound("There is no reading in the files.", where=asked.place, try_this="export batches first")
    return FleetAnswer(fleet=Fleet(engine=spoken(engine), rules=names, recent=asked.recent, lines=lines))


def list_alarms(asked: FleetAsked) -> pa.Table:
    """One row for each rule that a batch completed, ordered by line and batch. Raises as ``look_over``."""
    rules = require_rules(asked.rules)
    engine = asked.engine or EMBEDDED
    with connected(engine) as connection:
        given, largest = _open(connection, engine, asked.place)
        return _run(connection, engine, alarm_table(given, rules=rules, largest=largest))


def _open(connection: BaseBackend, engine: str, place: str) -> tuple[Readings, int]:
    """The readings as the engine sees them, and how many the largest batch has."""
    given = readings(_table(connection, engine, place))
    largest = _run(connection, engine, largest_batch(given).as_table()).to_pydict()
    ((number,),) = largest.values()
    return given, int(number or 1)


def _table(connection: Any, engine: str, place: str) -> Any:
    on_disk = Path(place).exists() or engine == EMBEDDED
    if not on_disk and "://" not in place:
        return _asked_of(engine, lambda: connection.table(place))
    where, how = _reading(engine, place, find_files(Path(place)) if on_disk else None)
    return _asked_of(engine, lambda: connection.read_parquet(where, **how))


def _reading(engine: str, place: str, files: FleetFiles | None) -> tuple[Any, dict[str, Any]]:
    """How an engine reads the folder: the site stands in the files, or else in the folders' names, as text."""
    in_folder = files is not None and files.site_in_folder
    if engine.partition("://")[0] == SPARK:
        # The specifications beside them are no readings. A look into all folders leaves their names alone.
        return place, {"pathGlobFilter": "*.parquet", **({} if in_folder else {"recursiveFileLookup": True})}
    where = place if files is None else [str(path) for path in files.paths]
    if engine.partition("://")[0] != EMBEDDED:
        return where, {}
    return where, {"hive_partitioning": in_folder, **({"hive_types_autocast": False} if in_folder else {})}


def _run(connection: Any, engine: str, expression: Any) -> pa.Table:
    if connection.name == SPARK:  # Ibis would go through pandas, whose version 3 PySpark does not fully support
        return _asked_of(engine, lambda: connection.raw_sql(connection.compile(expression)).toArrow())
    return _asked_of(engine, lambda: connection.to_pyarrow(expression))


def _asked_of(engine: str, question: Any) -> Any:
    """The answer; what an engine throws becomes a sentence that names it."""
    try:
        return question()
    except (TrackerError, AnalysisError, KeyboardInterrupt, MemoryError):
        raise
    except Exception as error:
        if engine != EMBEDDED:
            raise unreachable(engine, error) from error
        said = str(error).strip().splitlines()
        raise InputError(
            f"The files could not be read together: {said[0].rstrip('.') if said else type(error).__name__}.",
            where="Parquet files",
            try_this="look whether all files have the same columns",
        ) from error


def write_lines(answer: FleetAnswer, path: Path) -> Path:
    """All lines as a table, a column for each number and each rule. Raises UsageError for another kind of file."""
    import pyarrow as pa

    rows = []
    for line in answer.fleet.lines:
        row = {name: getattr(line, name) for name in LineAnswer.__dataclass_fields__ if name != "alarms"}
        rows.append(row | {rule.replace(" ", "_"): count for rule, count in line.alarms.items()})
    return _write(pa.Table.from_pylist(rows), path)


def write_alarms(asked: FleetAsked, path: Path) -> Path:
    """Every alarm as a table, one row each. Raises UsageError for another kind of file, and as ``look_over``."""
    _suffix(path)
    return _write(list_alarms(asked), path)


def _write(table: pa.Table, path: Path) -> Path:
    import io

    import pyarrow.csv as arrow_csv
    import pyarrow.parquet as pq

    written = io.BytesIO()
    if _suffix(path) == ".csv":
        arrow_csv.write_csv(table, written)
    else:
        pq.write_table(table, written)
    return write_whole(path, written.getvalue())


def _suffix(path: Path) -> str:
    suffix = path.suffix.casefold()
    if suffix not in (".csv", ".parquet"):
        raise UsageError(f"{path} is neither .csv nor .parquet.", where="--out", try_this=f"{path.stem or 'lines'}.csv")
    return suffix
