"""How does a blend of a whole make the response?"""

from analysis.blends.family import blend_model

__all__ = ["blend_model"]
