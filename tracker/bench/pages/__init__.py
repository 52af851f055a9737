"""Which pages are there?

A page is a module with a ``router``; its line in ``PAGES`` serves it. ``MENU`` says what
stands at the top of every page: path, word, and the role that sees it.
"""

from __future__ import annotations

from tracker.bench.pages import (
    batch,
    formula,
    people,
    photo,
    plan,
    plan_release,
    product,
    results,
    run,
    signing,
    taste,
    tasting,
    today,
    trust,
)

PAGES = (
    run,  # asked most often, so looked at first
    signing,
    today,
    plan,
    plan_release,
    photo,
    batch,
    product,
    formula,
    tasting,
    taste,
    results,
    people,
    trust,
)

MENU = (
    ("/", "Today", "baker"),
    ("/plan", "Plan", "analyst"),
    ("/run", "Run", "baker"),
    ("/batch", "Batches", "baker"),
    ("/formula", "Formulas", "baker"),
    ("/tasting", "Tasting", "baker"),
    ("/taste", "Taste", "taster"),
    ("/results", "Results", "analyst"),
    ("/people", "People", "owner"),
)
