"""Are false alarms as rare, and intervals as sure, as they say? Simulated, with fixed seeds."""

import numpy as np
import pytest
from scipy import stats

BATCH = np.repeat(np.arange(8), 5)


def nested(rng):
    """No difference between recipes; batches twice as uneven as the five loaves of each."""
    return 2.0 * rng.normal(size=8)[BATCH] + rng.normal(size=40)


def loaves(frame_of):
    """Two recipes, four batches each, five loaves a batch."""
    recipe = np.repeat(["a", "b"], 20)
    return frame_of({"recipe": recipe, "batch": BATCH.astype(str), "y": nested(np.random.default_rng(5))}, [])


def false_alarms(answer, frame, draw, draws=500, **asked):
    rng = np.random.default_rng(20261125)
    results = (answer(frame.assign(y=draw(rng)), categories=["recipe"], **asked) for _ in range(draws))
    return float(np.mean([result.tests[-1].p < 0.05 for result in results]))


def test_batches_averaged_to_bakes_keep_the_five_percent(answer, frame_of):
    frame = frame_of({"recipe": list("aaaabbbb"), "y": np.arange(8.0)}, [])
    assert 0.03 <= false_alarms(answer, frame, lambda rng: nested(rng).reshape(8, 5).mean(axis=1)) <= 0.075


def test_batches_as_whole_plots_keep_the_five_percent(answer, frame_of):
    assert 0.03 <= false_alarms(answer, loaves(frame_of), nested, group=("batch",)) <= 0.075


def test_loaves_taken_for_bakes_cry_wolf(answer, frame_of):
    # Why the unit is asked for: the same tables with every loaf as a bake of its own.
    assert false_alarms(answer, loaves(frame_of), nested, draws=300) > 0.25


def test_averaging_and_whole_plots_give_the_same_test(answer, frame_of):
    frame = loaves(frame_of)
    means = frame["y"].to_numpy().reshape(8, 5).mean(axis=1)
    one = answer({"recipe": list("aaaabbbb"), "y": means}, categories=["recipe"]).tests[-1]
    other = answer(frame, categories=["recipe"], group=("batch",)).tests[-1]
    assert (other.value, other.p, other.df_error) == pytest.approx((one.value, one.p, 6))


def test_intervals_of_an_unbalanced_trial_cover_what_they_promise(answer, frame_of):
    rng = np.random.default_rng(77)
    soda = np.array([1, 1, 1, 1, 2, 2, 3, 3, 3, 1, 2, 3, 3, 2.0])
    acid = np.array(list("aaabababbbbaaa"))
    frame = frame_of({"soda": soda, "acid": acid, "y": soda}, ["soda"])
    truth = {("soda",): 4.0, ("acid",): 1.5}  # from 1 to 3 of soda, from acid a to b
    covered = []
    for _ in range(1000):
        y = 5 + 2 * soda + 1.5 * (acid == "b") + rng.normal(size=14)
        result = answer(frame.assign(y=y), amounts=["soda"], categories=["acid"], order=1)
        covered += [f.low <= truth[f.variables] <= f.high for f in result.evidence]
    assert len(covered) == 2000
    assert 0.93 <= np.mean(covered) <= 0.97


def test_tukey_kramer_keeps_the_whole_family_at_five_percent(answer, frame_of):
    rng = np.random.default_rng(4)
    recipe = np.repeat(list("abcd"), [3, 4, 5, 3])
    frame = frame_of({"recipe": recipe, "y": np.arange(15.0)}, [])
    alarms = []
    for _ in range(400):
        result = answer(frame.assign(y=rng.normal(size=15)), categories=["recipe"])
        alarms.append(any(c.p_adjusted < 0.05 for c in result.comparisons))
    assert 0.025 <= np.mean(alarms) <= 0.075


def test_checks_of_sound_trials_point_at_few(answer, frame_of):
    rng = np.random.default_rng(6)
    frame = frame_of({"a": np.tile(list("xyz"), 8), "b": np.repeat(list("pq"), 12), "y": np.arange(24.0)}, [])
    pointed = dict.fromkeys(("spread", "odd bakes", "order"), 0)
    for _ in range(300):
        result = answer(frame.assign(y=rng.normal(size=24), order=rng.permutation(24)), categories=["a", "b"])
        for check in result.checks:
            if check.check in pointed:
                pointed[check.check] += check.verdict == "look here"
    assert max(pointed.values()) / 300 <= 0.08
    assert min(pointed.values()) > 0


@pytest.mark.parametrize(("levels", "df"), [(2, 1.0), (3, 2.0), (4, 20.0), (10, 60.0), (5, 2.7)])
def test_studentized_range_against_scipy(levels, df):
    from analysis.linear.distributions import range_quantile, range_tail

    for q in (0.5, 3.0, 9.0):
        assert range_tail(q, levels, df) == pytest.approx(stats.studentized_range.sf(q, levels, df), rel=1e-7)
    assert range_tail(range_quantile(0.95, levels, df), levels, df) == pytest.approx(0.05, abs=1e-9)
