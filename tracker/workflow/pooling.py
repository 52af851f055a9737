"""What do several trials of one product say together?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from analysis.errors import AnalysisError
from tracker.errors import UsageError
from tracker.workflow.analysing import analyse_trial
from tracker.workflow.files import write_whole
from tracker.workflow.lookup import find_trial
from tracker.workflow.options import Options
from tracker.workflow.pooled_trials import about_trials
from tracker.workflow.provenance import as_words

if TYPE_CHECKING:
    from analysis.pooling.results import Pooling
    from tracker.models import Trial
    from tracker.store import Store


@dataclass(frozen=True, kw_only=True)
class PooledTrials:
    """The pooled answer with where it comes from. ``about``: trial -> what -> how it was there."""

    pooling: Pooling
    provenance: Mapping[str, Any]
    invented: bool = False
    about: Mapping[str, Mapping[str, str]] = field(default_factory=dict)

    def summary(self) -> str:
        from analysis.words.pooling import pooling_text

        return pooling_text(self.pooling)

    def to_json(self) -> dict[str, Any]:
        from analysis.pooling.serialise import pooling_json

        return {**pooling_json(self.pooling), "provenance": dict(self.provenance)}


def pool_trials(
    store: Store,
    names: Sequence[str],
    *,
    responses: Sequence[str] = (),
    factors: Sequence[str] = (),
    confidence: float = 0.95,
    anyway: bool = False,
) -> PooledTrials:
    """Every effect that the trials have in common, in order of time.

    Raises NotFound, UsageError (one trial, or trials of different formulas without ``anyway``), TrialDataError and
    NotPossible; the last with the trial's name.
    """
    from analysis.pooling import TrialAnswer, pool_effects

    if len(dict.fromkeys(names)) < max(len(names), 2):
        what = "One trial alone has nothing to be pooled with." if len(set(names)) < 2 else "A trial is named twice."
        raise UsageError(what, where="TRIAL", try_this="crumbwise trial pool FIRST SECOND")
    trials, products = _in_time(store, names)
    answers = []
    hashes: dict[str, str] = {}
    invented = False
    for trial in trials:
        try:
            answer = analyse_trial(store, trial, options=Options(confidence=confidence))
        except AnalysisError as problem:
            raise type(problem)(
                f"{trial}: {problem.what}", where=f'trial "{trial}"', try_this=problem.try_this
            ) from problem
        answers.append(TrialAnswer(name=trial, analysis=answer.analysis))
        hashes[trial] = str(answer.provenance["content_sha256"])
        invented = invented or answer.invented
    pooling = pool_effects(answers, responses=responses, factors=factors, confidence=confidence)
    # Asked last: --anyway is offered only where it was seen to lead somewhere.
    remarks = _one_product(products, anyway=anyway)
    command = ["crumbwise", "trial", "pool", *names]
    command += [word for option, said in (("--response", responses), ("--factor", factors)) for one in said
                for word in (option, one)]  # fmt: skip
    return PooledTrials(
        pooling=replace(pooling, remarks=(*remarks, *pooling.remarks)),
        provenance={"content_sha256": hashes, "command": " ".join(command + (["--anyway"] if anyway else []))},
        invented=invented,
        about=about_trials(store, trials),
    )


def _in_time(store: Store, names: Sequence[str]) -> tuple[list[str], dict[str, str]]:
    """The trials' names in the order they were planned, and the formula of each ("" for none)."""
    from tracker.models import Formula

    with store.read() as session:
        found: list[tuple[Trial, str]] = []
        for name in names:
            trial = find_trial(session, name)
            formula = session.get(Formula, trial.formula_id) if trial.formula_id else None
            found.append((trial, formula.name if formula else ""))
    found.sort(key=lambda pair: (pair[0].made_at, pair[0].id or 0))
    return [trial.name for trial, _ in found], {trial.name: product for trial, product in found}


def _one_product(products: Mapping[str, str], *, anyway: bool) -> tuple[str, ...]:
    """Trials of different formulas are pooled only when that is wanted, and it is said then."""
    known = {trial: product for trial, product in products.items() if product}
    if len(set(known.values())) < 2:
        return ()
    (first, one), (second, other) = next(
        ((a, known[a]), (b, known[b])) for a in known for b in known if known[a] != known[b]
    )
    said = f'{first} is a trial of "{one}", {second} of "{other}"'
    if not anyway:
        raise UsageError(
            f"{said}: what moves one may not move the other.",
            where="TRIAL",
            try_this="trials of one formula, or --anyway if they are one product to you",
        )
    return (f"{said}; they were pooled as one product because that was asked for.",)


def write_pooled_report(answer: PooledTrials, path: str | Path) -> Path:
    """The pooled answer as one HTML file, whole or not at all."""
    from reports.pooled import pooled_report

    page = pooled_report(
        answer.pooling,
        title="What the trials say together",
        provenance=as_words(answer.provenance),
        invented=answer.invented,
        about=answer.about,
    )
    return write_whole(path, page)
