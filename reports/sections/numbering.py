"""Which name has a picture on this page?"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass
class Keys:
    """Hands out names that no other picture of the page has: "figure-1", "figure-2", …"""

    last: int = 0

    def __call__(self) -> str:
        self.last += 1
        return f"figure-{self.last}"
