"""Is the value of an option one that can be asked for? If not, the command was written wrongly."""

from __future__ import annotations

from collections.abc import Sequence

from tracker.errors import UsageError


def require_known(word: str, known: Sequence[str], option: str, what: str) -> None:
    """Raises UsageError with the nearest of the ``known`` words."""
    if word not in known:
        from tracker.intake.spreadsheet import nearest

        near = nearest(word, tuple(known)) or known[0]
        shown = f'"{near}"' if " " in near else near
        raise UsageError(f'"{word}" is no {what}.', where=option, try_this=f"{option} {shown} (of {', '.join(known)})")


def require_share(number: float, option: str, what: str, *, such_as: float) -> None:
    """A share lies between 0 and 1 and is neither. Raises UsageError; a percentage is offered as its share."""
    if not 0 < number < 1:
        better = number / 100 if 1 < number < 100 else such_as
        raise UsageError(f"{what} of {number:g} is not between 0 and 1.", where=option, try_this=f"{option} {better:g}")


def require_colon(texts: Sequence[str], option: str, reads: str) -> None:
    """What is named and what is said of it are parted by a colon. Raises UsageError with how it reads."""
    for text in texts:
        if ":" not in text:
            raise UsageError(f'"{text}" has no colon.', where=option, try_this=f'{option} "{reads}"')


def require_at_least(number: int, lowest: int, option: str, what: str) -> None:
    """Raises UsageError for a whole number that is too small."""
    if number < lowest:
        raise UsageError(f"{what} of {number} is below {lowest}.", where=option, try_this=f"{option} {lowest}")
