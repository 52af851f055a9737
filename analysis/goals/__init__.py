"""Which treatment meets several goals at once? ``goals_part(asked, question) -> GoalsPart | None``."""

from analysis.goals.together import Asked, goals_part

__all__ = ["Asked", "goals_part"]
