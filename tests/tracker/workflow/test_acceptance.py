"""Does a product's rule propose what becomes of a batch, and does a person decide?"""

from __future__ import annotations

import pytest

from analysis.control.acceptance import attributes_rule, operating_curve
from analysis.errors import AnalysisError
from tracker.errors import Conflict, InputError, NotFound, UsageError
from tracker.fingerprints import product_hash
from tracker.workflow.acceptance import RuleAsked, end_rule, list_rules, set_rule
from tracker.workflow.dispositions import BY_RULE, batch_story, decide
from tracker.workflow.products import add_product
from tracker.workflow.quick_entry import log_batch
from tracker.workflow.verifying import verify_record

THREE = RuleAsked(pieces=3, accept=0, reject=2)


def test_a_rule_is_an_entry_with_its_operating_curve(store):
    add_product(store, "scones", specs=["rise height:lower=40,upper=48,unit=mm"])
    view = set_rule(store, "scones", None, THREE)
    assert (view.response, view.version, view.by) == ("rise height", 1, "count")
    expected = operating_curve(attributes_rule(3, 0, reject=2), [share for share, *_ in view.curve])
    assert [(p.share, p.accept, p.hold, p.reject) for p in expected] == list(view.curve)
    assert view.curve[0] == (0.0, 1.0, 0.0, 0.0)
    assert "is accepted 95 times in 100" in view.summary()
    with pytest.raises(InputError, match=r"has a rule \(version 1\); another one needs a reason"):
        set_rule(store, "scones", None, RuleAsked(pieces=4, accept=0))
    assert set_rule(store, "scones", None, RuleAsked(pieces=4, accept=0), reason="four are read").version == 2
    assert [each.version for each in list_rules(store, "scones")] == [2]
    assert end_rule(store, "scones", None, reason="no rule agreed") == "rise height"
    assert list_rules(store, "scones") == ()
    with pytest.raises(Conflict, match="no rule to end"):
        end_rule(store, "scones", None, reason="again")
    assert set_rule(store, "scones", None, THREE, reason="as before").version == 4
    assert verify_record(store)


@pytest.mark.parametrize(
    ("values", "verdict", "words"),
    [
        ("43 43.5 42.8", "accept", "is accepted: none of 3 pieces"),
        ("39 43.5 42.8", "hold", "is held: 1 of 3 pieces lies outside 40 to 48 mm"),
        ("39 39.5 42.8", "reject", "is rejected: 2 of 3 pieces"),
        (
            "43 43.5",
            None,
            "batch B031 is held, since nothing can be said of it: the rule takes 3 pieces, and there are 2.",
        ),
    ],
)
def test_the_rule_speaks_when_a_batch_is_logged_and_decides_only_when_told(frozen, values, verdict, words):
    set_rule(frozen, "scones", None, THREE)
    said = log_batch(frozen, "scones", "B031", at="2026-06-01", readings=[f"rise height={values}"])
    (rule,) = said.rules
    assert rule.verdict == verdict
    assert words in said.summary()
    assert batch_story(frozen, "scones", "B031").decisions == ()
    story = decide(frozen, "scones", "B031", BY_RULE, reason="")
    (decided,) = story.decisions
    assert decided.decision == (verdict or "hold")
    assert decided.reason == rule.words
    assert decided.rule["verdict"] == (verdict or "hold")
    assert decided.rule["rules"][0]["rule"]["pieces"] == 3


def test_what_the_rule_said_is_kept_beside_another_decision(frozen):
    set_rule(frozen, "scones", None, THREE)
    log_batch(frozen, "scones", "B031", at="2026-06-01", readings=["rise height=39 43 43"])
    (decided,) = decide(frozen, "scones", "B031", "accept", reason="sold as seconds").decisions
    assert (decided.decision, decided.rule["verdict"]) == ("accept", "hold")


def test_a_rule_by_the_mean_asks_how_far_inside_it_lies(frozen):
    set_rule(frozen, "scones", None, RuleAsked(by="mean", pieces=3, accept=2.0, reject=1.0, sigma=1.0))
    near = log_batch(frozen, "scones", "B031", at="2026-06-01", readings=["rise height=41 41.5 42"])
    far = log_batch(frozen, "scones", "B032", at="2026-06-02", readings=["rise height=43 43.5 42.8"])
    assert [each.rules[0].verdict for each in (near, far)] == ["hold", "accept"]


def test_the_smallest_rule_that_tells_two_shares_apart_is_found(frozen):
    view = set_rule(frozen, "scones", "rise height", RuleAsked(good=0.01, bad=0.2))
    assert view.numbers["pieces"] > view.numbers["accept"] >= 0
    rule = attributes_rule(view.numbers["pieces"], view.numbers["accept"], reject=view.numbers["reject"])
    good, bad = operating_curve(rule, [0.01, 0.2])
    assert good.accept >= 0.95
    assert bad.accept <= 0.10


@pytest.mark.parametrize(
    ("asked", "error", "said"),
    [
        (RuleAsked(by="luck", pieces=3, accept=0), UsageError, "no way to judge by"),
        (RuleAsked(pieces=3), UsageError, "needs its pieces"),
        (RuleAsked(pieces=3, accept=0.5), InputError, "counted whole"),
        (RuleAsked(pieces=3, accept=3), AnalysisError, "accepts everything"),
        (RuleAsked(pieces=3, accept=1, reject=1), AnalysisError, "does not go with"),
        (RuleAsked(good=0.2, bad=0.1), AnalysisError, "cannot be told apart"),
        (RuleAsked(by="mean", pieces=1, accept=1.0), AnalysisError, "cannot be"),
    ],
)
def test_numbers_that_make_no_rule_are_refused(frozen, asked, error, said):
    before = verify_record(frozen).entries
    with pytest.raises(error, match=said) as told:
        set_rule(frozen, "scones", None, asked)
    assert told.value.try_this
    assert verify_record(frozen).entries == before


def test_a_rule_needs_a_specification_and_a_name_that_is_known(frozen):
    add_product(frozen, "muffins", responses=["rise height:unit=mm"])
    with pytest.raises(Conflict, match="has no specification"):
        set_rule(frozen, "muffins", "rise height", THREE)
    with pytest.raises(UsageError, match="has a specification of none"):
        set_rule(frozen, "muffins", None, THREE)
    with pytest.raises(NotFound, match='no response "rise"'):
        set_rule(frozen, "scones", "rise", THREE)
    log_batch(frozen, "scones", "B031", at="2026-06-01", readings=["rise height=43 43 43"])
    with pytest.raises(Conflict, match="No rule says anything"):
        decide(frozen, "scones", "B031", BY_RULE, reason="")


def test_a_rule_is_a_part_of_the_log_s_hash(frozen):
    before = product_hash(frozen, "scones")
    set_rule(frozen, "scones", None, THREE)
    assert product_hash(frozen, "scones") != before


def test_the_command_shows_sets_and_ends_a_rule(frozen, capsys):
    from tracker.commands import main

    where = str(frozen.place.path)
    assert main(["--kitchen", where, "batch", "rule", "scones"]) == 0
    assert "No rule is set yet. Try:" in capsys.readouterr().err
    assert main(["--kitchen", where, "batch", "rule", "scones", "--pieces", "3", "--accept", "0", "--reject", "2"]) == 0
    shown = capsys.readouterr().out
    assert "3 pieces are taken: with none outside the specification the batch is accepted" in shown
    assert "accepted  held   rejected" in shown
    log_batch(frozen, "scones", "B031", at="2026-06-01", readings=["rise height=39 43 43"])
    assert main(["--kitchen", where, "batch", "verdict", "scones", "B031", "--by-rule"]) == 0
    assert "hold by person 1: Batch B031 is held" in capsys.readouterr().out
    assert main(["--kitchen", where, "batch", "rule", "scones", "--end", "--reason", "none agreed", "--json"]) == 0
    assert main(["--kitchen", where, "batch", "rule", "scones", "--end", "--pieces", "3"]) == 2
