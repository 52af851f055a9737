"""How does a whole trial leave the kitchen, open to anyone and ready for another kitchen?

One zip: a table of readings (CSV and Parquet) described by ``datapackage.json``, the plan, the
formula, the report, and the record itself, from which another kitchen takes the trial in with
the same content hash. Same record and version, same bytes: files carry no time of their own.
"""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tracker.audit import canonical
from tracker.current import current_trial
from tracker.deeds import version
from tracker.errors import UsageError
from tracker.fingerprints import audit_head, content_hash_in
from tracker.intake.bundle_file import DESCRIPTION, FORMAT, FORMAT_VERSION, RECORD
from tracker.workflow.bundled import MAY_BE_MISSING, as_plain, rows_of_trial
from tracker.workflow.exporting import Column, Exported, export_table
from tracker.workflow.files import refuse_existing, write_whole

if TYPE_CHECKING:
    from tracker.current import CurrentTrial
    from tracker.store import Store

_OLDEST = (1980, 1, 1, 0, 0, 0)  # the first moment a zip can write: no clock in the file
_KINDS = {"count": "integer", "measured": "number", "amount": "number", "share": "number", "score": "number"}
_TEXT = {"category": "string", "code": "string", "text": "string", "yes-no": "string"}
READ_ME = """{title}

This is one trial with everything that belongs to it, made by crumbwise {version}.

  readings.csv      what was read at the bench, one row for each reading place
  readings.parquet  the same for programs that read Parquet; digits and order of levels are exact
  datapackage.json  what each column means, its unit and its levels (a Data Package)
  record.json       the record itself, with corrections and what they replaced, and the photos
{more}
To take it into a kitchen of your own:

  crumbwise trial unpack THIS.zip

People stand in it by number only. Baking is at your own care: hot ovens, raw flour and egg, allergens.
"""


def bundle_trial(store: Store, trial: str, path: str | Path, *, replace: bool = False) -> Path:
    """Write the trial as one zip, whole or not at all.

    Raises NotFound, UsageError (another ending than .zip) and Conflict (a file is there, unless ``replace``).
    """
    path = Path(path)
    if path.suffix.lower() != ".zip":
        raise UsageError(f"{path.name} does not end in .zip.", where="--out", try_this=f"--out {path.stem}.zip")
    if not replace:
        refuse_existing(path)
    return write_whole(path, bundle_bytes(store, trial))


def bundle_bytes(store: Store, trial: str) -> bytes:
    """The bundle as bytes."""
    with store.read() as session:
        current = current_trial(session, trial)
        record = {
            name: [as_plain(row) for row in rows]
            for name, rows in rows_of_trial(session, trial).items()
            if rows or name not in MAY_BE_MISSING
        }
        content = content_hash_in(session, trial)
    entries, head = audit_head(store)
    table = export_table(store, trial)
    report, why_none = _report(store, trial)
    files = {
        "readings.csv": table.csv().encode("utf-8"),
        "readings.parquet": _parquet(table),
        **({"plan.toml": current.trial.plan.encode("utf-8")} if current.trial.plan else {}),
        **({"formula.csv": _formula(current).encode("utf-8")} if current.formula else {}),
        **({"report.html": report.encode("utf-8")} if report else {}),
        RECORD: canonical(record).encode("utf-8"),
    }
    about = {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "made_with": version(),
        "trial": current.trial.name,
        "content_sha256": content,
        "audit_entries": entries,
        "audit_head": head,
        "files": {name: hashlib.sha256(data).hexdigest() for name, data in sorted(files.items())},
    }
    if why_none:
        about["no_report"] = why_none
    description = json.dumps(_package(current, table, files, about), ensure_ascii=False, indent=2) + "\n"
    return _zipped({"README.txt": _read_me(current, files).encode(), DESCRIPTION: description.encode(), **files})


def _report(store: Store, trial: str) -> tuple[str, str]:
    """The report, or why there is none: a trial without readings travels too."""
    from analysis.errors import AnalysisError
    from tracker.errors import TrackerError
    from tracker.workflow.analysing import analyse_trial
    from tracker.workflow.reporting import report_page

    try:
        return report_page(analyse_trial(store, trial)), ""
    except (AnalysisError, TrackerError) as error:
        return "", str(error)


def _package(
    current: CurrentTrial, table: Exported, files: Mapping[str, bytes], about: Mapping[str, Any]
) -> dict[str, Any]:
    """The description by the Data Package standard (datapackage.org, version 2)."""
    schema = {"fields": [_field(column) for column in table.columns], "missingValues": [""]}
    resources: list[dict[str, Any]] = [
        {**_resource("readings", "readings.csv", files, "csv", "text/csv"), "type": "table", "schema": schema},
        {
            **_resource("readings-parquet", "readings.parquet", files, "parquet", "application/vnd.apache.parquet"),
        },
    ]
    others = (
        ("plan.toml", "toml", "application/toml"),
        ("formula.csv", "csv", "text/csv"),
        ("report.html", "html", "text/html"),
        (RECORD, "json", "application/json"),
    )
    resources += [
        _resource(name.split(".")[0], name, files, ending, media) for name, ending, media in others if name in files
    ]
    return {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": _standard_name(current.trial.name),
        "title": current.trial.title,
        "description": current.trial.question or current.trial.title,
        "created": current.trial.made_at[:19] + "Z",
        "resources": resources,
        "crumbwise": about,
    }


def _standard_name(name: str) -> str:
    import re

    return re.sub(r"[^a-z0-9._-]+", "-", name.casefold()).strip("-") or "trial"


def _resource(name: str, path: str, files: Mapping[str, bytes], ending: str, media: str) -> dict[str, Any]:
    data = files[path]
    told = {"name": name, "path": path, "format": ending, "mediatype": media}
    if ending == "parquet":  # the standard's own validator counts no bytes there; the hash stands under "files"
        return told
    return {**told, "bytes": len(data), "encoding": "utf-8", "hash": f"sha256:{hashlib.sha256(data).hexdigest()}"}


def _field(column: Column) -> dict[str, Any]:
    kind = {**_KINDS, **_TEXT}.get(column.kind, "string")
    field: dict[str, Any] = {"name": column.name, "type": kind, "title": column.meaning}
    if column.unit:
        field["unit"] = column.unit
    if column.levels and kind == "string":
        field["categories"] = list(column.levels)
        field["categoriesOrdered"] = True
    return field


def _parquet(table: Exported) -> bytes:
    """The same table for programs: numbers with all their digits, levels as ordered categories."""
    import pandas as pd

    cells = list(zip(*table.rows, strict=True)) or [()] * len(table.columns)
    columns = {}
    for column, values in zip(table.columns, cells, strict=True):
        kind = {**_KINDS, **_TEXT}.get(column.kind, "string")
        if kind == "integer":
            columns[column.name] = pd.array(values, dtype="Int64")
        elif kind == "number":
            columns[column.name] = pd.array([None if v is None else float(v) for v in values], dtype="Float64")
        else:
            texts = [None if value is None else str(value) for value in values]
            ordered = column.kind == "category" and column.levels
            columns[column.name] = (
                pd.Categorical(texts, categories=list(column.levels), ordered=True)
                if ordered
                else pd.array(texts, "str")
            )
    out = io.BytesIO()
    pd.DataFrame(columns).to_parquet(out, index=False)
    return out.getvalue()


def _formula(current: CurrentTrial) -> str:
    import csv

    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(("ingredient", "bakers_percent", "flour"))
    writer.writerows((line.ingredient, repr(line.bakers_percent), line.flour) for line in current.formula_lines)
    return out.getvalue()


def _read_me(current: CurrentTrial, files: Mapping[str, bytes]) -> str:
    told = {
        "plan.toml": "  plan.toml         the plan as it was written\n",
        "formula.csv": "  formula.csv       the formula in baker's percent\n",
        "report.html": "  report.html       what the trial says, with its pictures\n",
    }
    more = "".join(line for name, line in told.items() if name in files)
    return READ_ME.format(title=current.trial.title, version=version(), more=more)


def _zipped(files: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", compression=zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            entry = zipfile.ZipInfo(name, date_time=_OLDEST)
            entry.compress_type = zipfile.ZIP_DEFLATED
            entry.external_attr = 0o644 << 16
            archive.writestr(entry, data)
    return out.getvalue()
