"""Is it said rightly in what trials differ?"""

from __future__ import annotations

from analysis.words.unlike import rows_of, say_unlike

ABOUT = {
    "spring": {"formula": "scone, version 1", "flour": "wheat flour", "blocks": ""},
    "autumn": {"formula": "scone, version 2", "flour": "wheat flour", "blocks": ""},
}


def test_what_differs_stands_first_and_gaps_are_not_known():
    assert rows_of(ABOUT) == (
        ("formula", "scone, version 1", "scone, version 2"),
        ("flour", "wheat flour", "wheat flour"),
        ("blocks", "not known", "not known"),
    )


def test_the_sentence_names_both_and_passes_over_what_nobody_knows():
    said = say_unlike(ABOUT)
    assert said.startswith("They differ in formula, and are alike in flour.")
    assert "blocks" not in said
    alike = say_unlike({"a": ABOUT["spring"], "b": ABOUT["spring"]})
    assert alike == "They are alike in formula and flour."
    assert say_unlike({"a": {}, "b": {}}) == "Nothing is known of how the trials were made."
