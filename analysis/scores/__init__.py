"""Which factors move scores, shares of yes, or counts, taken as what they are?"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from analysis.scores.answering import score_model

__all__ = ["score_model"]


def __getattr__(name: str) -> Any:
    """Loaded when asked for: the models need scipy."""
    if name == "score_model":
        from analysis.scores.answering import score_model

        return score_model
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
