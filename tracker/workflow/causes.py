"""Why did the batches change: what goes with a step or a drift in the daily log, or in a file of batches?

What each batch was made with is gathered here; the search is that of ``analysis.control.causes``.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.control.causes import find_causes
from analysis.control.results import BatchSeries
from analysis.control.why_results import MadeWith, Why
from analysis.words.causes import why_text
from tracker.current_batches import find_product
from tracker.errors import Conflict, NotFound, UsageError
from tracker.intake.spreadsheet import nearest, read_spreadsheet
from tracker.intake.stands_for import guess_stands_for
from tracker.workflow.batches import BatchLine, list_batches
from tracker.workflow.cause_columns import made_with_of, measured_in
from tracker.workflow.logged_responses import ResponseLine, responses_of

if TYPE_CHECKING:
    from tracker.store import Store

SETTINGS = ("line", "oven", "shift")
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


@dataclass(frozen=True, kw_only=True)
class WhyAnswer:
    """``title`` is the product or the file."""

    title: str
    why: Why
    remarks: tuple[str, ...] = ()

    def summary(self) -> str:
        """What a terminal shows."""
        return why_text(self.why)

    def to_json(self) -> dict[str, Any]:
        from analysis.control.why_json import why_json

        return why_json(self.why, source=self.title, remarks=self.remarks)


def why_product(store: Store, product: str, *, response: str | None = None, seed: int = 1) -> WhyAnswer:
    """What a response of a product's log changed with. Raises NotFound with the nearest name, Conflict
    without readings, and the errors of analysis.
    """
    lines, responses = list_batches(store, product), list_responses(store, product)
    read = {name for line in lines for name in line.values}
    known = [line for line in responses if line.name in read]
    if not known:
        raise Conflict(
            f'"{product}" has no reading yet.',
            where=f'product "{product}"',
            try_this=f'crumbwise batch log "{product}" NUMBER --reading "rise height=43.1"',
        )
    log, gaps = log_of(lines, _known(response, known, product), known)
    return WhyAnswer(title=product, why=find_causes(log, seed=seed, gaps=gaps))


def list_responses(store: Store, product: str) -> tuple[ResponseLine, ...]:
    """The responses of a product as they stand. Raises NotFound with the nearest name."""
    with store.read() as session:
        rows = responses_of(session, find_product(session, product))
    return tuple(ResponseLine(name=row.name, unit=row.unit, scale=row.scale, stands_for=row.stands_for) for row in rows)


def log_of(lines: Sequence[BatchLine], response: str, responses: Sequence[ResponseLine]) -> tuple[MadeWith, int]:
    """What the batches with a reading of the response were made with, and how many have none."""
    kept = [line for line in lines if line.values.get(response)]
    at = tuple(line.baked_at for line in kept)
    ingredients = dict.fromkeys(name for line in kept for name in line.lots)
    settings = {name: tuple(getattr(line, name) or None for line in kept) for name in SETTINGS}
    units = {each.name: each.unit for each in responses}
    beside = [each.name for each in responses if each.stands_for and each.name != response]
    log = MadeWith(
        series=BatchSeries(
            response=response,
            unit=units[response],
            batches=tuple(line.number for line in kept),
            values=tuple(_values(line, response) for line in kept),
            at=at,
        ),
        lots={name: tuple(line.lots.get(name) for line in kept) for name in ingredients},
        settings={name: column for name, column in settings.items() if any(column)} | weekdays(at),
        beside={name: tuple(_values(line, name) for line in kept) for name in beside},
        units=units,
        roles={each.name: each.stands_for for each in responses},
    )
    return log, len(lines) - len(kept)


def _values(line: BatchLine, name: str) -> tuple[float, ...]:
    """The readings of a batch, none when there is none; of a count the share of what it was taken out of."""
    values = tuple(line.values.get(name, ()))
    sizes = line.sizes.get(name)
    return (sum(values) / sum(sizes),) if sizes and sum(sizes) > 0 else values


def weekdays(at: Iterable[str]) -> dict[str, tuple[str | None, ...]]:
    """The day of the week of each batch, as its time says it; nothing without times."""
    days = tuple(WEEKDAYS[datetime.fromisoformat(each.replace("Z", "+00:00")).weekday()] for each in at if each)
    return {"weekday": days} if days else {}


def _known(response: str | None, known: Sequence[ResponseLine], product: str) -> str:
    """The response asked for; without a wish what stands for the rise, else the first that is nothing beside."""
    if response is None:
        rise = [each.name for each in known if each.stands_for == "rise"]
        plain = [each.name for each in known if not each.stands_for]
        return (rise or plain or [known[0].name])[0]
    for each in known:
        if each.name.casefold() == response.strip().casefold():
            return each.name
    names = [each.name for each in known]
    raise NotFound(
        f'No batch of "{product}" has a reading of "{response}".',
        where=f'product "{product}"',
        try_this=f'--response "{nearest(response, names) or names[0]}"',
    )


def why_file(path: str | Path, *, response: str | None = None, sheet: str | None = None, seed: int = 1) -> WhyAnswer:
    """The same of a CSV or XLSX file, one row a reading, in order of baking; columns are known by their names."""
    table = read_spreadsheet(path, sheet=sheet)
    if response is None:
        known = [name for name in measured_in(table) if guess_stands_for(name) in ("", "rise")]
        if len(known) != 1:
            raise UsageError(
                "Which column was measured is not said.",
                where="--response",
                try_this=f'--response "{known[0] if known else "NAME"}"',
            )
        response = known[0]
    made = made_with_of(table, response)
    log = made.log
    if "weekday" not in log.settings:
        log = replace(log, settings={**log.settings, **weekdays(log.series.at)})
    why = find_causes(log, seed=seed, gaps=made.gaps)
    return WhyAnswer(title=table.source, why=why, remarks=(*table.notes, *made.remarks))
