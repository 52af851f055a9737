"""Which variables matter for a response? Factorial and linear models."""

from analysis.linear.answering import factor_model

__all__ = ["factor_model"]
