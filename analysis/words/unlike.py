"""How is it said in what trials that are put together differ?"""

from __future__ import annotations

from collections.abc import Mapping

from analysis.words.numbers import join_words, start

UNKNOWN = "not known"
TITLE = "What differs between the trials"
CAPTION = "The trials, in order of time"


def rows_of(about: Mapping[str, Mapping[str, str]]) -> tuple[tuple[str, ...], ...]:
    """(what, one cell for each trial), what differs first. ``about``: trial -> what -> how it is there."""
    whats = list(dict.fromkeys(what for facts in about.values() for what in facts))
    rows = [(what, *(facts.get(what) or UNKNOWN for facts in about.values())) for what in whats]
    return tuple(sorted(rows, key=lambda row: len(set(row[1:])) == 1))


def say_unlike(about: Mapping[str, Mapping[str, str]]) -> str:
    """ "They differ in baked and bakes, and are alike in formula and flour." """
    rows = rows_of(about)
    unlike = [row[0] for row in rows if len(set(row[1:])) > 1]
    alike = [row[0] for row in rows if len(set(row[1:])) == 1 and row[1] != UNKNOWN]
    said = [f"they differ in {join_words(unlike)}"] if unlike else []
    said += [f"{'' if unlike else 'they '}are alike in {join_words(alike)}"] if alike else []
    if not said:
        return "Nothing is known of how the trials were made."
    why = " Any of what differs may be why their effects do." if unlike else ""
    return start(f"{', and '.join(said)}.{why}")
