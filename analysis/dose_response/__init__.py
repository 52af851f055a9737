"""How does the response follow the dose?"""

from analysis.dose_response.model import dose_model

__all__ = ["dose_model"]
