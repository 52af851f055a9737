"""Does a taste word follow the chemistry: is soapy said where soda was left over?

For each word, how often a bake that got it had more of a column (soda left, predicted pH)
than a bake that did not: the share of such pairs, one half when the word knows nothing of
it. Interval: Hanley & McNeil 1982, Radiology 143, 29 (normal, cut at 0 and 1).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

FEWEST = 3  # bakes with the word, and bakes without
NORMAL_95 = 1.959964


@dataclass(frozen=True, kw_only=True)
class TagLink:
    """``share`` of (with, without) pairs in which the bake with the word had more of ``column``; ties count half."""

    tag: str
    column: str
    share: float
    low: float
    high: float
    bakes_with: int
    bakes_without: int

    @property
    def follows(self) -> str:
        """ "more", "less" or "open": on which side of one half the whole interval lies."""
        return "more" if self.low > 0.5 else "less" if self.high < 0.5 else "open"


def tag_links(
    tags_of_bake: Mapping[str, Sequence[str]], columns: Mapping[str, Mapping[str, float]]
) -> tuple[TagLink, ...]:
    """All links worth looking at, most telling first.

    ``tags_of_bake``: noted bake -> its words; ``columns``: column -> bake -> value. Words on
    fewer than three bakes, or missing on fewer than three, and columns that do not vary are passed over.
    """
    tags = sorted({tag for tags in tags_of_bake.values() for tag in tags})
    found: list[TagLink] = []
    for column, values in columns.items():
        noted = {bake: float(values[bake]) for bake in tags_of_bake if bake in values and np.isfinite(values[bake])}
        if len(set(noted.values())) < 2:
            continue
        for tag in tags:
            having = np.array([value for bake, value in noted.items() if tag in tags_of_bake[bake]])
            lacking = np.array([value for bake, value in noted.items() if tag not in tags_of_bake[bake]])
            if min(len(having), len(lacking)) >= FEWEST:
                found.append(_link(tag, column, having, lacking))
    return tuple(sorted(found, key=lambda link: (-abs(link.share - 0.5), link.tag, link.column)))


def _link(tag: str, column: str, having: np.ndarray, lacking: np.ndarray) -> TagLink:
    m, n = len(having), len(lacking)
    difference = having[:, None] - lacking[None, :]
    share = float(((difference > 0) + 0.5 * (difference == 0)).mean())
    q1, q2 = share / (2 - share), 2 * share**2 / (1 + share)
    variance = (share * (1 - share) + (m - 1) * (q1 - share**2) + (n - 1) * (q2 - share**2)) / (m * n)
    # At 0 and 1 the formula gives no width: the smallest that m and n pairs can show stands instead.
    half = NORMAL_95 * max(float(np.sqrt(max(variance, 0.0))), 0.5 / np.sqrt(m * n))
    return TagLink(
        tag=tag,
        column=column,
        share=share,
        low=max(share - half, 0.0),
        high=min(share + half, 1.0),
        bakes_with=m,
        bakes_without=n,
    )
