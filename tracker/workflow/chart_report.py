"""How do the charts that were asked for become one page?"""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.control.charts import AUTO
from analysis.control.rules import DEFAULT
from analysis.words.control import say_false_alarms
from tracker.workflow.chart_wishes import OF, Chosen
from tracker.workflow.charting import ChartAnswer
from tracker.workflow.provenance import as_words, versions

if TYPE_CHECKING:
    from tracker.workflow.reporting import Beside, Look


def chart_command(what: str, responses: Sequence[str], chosen: Chosen, *, sheet: str | None = None) -> list[str]:
    """The command as it would be typed again, without what is left at its default."""
    words = ["crumbwise", "batch", "chart", what]
    words += [word for name in responses for word in ("--response", name)]
    words += [] if chosen.kind == AUTO else ["--kind", chosen.kind]
    words += [] if chosen.rules == DEFAULT else [word for rule in chosen.rules for word in ("--rule", rule)]
    limits = (("--lower-spec", chosen.lower), ("--upper-spec", chosen.upper), ("--target", chosen.target))
    words += [word for option, value in limits if value is not None for word in (option, f"{value:g}")]
    words += ["--size", chosen.size] if chosen.size else []
    words += [] if chosen.of == OF[0] else ["--of", chosen.of]
    words += [word for name, value in chosen.settings.items() for word in ("--setting", f"{name}={value}")]
    return words + (["--sheet", sheet] if sheet else [])


def write_charts(
    answer: ChartAnswer, path: Path, *, command: Sequence[str], look: Look, beside: Beside, invented: bool = False
) -> Path:
    """One HTML or PDF file, whole or not at all. Raises UsageError for an ending that is no page's."""
    from tracker.workflow.reporting import write_page

    def page() -> str:
        return _page(answer, [*command, *look.said(), "--report", "report.html"], invented)

    return write_page(page, path, look=look, paper=beside.paper, option="--report")


def _page(answer: ChartAnswer, command: Sequence[str], invented: bool) -> str:
    from reports.charts import ChartsTold, charts_page

    cost = () if answer.cost is None else (say_false_alarms(answer.cost),)
    told = [ChartsTold(charts=one.charts, beside=one.capability_words, short=one.short) for one in answer.charted]
    told[-1] = replace(told[-1], beside=(*told[-1].beside, *cost))
    facts = {
        "source": answer.title,
        "content_sha256": answer.content_sha256 or None,
        "rows_read": answer.rows_read,
        "rows_left_out": len(answer.left_out),
        "versions": versions(),
        "command": shlex.join(command),
    }
    page = charts_page(told, title=answer.title, provenance=as_words(facts), remarks=answer.notes(), invented=invented)
    return page.html()
