"""How does a trial from another kitchen come in, with nothing changed?

Its rows come in as they are, corrections and what they replaced alike, under numbers of this
kitchen. People become numbers of their own here; nobody's name travels. What stands afterwards
has to have the content hash that it had where it was baked, or nothing is stored.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlmodel import Session, SQLModel, col, select

from tracker.current import standing
from tracker.deeds import Deed
from tracker.errors import Conflict, IntegrityError
from tracker.fingerprints import content_hash_in
from tracker.intake.bundle_file import Bundle, read_bundle
from tracker.models import Formula, FormulaLine, Ingredient, Instrument, Person, Trial
from tracker.store import Store
from tracker.workflow.bundled import BY_NAME, MAY_BE_MISSING
from tracker.workflow.photos import check_photos

Row = Mapping[str, Any]
Numbers = dict[str, dict[int, int]]  # table -> number there -> number here


@dataclass(frozen=True, kw_only=True)
class Unpacked:
    """``rows`` counts what came in; ``remarks`` say what this kitchen kept its own of."""

    trial: str
    content_sha256: str
    rows: Mapping[str, int]
    remarks: tuple[str, ...] = ()

    def summary(self) -> str:
        runs, readings = self.rows["run"], self.rows["reading"]
        return (
            f'Trial "{self.trial}" came in with {runs} runs and {readings} readings; '
            f"its content is what it was (SHA-256 {self.content_sha256[:12]}…)."
        )

    def to_json(self) -> dict[str, Any]:
        return {
            "trial": self.trial,
            "content_sha256": self.content_sha256,
            "rows": dict(self.rows),
            "remarks": list(self.remarks),
        }


def bundle_in(path: str | Path) -> Bundle:
    """The bundle in a file, checked; needs no kitchen.

    Raises NotFound and InputError for the file, IntegrityError when it was changed.
    """
    return read_bundle(path, BY_NAME, may_be_missing=MAY_BE_MISSING)


def unpack_trial(store: Store, bundle: Bundle | str | Path, *, person: int = 1) -> Unpacked:
    """Take a bundle in; all of it or nothing.

    Raises what ``bundle_in`` raises for a path, and Conflict when a trial of that name, or another formula of
    that name and version, stands here.
    """
    if not isinstance(bundle, Bundle):
        bundle = bundle_in(bundle)
    source = bundle.source
    check_photos(
        {row["id"]: row["sha256"] for row in bundle.rows["photo"]},
        {row["photo_id"]: row["content"] for row in bundle.rows["photo_content"]},
        where=source,
    )
    with store.write(person=person, action="unpack trial", reason=f"bundle {source}") as deed:
        _refuse_taken(deed.session, bundle)
        numbers: Numbers = {"person": _people(deed, bundle)}
        remarks = _ingredients(deed, bundle.rows["ingredient"])
        _instruments(deed, bundle.rows["instrument"], numbers)
        _formula(deed, bundle, numbers)
        for name in BY_NAME:
            if name not in ("ingredient", "instrument", "formula", "formula_line"):
                _take_in(deed, name, bundle.rows[name], numbers)
        found = content_hash_in(deed.session, bundle.trial)
        if found != bundle.content_sha256:
            raise IntegrityError(
                f'Trial "{bundle.trial}" would not be what it was: its content hash differs. Nothing was taken in.',
                where=source,
                try_this="make the bundle again where the trial was baked",
            )
    return Unpacked(
        trial=bundle.trial,
        content_sha256=found,
        rows={name: len(rows) for name, rows in bundle.rows.items()},
        remarks=tuple(remarks),
    )


def _refuse_taken(session: Session, bundle: Bundle) -> None:
    if session.exec(select(Trial.id).where(Trial.name == bundle.trial)).first() is None:
        return
    same = content_hash_in(session, bundle.trial) == bundle.content_sha256
    told = "and its content is the same" if same else "and its content is not that of the bundle"
    raise Conflict(
        f'There is a trial "{bundle.trial}" here already, {told}; it was left as it is.',
        where="kitchen",
        try_this=f'crumbwise trial show "{bundle.trial}"' if same else "--kitchen another.db",
    )


def _people(deed: Deed, bundle: Bundle) -> dict[int, int]:
    """Each number of the other kitchen becomes a new one here: who was who stays apart, nobody is mixed up."""
    there = sorted({row["person_id"] for rows in bundle.rows.values() for row in rows if "person_id" in row})
    here = deed.add_many(Person(made_at=deed.at) for _ in there)
    return {number: person.id or 0 for number, person in zip(there, here, strict=True)}


def _ingredients(deed: Deed, rows: Sequence[Row]) -> list[str]:
    """Measured values come in where this kitchen has none of that ingredient; its own are kept and named."""
    remarks = []
    chains: dict[str, list[Row]] = {}
    for row in rows:
        chains.setdefault(row["name"], []).append(row)
    for name, chain in chains.items():
        own = standing(
            deed.session.exec(select(Ingredient).where(Ingredient.name == name).order_by(col(Ingredient.id)))
        )
        if not own:
            _take_in(deed, "ingredient", chain, {"ingredient": {}})
        elif _measured(own[-1].model_dump()) != _measured(chain[-1]):
            remarks.append(
                f"{name} was measured otherwise where the trial was baked; this kitchen kept its own values."
            )
    return remarks


def _measured(row: Row) -> dict[str, Any]:
    return {name: value for name, value in row.items() if name not in ("id", "replaces_id", "source", "price_per_kg")}


def _instruments(deed: Deed, rows: Sequence[Row], numbers: Numbers) -> None:
    known = {row.name: row.id or 0 for row in deed.session.exec(select(Instrument))}
    new = [row for row in rows if row["name"] not in known]
    _take_in(deed, "instrument", new, numbers)
    numbers["instrument"] |= {row["id"]: known[row["name"]] for row in rows if row["name"] in known}


def _formula(deed: Deed, bundle: Bundle, numbers: Numbers) -> None:
    """The formula that is here already, if it is the same; else it comes in."""
    numbers["formula"] = {}
    lines = bundle.rows["formula_line"]
    for row in bundle.rows["formula"]:
        wanted = select(Formula).where(Formula.name == row["name"], Formula.version == row["version"])
        here = deed.session.exec(wanted).first()
        if here is None:
            _take_in(deed, "formula", [row], numbers)
            _take_in(deed, "formula_line", lines, numbers)
            continue
        ours = deed.session.exec(
            select(FormulaLine).where(FormulaLine.formula_id == here.id).order_by(col(FormulaLine.position))
        )
        theirs = sorted(lines, key=lambda line: int(line["position"]))
        if here.method != row["method"] or [_said(line.model_dump()) for line in ours] != [*map(_said, theirs)]:
            raise Conflict(
                f'The formula "{row["name"]}", version {row["version"]}, is another one here.',
                where="kitchen",
                try_this="--kitchen another.db",
            )
        numbers["formula"][row["id"]] = here.id or 0


def _said(line: Row) -> tuple[Any, ...]:
    return tuple(line[name] for name in ("position", "ingredient", "bakers_percent", "flour"))


def _take_in(deed: Deed, name: str, rows: Sequence[Row], numbers: Numbers) -> None:
    """Store rows under new numbers; those that refer to others of their table come after them."""
    table = BY_NAME[name]
    columns = {str(key.parent.name): str(key.column.table.name) for key in table.__table__.foreign_keys}  # type: ignore[attr-defined]
    here = numbers.setdefault(name, {})
    waiting = list(rows)
    while waiting:
        ready = [row for row in waiting if all(_known(row[c], numbers.get(t, {})) for c, t in columns.items())]
        if not ready:
            raise IntegrityError(
                f"A row of {name} refers to one that is not in the bundle. Nothing was taken in.",
                where="record.json",
                try_this="make the bundle again where the trial was baked",
            )
        stored = deed.add_many(_row(table, row, columns, numbers) for row in ready)
        here |= {row["id"]: kept.id for row, kept in zip(ready, stored, strict=True)}  # type: ignore[attr-defined]
        taken = {row["id"] for row in ready}
        waiting = [row for row in waiting if row["id"] not in taken]


def _known(number: int | None, here: Mapping[int, int]) -> bool:
    return number is None or number in here


def _row(table: type[SQLModel], row: Row, columns: Mapping[str, str], numbers: Numbers) -> SQLModel:
    values = {name: value for name, value in row.items() if name != "id"}
    for column, refers_to in columns.items():
        if values[column] is not None:
            values[column] = numbers[refers_to][values[column]]
    return table(**values)
