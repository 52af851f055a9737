"""What do several trials of one product say together? ``pool_effects(trials, question) -> Pooling``."""

from analysis.pooling.pool import TrialAnswer, pool_effects

__all__ = ["TrialAnswer", "pool_effects"]
