"""What does the database itself refuse in a column?"""

from __future__ import annotations

from sqlalchemy import CheckConstraint

MAX = 1.7976931348623157e308  # largest double: "x <= MAX" refuses infinity in both databases


def finite(column: str) -> CheckConstraint:
    """A number or nothing; never infinite, never NaN."""
    return CheckConstraint(
        f"{column} IS NULL OR ({column} >= -{MAX!r} AND {column} <= {MAX!r})", name=f"{column}_finite"
    )


def one_of(column: str, *words: str) -> CheckConstraint:
    """One of these words."""
    listed = ", ".join(f"'{word}'" for word in words)
    return CheckConstraint(f"{column} IN ({listed})", name=f"{column}_known")


def given(column: str) -> CheckConstraint:
    """A text that is not empty."""
    return CheckConstraint(f"length({column}) > 0", name=f"{column}_given")
