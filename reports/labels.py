"""What is stuck on a cake so that tasters see a code and nothing else?

Labels to cut: one for each piece of each run, with the blind code large and the trial small.
"""

from __future__ import annotations

from analysis.words import papers
from reports.html import plain, render, style_sheet
from reports.sheet import Sheet


def code_labels(sheet: Sheet) -> str:
    """The labels as one HTML document, in the order of baking. Same sheet, same bytes."""
    pieces = max((response.pieces for response in sheet.responses), default=1)
    labels = [
        {"code": plain(run.code), "piece": str(piece) if pieces > 1 else ""}
        for day in sheet.days
        for run in day.runs
        for piece in range(1, pieces + 1)
    ]
    values = {
        "words": papers,
        "trial": plain(sheet.trial),
        "labels": labels,
        "runs": sum(len(day.runs) for day in sheet.days),
    }
    return render("labels.html", style_sheet("bench.css"), values)
