"""Nothing the analysis can emit is without words."""

import re
from pathlib import Path

import pytest

from analysis.words.checks import CHECKS
from analysis.words.finding_parts import METHODS
from analysis.words.findings import KINDS
from analysis.words.gauge import SAID
from analysis.words.next_bakes import REASONS

ROOT = Path(__file__).parents[3] / "analysis"


def emitted(pattern: str) -> dict[str, str]:
    """Literal keys in the code of the analysis, with a file each stands in."""
    found = {}
    for path in sorted(ROOT.rglob("*.py")):
        if "words" not in path.parts:
            for key in re.findall(pattern, path.read_text(encoding="utf-8")):
                found.setdefault(key, path.name)
    return found


@pytest.mark.parametrize(
    ("pattern", "words", "at_least"),
    [
        (r'Check\(\s*check="([^"]+)"', CHECKS, 20),
        (r'(?:(?<!Gauge)Finding\(\s*kind="|_finding\(case, "|named.append\(\(")([^"]+)"', KINDS, 6),
        (r'GaugeFinding\(\s*kind="([^"]+)"', SAID, 7),
        (r'NextBakes\(\s*why="([^"]+)"', REASONS, 9),
    ],
)
def test_every_key_in_the_code_has_words(pattern, words, at_least):
    keys = emitted(pattern)
    assert len(keys) >= at_least, "the pattern no longer finds the keys"
    assert {key: file for key, file in keys.items() if key not in words} == {}


def test_every_method_of_an_interval_has_words_or_is_the_plain_one():
    methods = emitted(r'"method": "([^"]+)"') | emitted(r'return "(Lenth|Tukey-Kramer)"')
    assert set(methods) - {"t"} <= set(METHODS)
    assert methods


def test_every_reason_names_its_findings_in_a_sentence(answered):
    seen = {bakes.why for _, analysis in answered for result in analysis.responses for bakes in result.next_bakes}
    assert seen <= set(REASONS)
    assert len(seen) >= 6
