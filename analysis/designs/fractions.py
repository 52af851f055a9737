"""Which part of a two-level factorial is worth baking, and what can it then not tell apart?

Regular fractions: some factors follow the product of others (their generators), so that
each effect is mixed with others, its aliases. An effect is a set of factors, held as a
bit mask (factor 1 = bit 0); the product of two effects is the exclusive or.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from analysis.errors import PlanError

LETTERS = "ABCDEFGHJKLMNOPQ"  # no I: it stands for the mean

# factors -> runs -> generators. Source: NIST/SEMATECH e-Handbook of Statistical Methods,
# 5.3.3.4.7 (after Box, Hunter & Hunter); the sixteen-run rows of 6 to 8 factors and 9 in 32
# also as in NIST Dataplot's index of resolution 4 designs. Tests recompute each resolution.
GENERATORS: Mapping[int, Mapping[int, tuple[str, ...]]] = {
    3: {4: ("C=AB",)},
    4: {8: ("D=ABC",)},
    5: {8: ("D=AB", "E=AC"), 16: ("E=ABCD",)},
    6: {8: ("D=AB", "E=AC", "F=BC"), 16: ("E=ABC", "F=BCD"), 32: ("F=ABCDE",)},
    7: {
        8: ("D=AB", "E=AC", "F=BC", "G=ABC"),
        16: ("E=ABC", "F=BCD", "G=ACD"),
        32: ("F=ABCD", "G=ABDE"),
        64: ("G=ABCDEF",),
    },
    8: {16: ("E=BCD", "F=ACD", "G=ABC", "H=ABD"), 32: ("F=ABC", "G=ABD", "H=BCDE"), 64: ("G=ABCD", "H=ABEF")},
    9: {
        16: ("E=ABC", "F=BCD", "G=ACD", "H=ABD", "J=ABCD"),
        32: ("F=BCDE", "G=ACDE", "H=ABDE", "J=ABCE"),
        64: ("G=ABCD", "H=ACEF", "J=CDEF"),
    },
}


@dataclass(frozen=True, kw_only=True)
class Fraction:
    """A regular two-level fraction of ``factors`` factors.

    ``generated`` maps a factor's position to the mask of the base factors it follows;
    ``words`` are the masks of the defining relation (without 0).
    """

    factors: int
    generated: Mapping[int, int]
    words: frozenset[int]

    @property
    def runs(self) -> int:
        return int(2 ** (self.factors - len(self.generated)))

    @property
    def resolution(self) -> int:
        """Length of the shortest word: effects of a and b factors are mixed only when a + b >= it."""
        return min(word.bit_count() for word in self.words)

    def signs(self) -> list[tuple[int, ...]]:
        """One row of -1 and 1 for each run, in standard order (first base factor changes fastest)."""
        base = [position for position in range(self.factors) if position not in self.generated]
        rows = []
        for run in range(2 ** len(base)):
            sign = {position: 1 if run >> place & 1 else -1 for place, position in enumerate(base)}
            for position, mask in self.generated.items():
                sign[position] = product_of_signs(sign, mask)
            rows.append(tuple(sign[position] for position in range(self.factors)))
        return rows

    def aliases(self, effect: int, *, up_to: int) -> list[int]:
        """The effects of at most ``up_to`` factors that cannot be told from ``effect``, in order."""
        mixed = {effect ^ word for word in self.words} - {0}
        return sorted((mask for mask in mixed if mask.bit_count() <= up_to), key=in_order)

    def chains(self, *, up_to: int) -> list[tuple[int, ...]]:
        """Groups of two or more effects that are mixed, headed by one of at most two factors."""
        seen: set[int] = set()
        found = []
        for effect in effects_up_to(self.factors, 2):
            others = self.aliases(effect, up_to=up_to)
            if effect not in seen and others:
                seen.update((effect, *others))
                found.append((effect, *others))
        return found


def product_of_signs(sign: Mapping[int, int], mask: int) -> int:
    product = 1
    for position, value in sign.items():
        if mask >> position & 1:
            product *= value
    return product


def in_order(mask: int) -> tuple[int, list[int]]:
    """Sorts effects by the number of factors, then by the factors' places."""
    return mask.bit_count(), members(mask)


def members(mask: int) -> list[int]:
    """Positions of the factors in an effect."""
    return [position for position in range(mask.bit_length()) if mask >> position & 1]


def effects_up_to(factors: int, order: int) -> list[int]:
    """Masks of all effects of 1 to ``order`` factors, main effects first."""
    return [
        sum(1 << position for position in chosen)
        for size in range(1, order + 1)
        for chosen in combinations(range(factors), size)
    ]


def letters(mask: int) -> str:
    return "".join(LETTERS[position] for position in members(mask))


def fraction_from(factors: int, generators: Sequence[str]) -> Fraction:
    """The fraction that generators such as "E=ABCD" define. Raises PlanError when they do not fit."""
    generated: dict[int, int] = {}
    for text in generators:
        position, mask = _read_generator(text, factors)
        if position in generated:
            raise _bad_generator(text, f"factor {LETTERS[position]} is generated twice")
        generated[position] = mask
    generated_mask = sum(1 << position for position in generated)
    for text, mask in zip(generators, generated.values(), strict=True):
        if mask & generated_mask:
            raise _bad_generator(text, "its right side names a factor that is itself generated")
    words = {0}
    for position, mask in generated.items():
        words |= {word ^ mask ^ (1 << position) for word in words}
    fraction = Fraction(factors=factors, generated=generated, words=frozenset(words - {0}))
    if fraction.resolution < 3:
        raise _bad_generator(generators[0], "main effects would be mixed with each other")
    return fraction


def _read_generator(text: str, factors: int) -> tuple[int, int]:
    found = re.fullmatch(r"\s*([A-Z])\s*=\s*([A-Z]{2,})\s*", text.upper().replace("*", "").replace(":", ""))
    known = LETTERS[:factors]
    if not found or any(letter not in known for letter in found[1] + found[2]) or len(set(found[2])) < len(found[2]):
        raise _bad_generator(text, f"it must read like E = ABCD, with the letters {known} once each")
    return known.index(found[1]), sum(1 << known.index(letter) for letter in found[2])


def _bad_generator(text: str, why: str) -> PlanError:
    return PlanError(
        f'The generator "{text}" does not work: {why}.',
        where="design, generators",
        try_this="leave generators out and give runs or resolution: the usual best ones are taken",
    )


def best_fraction(factors: int, *, runs: int | None, resolution: int | None) -> Fraction:
    """The usual best fraction of this many runs, or the smallest of at least this resolution.

    Raises PlanError that lists what there is.
    """
    offered = {size: fraction_from(factors, words) for size, words in GENERATORS.get(factors, {}).items()}
    if not offered:
        raise PlanError(
            f"No fraction of {factors} two-level factors is offered.",
            where="design",
            try_this='kind = "full factorial"' if factors < 3 else "3 to 9 factors in one trial",
        )
    fits = {
        size: fraction
        for size, fraction in offered.items()
        if (runs is None or size == runs) and (resolution is None or fraction.resolution >= resolution)
    }
    if runs is None and resolution is None:
        raise _no_fraction(factors, offered, "Neither runs nor resolution is given.")
    if not fits:
        asked = " and ".join(
            part for part in (f"{runs} runs" if runs else "", f"resolution {resolution}" if resolution else "") if part
        )
        raise _no_fraction(factors, offered, f"No fraction of {factors} two-level factors has {asked}.")
    return fits[min(fits)]


def _no_fraction(factors: int, offered: Mapping[int, Fraction], what: str) -> PlanError:
    listed = ", ".join(
        f"runs = {size} (resolution {fraction.resolution})" for size, fraction in sorted(offered.items())
    )
    return PlanError(what, where="design", try_this=f'{listed}, or kind = "full factorial" ({2**factors} runs)')
