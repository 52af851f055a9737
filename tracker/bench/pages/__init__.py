"""Which pages are there?

A page is a module with a ``router``; its line in ``PAGES`` serves it. ``MENU`` says what
stands at the top of every page: path, word, and the role that sees it.
"""

from __future__ import annotations

from tracker.bench.pages import batch, formula, people, plan, results, run, signing, today

PAGES = (signing, today, plan, run, batch, formula, results, people)

MENU = (
    ("/", "Today", "baker"),
    ("/plan", "Plan", "analyst"),
    ("/run", "Run", "baker"),
    ("/batch", "Batches", "baker"),
    ("/formula", "Formulas", "baker"),
    ("/results", "Results", "analyst"),
    ("/people", "People", "owner"),
)
