"""What a finding leaves open stands beside it, for every canned study, and agrees with its interval."""

from __future__ import annotations

import re

from analysis.words import analysis_text
from analysis.words.limits import all_limits, say_limits


def test_an_open_finding_says_how_large_it_may_still_be(answered):
    seen = 0
    for _, analysis in answered:
        for result in analysis.responses:
            for finding in result.findings:
                said = " ".join(say_limits(finding, result, analysis.question))
                if finding.kind == "effect" and finding.matters == "unsure" and finding.low is not None:
                    seen += 1
                    number = float(re.search(r"as much as ([\d.]+)", said).group(1))
                    assert abs(number - max(abs(finding.low), abs(finding.high))) <= 0.06 * number + 0.5
                if finding.matters == "yes":
                    assert "may still" not in said
    assert seen >= 6


def test_two_levels_say_that_between_them_nothing_is_known(answered):
    named = {study.name: all_limits(analysis) for study, analysis in answered}
    assert any("only: what lies between or beyond is not shown" in said for said in named["soda raises rise"])
    assert any(said.startswith("Below 0.5 or above 2.5 % flour of soda") for said in named["rise turns at 1.6 % soda"])


def test_each_limit_is_said_once(answered):
    for _, analysis in answered:
        said = all_limits(analysis)
        assert len(said) == len(set(said))
        if said:
            assert "What this does not show" in analysis_text(analysis)
