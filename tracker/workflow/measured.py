"""What was measured at the bench beside the responses, to be taken out as a covariate?"""

from __future__ import annotations

from dataclasses import replace

from tracker.frames import TrialTables

OVEN = "oven temperature"


def with_measured(tables: TrialTables) -> TrialTables:
    """The tables with the measured oven temperature (°C), where one was recorded and nothing else is called that."""
    if not tables.runs["oven_temperature_c"].notna().any():
        return tables
    found = dict(zip(tables.runs["bake"].astype(str), tables.runs["oven_temperature_c"], strict=True))
    wider = {
        name: table if OVEN in table else table.assign(**{OVEN: table["bake"].astype(str).map(found).astype("float64")})
        for name, table in tables.tables.items()
    }
    return replace(tables, tables=wider)


def measured_names(tables: TrialTables) -> list[str]:
    """Columns that may be named as covariates beside factors, blocks and groups."""
    return [OVEN] if any(OVEN in table for table in tables.tables.values()) else []
