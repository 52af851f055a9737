"""Which treatment meets several goals at once? ``goals_part(asked, question) -> GoalsPart | None``."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.goals.together import Asked, goals_part

__all__ = ["Asked", "goals_part"]


def __getattr__(name: str) -> Any:
    """Only on demand: the words and the pages need the records of this room, not its arithmetic."""
    if name in __all__:
        from analysis.goals import together

        return getattr(together, name)
    raise AttributeError(name)
