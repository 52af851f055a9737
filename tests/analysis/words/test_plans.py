"""Does a plan say in plain words what it will be able to tell, without drowning the reader?"""

import re
from dataclasses import replace

import pytest

from analysis.designs.catalogue import KINDS
from analysis.designs.plan import lay_out
from analysis.designs.requests import DesignFactor, DesignRequest, DesignResponse
from analysis.designs.requests import ModelName as Models
from analysis.words.plans import MODELS, plan_lines, say_chance

RISE = DesignResponse(name="rise height", unit="mm", spread=2.0, matters=3.0)


def amount(name, **more):
    return DesignFactor(name=name, kind="amount", unit="% flour", low=1, high=3, **more)


def said(kind, *factors, **keys):
    request = DesignRequest(**{"kind": kind, "factors": factors, "seed": 4, "responses": (RISE,), **keys})
    plan = lay_out(request)
    return plan, plan_lines(plan, request.responses)


def test_power_is_said_as_so_many_of_a_hundred_trials():
    plan, lines = said("dose ladder", amount("soda"), levels=5, replicates=6)
    chance = plan.design.judgement.power["rise height"]["soda"]
    assert f"a difference of 3 mm in rise height would be seen in {100 * chance:.0f} of 100 trials" in lines
    assert any(line.startswith("how closely effects on rise height would be known (in mm): soda ± ") for line in lines)
    assert "it tells how readings follow soda" in lines


def test_no_chance_is_rounded_to_certainty():
    assert say_chance(0.9999) == "more than 99 of 100"
    assert say_chance(0.0001) == "fewer than 1 of 100"
    assert say_chance(0.861) == "86 of 100"


def test_nothing_is_said_of_what_nobody_knows():
    _, lines = said("dose ladder", amount("soda"), levels=5, replicates=3, responses=(DesignResponse(name="rise"),))
    assert not any("known" in line or "trials" in line for line in lines)
    _, lines = said("dose ladder", amount("soda"), levels=5, replicates=3, responses=(replace(RISE, matters=None),))
    assert any("known" in line for line in lines)
    assert not any("trials" in line for line in lines)


def test_whole_plots_say_how_often_something_is_set_and_by_what_it_is_judged():
    kind = "split-plot" if "split-plot" in KINDS else "optimal"
    oven = DesignFactor(name="oven", kind="category", levels=("170", "190"), hard_to_change=True)
    runs = {} if kind == "split-plot" else {"runs": 24, "model": "main effects"}
    plan, lines = said(kind, oven, amount("soda"), whole_plots=8, **runs)
    strata = {stratum["group"]: stratum["df_error"] for stratum in plan.design.judgement.strata}
    df = strata["whole plot"]
    assert "oven: set 8 times, each time anew, for a whole plot of bakes" in lines
    assert any(re.match(rf"oven is judged by how whole plots differ, {df} degrees of freedom", line) for line in lines)
    assert any(re.match(r"soda.* judged by how single bakes differ", line) for line in lines)
    assert not any("predicted mean" in line for line in lines)


def test_strips_are_named_as_a_baker_would_say_it():
    batter = DesignFactor(name="batter", kind="category", levels=("short", "long"), hard_to_change=True)
    oven = DesignFactor(name="oven", kind="category", levels=("170", "190", "210"), hard_to_change=True)
    named = {"rows": "batter batch", "columns": "oven load", "block": "bake day", "replicates": 4}
    plan, lines = said("strip-plot", batter, oven, **named)
    assert "batter: set 8 times, each time anew, for a batter batch of bakes" in lines
    assert "oven: set 12 times, each time anew, for an oven load of bakes" in lines
    assert "batter is judged by how batter batches differ, 3 degrees of freedom" in lines
    assert "the error between batter batches, 3 degrees of freedom" in plan.design.judgement.judged_by


@pytest.mark.parametrize(
    ("levels", "size", "replicates", "meet", "share"),
    [
        # Efficiency t (k - 1) / (k (t - 1)) = 7/9 where balanced: Yates 1936. For the second that is the bound, 90 %.
        (7, 3, 3, "every two treatments meet in 1 bake day: all differences are known alike", 78),
        (6, 4, 4, "two treatments meet in 2 to 3 bake days: differences are known nearly alike", 89),
        # A lattice of three replicates: (k + 1)(r - 1) / ((k + 1)(r - 1) + r) = 8/11, Yates 1936 (from memory).
        (9, 3, 3, "some two treatments never meet in one bake day, others in up to 1 bake day", 73),
    ],
)
def test_incomplete_blocks_say_how_often_treatments_meet(levels, size, replicates, meet, share):
    flour = DesignFactor(name="flour", kind="category", levels=tuple("abcdefghi"[:levels]))
    _, lines = said("incomplete blocks", flour, block="bake day", block_size=size, replicates=replicates)
    assert any(line.startswith(meet) for line in lines)
    assert f"each bake tells {share} % of what it would if a bake day as even as these held every treatment" in lines


def test_oven_loads_are_counted():
    _, lines = said("dose ladder", amount("soda"), levels=5, replicates=2, oven_holds=4)
    assert "3 oven loads" in lines


def test_evenness_is_said_only_where_it_lacks():
    fat = DesignFactor(name="fat", kind="category", levels=("butter", "oil", "lard"))
    _, even = said("completely randomised", fat, replicates=3)
    assert not any("not even" in line for line in even)
    plan, uneven = said("optimal", fat, amount("soda"), runs=10, model="main effects")
    counts = plan.design.evenness["fat"]
    assert len(set(counts.values())) > 1
    (line,) = [line for line in uneven if "not even" in line]
    assert f"butter {counts['butter']} times" in line


def test_long_lists_of_what_is_mixed_are_cut_and_say_where_the_rest_is():
    plan, lines = said("fractional factorial", *(amount(f"f{n}") for n in range(7)), runs=16, replicates=2)
    assert len(plan.design.alias_words) > 7
    assert sum("cannot be told from" in line for line in lines) < 7
    assert any("more such (--json lists all)" in line for line in lines)
    assert len(lines) < 25
    assert any("15 pairs of them" in line or "pairs of them" in line for line in lines)


def test_star_points_say_how_far_out_they_lie():
    _, lines = said("central composite", amount("soda"), amount("milk"))
    assert any("star points lie 1.41 times as far" in line for line in lines)


@pytest.mark.parametrize("kind", ["full factorial", "complete blocks", "fractional factorial"])
def test_prediction_is_one_line(kind):
    keys = {"block": "bake day"} if kind == "complete blocks" else {}
    runs = {"runs": 8} if kind == "fractional factorial" else {}
    factors = [amount(f"f{n}") for n in range(4 if runs else 2)]
    plan, lines = said(kind, *factors, replicates=3, **keys, **runs)
    (line,) = [line for line in lines if "predicted mean" in line]
    assert f"about {plan.design.prediction.average_variance**0.5:.2g} times" in line


def test_every_model_has_words():
    from typing import get_args

    assert set(MODELS) == set(get_args(Models))


def syllables(word):
    word = re.sub(r"[^a-z]", "", word.lower())
    groups = len(re.findall(r"[aeiouy]+", word))
    silent = word.endswith("e") and not word.endswith(("le", "ee")) and groups > 1
    return max(groups - silent, 1)


def reading_grade(text):
    """Flesch-Kincaid grade (Kincaid et al. 1975, from memory)."""
    sentences = max(len(re.findall(r"[.!?](?:\s|$)", text)), 1)
    words = [word for word in text.split() if re.search(r"\w", word)]
    return 0.39 * len(words) / sentences + 11.8 * sum(map(syllables, words)) / len(words) - 15.59


def test_the_lines_read_easily_together():
    oven = DesignFactor(name="oven", kind="category", levels=("170", "190"), hard_to_change=True)
    fat = DesignFactor(name="fat", kind="category", levels=("butter", "oil"))
    shown = [
        said("dose ladder", amount("soda"), levels=5, replicates=4)[1],
        said("full factorial", amount("soda"), fat, levels=3, replicates=2)[1],
        said("central composite", amount("soda"), amount("milk"))[1],
        said("optimal", oven, amount("soda"), runs=24, whole_plots=8, model="main effects")[1],
    ]
    for lines in shown:
        # A colon or semicolon ends what is read in one breath, as a full stop does.
        text = " ".join(re.sub(r"[:;]", ".", line).rstrip(".") + "." for line in lines)
        assert reading_grade(text) <= 9, (reading_grade(text), lines)
