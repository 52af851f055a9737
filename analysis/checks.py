"""Is the frame fit to analyse?

Public functions check their frame here, once, in their first lines; below that
code trusts its input. What makes an answer impossible is raised; what only makes
it doubtful comes back as a ``Check``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from difflib import get_close_matches
from itertools import combinations

import numpy as np
import pandas as pd

from analysis.errors import NotPossible, TrialDataError
from analysis.questions import FactorKind, Response
from analysis.results import Check

# Beyond this many shared leading digits a difference sits in the last few digits a
# double can hold (NIST SmLs07-09 share 13 and defeat a textbook F).
SHARED_DIGITS = 9
YES_NO = {"yes": 1.0, "no": 0.0, "true": 1.0, "false": 0.0}
_DECIMAL_COMMA = re.compile(r"^\s*[+-]?\d+,\d+\s*$")
_NAMED = 5  # rows named in a message before "and more"


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


def row_names(frame: pd.DataFrame) -> list[int | str]:
    """What to call each row: its label when the index is named "row", else 1, 2, 3 …"""
    if frame.index.name == "row":
        return [label if isinstance(label, str) else int(label) for label in frame.index.tolist()]
    return list(range(1, len(frame) + 1))


def numbers(frame: pd.DataFrame, column: str, *, where: str = "", yes_no: bool = False) -> pd.Series:
    """The column as floats with gaps as NaN; text in a number and infinity raise, naming the rows.

    With ``yes_no`` the words yes, no, true and false count as 1 and 0.
    """
    raw = frame[column]
    if pd.api.types.is_datetime64_any_dtype(raw) or pd.api.types.is_timedelta64_dtype(raw):
        raise TrialDataError(
            f'The column "{column}" holds dates or times, not numbers.',
            where=where,
            try_this=f'Give "{column}" as a category, or as a number such as minutes.',
        )
    if isinstance(raw.dtype, np.dtype) and raw.dtype.kind in "iuf":
        values = raw.astype("float64")
    else:
        values = _typed(frame, column, raw, where, yes_no)
    infinite = np.isinf(values)
    if infinite.any():
        raise TrialDataError(
            f'The column "{column}" holds an infinite value in {_rows(frame, infinite)}.',
            where=where,
            try_this="Replace it by the value that was read, or leave the cell empty.",
        )
    return values


def _typed(frame: pd.DataFrame, column: str, raw: pd.Series, where: str, yes_no: bool) -> pd.Series:
    """A column that holds text, gaps or truth values, as numbers."""
    if yes_no:
        raw = raw.map(lambda value: YES_NO.get(_plain(value), value) if isinstance(value, str) else value)
    raw = raw.map(lambda value: None if isinstance(value, str) and not value.strip() else value)
    values = pd.to_numeric(raw, errors="coerce").astype("float64")
    text = values.isna() & raw.notna()
    if text.any():
        raise _text_in_number(frame, column, text, where)
    return values


def guess_kind(column: pd.Series) -> FactorKind:
    """Numbers make an amount, text with two or more distinct values a category.

    A column of numbers is an amount however few its levels are: calling 1, 2, 3 a category
    would throw its order away. Whoever guesses names the factor in ``Question.guessed``.
    """
    filled = column.dropna()
    filled = filled[filled.map(lambda value: not (isinstance(value, str) and not value.strip()))]
    if filled.empty or pd.api.types.is_bool_dtype(filled):
        return "category"
    return "amount" if bool(pd.to_numeric(filled, errors="coerce").notna().all()) else "category"


def duplicate_rows(frame: pd.DataFrame, response: Response, repeated: pd.Series | None = None) -> Check | None:
    """Rows that are the same in every column (``repeated``, where that is known already): entered twice?

    Scores, counts and yes-no answers tie all the time, so they are only compared where some
    other column tells the rows apart (a bake, an order, a date).
    """
    repeated = (frame.duplicated(keep=False) if repeated is None else repeated) & frame[response.name].notna()
    if not repeated.any() or (response.scale != "measured" and not _rows_are_told_apart(frame, response.name)):
        return None
    names = [name for name, same in zip(row_names(frame), repeated, strict=True) if same]
    return Check(
        check="duplicate rows", verdict="look here", facts={"rows": tuple(names[:_NAMED]), "n": int(repeated.sum())}
    )


def leading_digits(values: np.ndarray) -> Check | None:
    """Do all values (n,) share so many leading digits that their differences are mostly rounding?"""
    largest, spread = float(np.max(np.abs(values))), float(np.ptp(values))
    if spread == 0 or largest == 0:
        return None
    shared = math.floor(math.log10(largest / spread))
    if shared <= SHARED_DIGITS:
        return None
    return Check(check="leading digits", verdict="look here", facts={"digits": shared, "spread": spread})


def refuse_shares(bakes: pd.DataFrame, amounts: Sequence[str], *, where: str = "") -> None:
    """Amounts that always add up to the same total are shares of a mixture; that is another analysis."""
    for size in range(2, min(len(amounts), 8) + 1):
        for chosen in combinations(amounts, size):
            parts = bakes[list(chosen)].to_numpy(dtype=float)
            total = parts.sum(axis=1)
            moved = bool((np.ptp(parts, axis=0) > 0).all())
            if moved and total[0] > 0 and bool((parts >= 0).all()) and np.ptp(total) <= 1e-9 * abs(total[0]):
                raise _shares(chosen, float(total[0]), where)


def _shares(chosen: Sequence[str], total: float, where: str) -> NotPossible:
    return NotPossible(
        f"{' + '.join(chosen)} always add up to {total:g}, so none of them can change alone: they are shares of a "
        "mixture.",
        where=where,
        try_this=f'Name them as shares ("{chosen[0]}:share"), or leave one of them out (say "{chosen[-1]}", which '
        "then takes up the rest) and read each effect as an exchange against it.",
    )


def _text_in_number(frame: pd.DataFrame, column: str, text: pd.Series, where: str) -> TrialDataError:
    examples = [str(value) for value in frame.loc[text.to_numpy(), column].tolist()]
    commas = all(_DECIMAL_COMMA.match(example) for example in examples)
    return TrialDataError(
        f'The column "{column}" should hold numbers, but has text in {_rows(frame, text)}: "{examples[0]}".',
        where=where,
        try_this="Read the file with a decimal comma, or write the numbers with a point."
        if commas
        else "Correct these cells, or leave them empty when nothing was read; or say that the column is a category.",
    )


def _rows(frame: pd.DataFrame, chosen: pd.Series) -> str:
    names = [str(name) for name, is_chosen in zip(row_names(frame), chosen, strict=True) if is_chosen]
    listed = ", ".join(names[:_NAMED])
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return f"row {listed}" if len(names) == 1 else f"rows {listed}{more}"


def _rows_are_told_apart(frame: pd.DataFrame, response: str) -> bool:
    """Does some column hold nearly as many different values as there are rows?"""
    others = frame.drop(columns=response)
    return any(others[column].nunique() >= 0.8 * len(frame) for column in others.columns)


def _plain(name: str) -> str:
    return " ".join(str(name).casefold().replace("_", " ").split())
