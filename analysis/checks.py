"""Is the frame fit to analyse?

Public functions check their frame here, once, in their first lines; below that
code trusts its input.
"""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

import pandas as pd

from analysis.errors import TrialDataError


def nearest(name: str, known: Iterable[str]) -> str | None:
    """The known name most like ``name``, ignoring case and underscores; None when none is close."""
    plain = {_plain(candidate): candidate for candidate in known}
    close = get_close_matches(_plain(name), plain, n=1, cutoff=0.6)
    return plain[close[0]] if close else None


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """What to try when ``name`` is unknown: the nearest name, or the list to choose from."""
    known = [str(candidate) for candidate in known]
    close = nearest(name, known)
    if close is not None:
        return f'Did you mean "{close}"?'
    if not known:
        return "There is nothing to choose from: the table has no columns."
    return "Choose from: " + ", ".join(f'"{candidate}"' for candidate in known) + "."


def require_columns(frame: pd.DataFrame, names: Iterable[str], *, where: str = "") -> None:
    """Every name is a column of the frame, exactly once; else TrialDataError with the nearest name."""
    known = [str(column) for column in frame.columns]
    for name in names:
        if name not in known:
            raise TrialDataError(f'There is no column "{name}".', where=where, try_this=did_you_mean(name, known))
        if known.count(name) > 1:
            raise TrialDataError(
                f'The column "{name}" stands there {known.count(name)} times.',
                where=where,
                try_this="Rename or remove all but one of them.",
            )


def _plain(name: str) -> str:
    return " ".join(str(name).casefold().replace("_", " ").split())
