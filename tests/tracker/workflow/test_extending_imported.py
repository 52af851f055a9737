"""Can a trial that came in from a spreadsheet, without a plan, take the bakes that are proposed for it?"""

from __future__ import annotations

from tracker.workflow.results_pages import add_proposed, results_of
from tracker.workflow.trial_import import Asked, import_trial
from tracker.workflow.trials import show_trial


def test_what_was_baked_are_its_levels(store, tmp_path):
    lines = ["bake,acid,soda_pct,rise_mm"]
    for at in range(12):
        acid, soda = ("yogurt", "lemon juice")[at % 2], (0.5, 1.0, 1.5)[at % 3]
        lines.append(f"b{at},{acid},{soda},{40 + 3 * (at % 2) + (at * 7 % 5) / 2}")
    file = tmp_path / "cake.csv"
    file.write_text("\n".join(lines) + "\n")
    import_trial(store, "cake", file, Asked(factors=("acid", "soda_pct"), responses=("rise_mm",)))
    found = results_of(store, "cake")
    proposal = next(each for each in found.next_bakes if found.can_add(each))
    planned = add_proposed(store, found, proposal.words, person=1)
    runs = show_trial(store, "cake").to_json()["runs"]
    assert len(runs) == 12 + proposal.adds
    added = [{name: each["value"] for name, each in run["settings"].items()} for run in runs[12:]]
    assert sorted(map(str, added)) == sorted(str(dict(each)) for each in proposal.added * proposal.times)
    assert len({run["code"] for run in runs}) == len(runs)
    assert len(planned.extended.added) == proposal.adds
