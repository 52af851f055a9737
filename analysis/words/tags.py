"""How are taste words against factors said?"""

from __future__ import annotations

from typing import Any

from analysis.results import Analysis
from analysis.scores.tags import HOLDS, TagFactor, TagsPart
from analysis.words.numbers import join_words, say_count, say_level, say_p, start

MOST_SAID = 5


def say_tags(part: TagsPart, about: Analysis, question: Any) -> tuple[str, ...]:
    """The words that go with a factor after Holm's adjustment; else that none can be told to."""
    clear = [link for link in part.links if link.p_adjusted < HOLDS]
    said = [_link(link, question) for link in clear[:MOST_SAID]]
    pairs = say_count(len(part.links), "pair of a word and a factor", "pairs of a word and a factor")
    if not said:
        first = part.links[0]
        said.append(
            f"No word can be told to go with a factor from {say_count(part.bakes, 'noted bake')}; nearest was "
            f'"{first.tag}" with {first.factor} ({say_p(first.p_adjusted)} after allowing for {pairs}).'
        )
    else:
        said.append(f"Each bake counts once; exact tests, allowing for {pairs} (Holm).")
    if part.passed_over:
        said.append(f"Said of too few or nearly all bakes to judge: {join_words(list(part.passed_over))}.")
    return tuple(start(sentence) for sentence in said)


def _link(link: TagFactor, question: Any) -> str:
    counts = join_words([f"{link.having[level]} of {link.noted[level]} at {say_level(level)}" for level in link.noted])
    after = say_p(link.p_adjusted)
    if link.direction:
        return f'"{link.tag}" was said where there was {link.direction} {link.factor}: {counts} ({after}).'
    return f'"{link.tag}" goes with {link.factor}, most with {link.most}: {counts} ({after}).'
