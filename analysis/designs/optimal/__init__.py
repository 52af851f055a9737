"""Which exact design tells a model best, whatever may be baked together?"""

from analysis.designs.optimal.coordinates import exchange_coordinates
from analysis.designs.optimal.exchange import exchange
from analysis.designs.optimal.problem import OptimalResult
from analysis.designs.optimal.split import exchange_split

__all__ = ["OptimalResult", "exchange", "exchange_coordinates", "exchange_split"]
