"""Which taste words go with which factor?

A word counts once for a bake, however many notes hold it. Exact conditional tests, given how many
bakes have the word: over the levels of a category by the chance of each table (Freeman & Halton 1951,
Biometrika 38, 141; two levels: Fisher), over an amount by its sum in the bakes with the word. Holm
over all words and factors. Blocks and other factors are not allowed for.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import comb, prod
from typing import ClassVar

from analysis.parts import Part
from analysis.questions import Factor

FEWEST = 3  # bakes with the word, and bakes without
MOST_TABLES = 200_000
SAME = 1e-9  # chances closer than this, relative, are equal
HOLDS = 0.05


@dataclass(frozen=True, kw_only=True)
class TagFactor:
    """A word over one factor: of each level (as text) how many noted bakes have it, out of how many.

    ``p`` is exact, ``p_adjusted`` Holm's. ``most`` is the level with the largest share; ``direction``
    says for an amount whether bakes with the word have "more" or "less" of it.
    """

    tag: str
    factor: str
    having: Mapping[str, int]
    noted: Mapping[str, int]
    p: float
    p_adjusted: float
    most: str
    direction: str


@dataclass(frozen=True, kw_only=True)
class TagsPart(Part):
    """Taste words against every factor; ``bakes`` were noted, ``passed_over`` words were too rare or too common."""

    key: ClassVar[str] = "tags"
    bakes: int
    links: tuple[TagFactor, ...]
    passed_over: tuple[str, ...]


def tags_part(
    tags_of_bake: Mapping[str, Sequence[str]], settings: Mapping[str, Mapping[str, object]], factors: Sequence[Factor]
) -> TagsPart | None:
    """``settings``: noted bake -> factor -> level. None without a word that enough bakes have and lack."""
    bakes = [bake for bake in tags_of_bake if bake in settings]
    tags = sorted({tag for bake in bakes for tag in tags_of_bake[bake]})
    common = [tag for tag in tags if _told(sum(tag in tags_of_bake[bake] for bake in bakes), len(bakes))]
    raw = []
    for factor in factors:
        known = [bake for bake in bakes if settings[bake].get(factor.name) is not None]
        for tag in common:
            with_it = [tag in tags_of_bake[bake] for bake in known]
            cells = [settings[bake][factor.name] for bake in known]
            found = _link(tag, factor, cells, with_it)
            raw += [found] if found else []
    if not raw:
        return None
    links = _adjusted(raw)
    passed = tuple(tag for tag in tags if tag not in common)
    return TagsPart(bakes=len(bakes), links=links, passed_over=passed)


def _told(having: int, n: int) -> bool:
    return min(having, n - having) >= FEWEST


def _link(tag: str, factor: Factor, cells: Sequence[object], with_it: Sequence[bool]) -> TagFactor | None:
    amount = factor.kind != "category"
    order = list(factor.levels) if factor.levels else []
    levels = sorted(set(cells), key=lambda c: (order.index(str(c)) if str(c) in order else len(order), _size(c)))
    if len(levels) < 2 or not _told(sum(with_it), len(cells)):
        return None
    noted = [sum(cell == level for cell in cells) for level in levels]
    having = [sum(t for t, cell in zip(with_it, cells, strict=True) if cell == level) for level in levels]
    p = trend_p(having, noted, [_size(level) for level in levels]) if amount else table_p(having, noted)
    if p is None:
        return None
    names = [f"{level:.6g}" if isinstance(level, float) else str(level) for level in levels]
    best = max(range(len(levels)), key=lambda at: (having[at] / noted[at], having[at]))
    return TagFactor(
        tag=tag, factor=factor.name, having=dict(zip(names, having, strict=True)),
        noted=dict(zip(names, noted, strict=True)), p=p, p_adjusted=p, most=names[best],
        direction=_direction(having, noted, [_size(level) for level in levels]) if amount else "",
    )  # fmt: skip


def _size(level: object) -> float:
    return float(level) if isinstance(level, int | float) else 0.0


def _direction(having: Sequence[int], noted: Sequence[int], doses: Sequence[float]) -> str:
    mean_with = sum(h * d for h, d in zip(having, doses, strict=True)) / sum(having)
    lacking = [n - h for h, n in zip(having, noted, strict=True)]
    mean_without = sum(m * d for m, d in zip(lacking, doses, strict=True)) / sum(lacking)
    return "more" if mean_with > mean_without else "less" if mean_with < mean_without else ""


def table_p(having: Sequence[int], noted: Sequence[int]) -> float | None:
    """Chance of a table no likelier than this one, given its margins; None where there are too many tables."""
    if prod(n + 1 for n in noted[:-1]) > MOST_TABLES:
        return None
    seen = prod(map(comb, noted, having))
    within = sum(chance for chance, _ in _tables(noted, sum(having)) if chance <= seen * (1 + SAME))
    return min(within / comb(sum(noted), sum(having)), 1.0)


def trend_p(having: Sequence[int], noted: Sequence[int], doses: Sequence[float]) -> float | None:
    """Twice the smaller tail of the sum of the amounts over the bakes with the word, at most 1."""
    if prod(n + 1 for n in noted[:-1]) > MOST_TABLES:
        return None
    total = comb(sum(noted), sum(having))
    seen = sum(h * d for h, d in zip(having, doses, strict=True))
    room = SAME * (1 + sum(abs(d) for d in doses) * max(noted))
    lower = upper = 0
    for chance, table in _tables(noted, sum(having)):
        found = sum(h * d for h, d in zip(table, doses, strict=True))
        lower += chance if found <= seen + room else 0
        upper += chance if found >= seen - room else 0
    return min(2 * min(lower, upper) / total, 1.0)


def _tables(noted: Sequence[int], total: int) -> Iterator[tuple[int, tuple[int, ...]]]:
    """(how often, counts with the word) of every table with these margins."""
    if len(noted) == 1:
        if 0 <= total <= noted[0]:
            yield comb(noted[0], total), (total,)
        return
    for first in range(min(noted[0], total) + 1):
        ways = comb(noted[0], first)
        for chance, rest in _tables(noted[1:], total - first):
            yield ways * chance, (first, *rest)


def _adjusted(raw: Sequence[TagFactor]) -> tuple[TagFactor, ...]:
    """Sorted by p, with Holm's adjustment."""
    from dataclasses import replace

    found, highest = [], 0.0
    for rank, link in enumerate(sorted(raw, key=lambda one: (one.p, one.tag, one.factor))):
        highest = max(highest, min(1.0, (len(raw) - rank) * link.p))
        found.append(replace(link, p_adjusted=highest))
    return tuple(found)
