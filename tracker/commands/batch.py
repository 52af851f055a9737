"""How are daily batches logged, judged and read from the command line?

Each area of it registers its commands from its own module: a Typer ``app`` there, and a
line in ``PARTS`` here.
"""

from __future__ import annotations

from tracker.commands import (
    GROUPS,
    batch_alarms,
    batch_causes,
    batch_chart,
    batch_fleet,
    batch_import,
    batch_limits,
    batch_log,
    batch_mend,
    batch_product,
    batch_read,
    batch_report,
    batch_rule,
)
from tracker.commands.shell import make_app

app = make_app(GROUPS["batch"][1])

# Without a name their commands stand beside each other; a part may hold a named group of its own.
PARTS = (
    batch_product,
    batch_log,
    batch_import,
    batch_mend,
    batch_read,
    batch_limits,
    batch_rule,
    batch_alarms,
    batch_chart,
    batch_causes,
    batch_report,
    batch_fleet,
)
for part in PARTS:
    app.add_typer(part.app)
