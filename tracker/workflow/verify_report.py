"""Is this report still what the record says?

Its provenance tells which record, command and versions it was made from. It is made again from the
kitchen (or the spreadsheet beside it) and compared byte for byte; where they differ, the answer
says whether the record, the version or the file itself is the reason.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tracker.errors import NotFound
from tracker.workflow.differing_sections import Unlike, unlike_sections
from tracker.workflow.provenance import as_words
from tracker.workflow.report_facts import Facts, read_facts, read_text
from tracker.workflow.reporting import report_page
from tracker.workflow.retyped import Typed, read_command

if TYPE_CHECKING:
    from tracker.store import Store
    from tracker.workflow.analysing import TrialAnalysis


@dataclass(frozen=True, kw_only=True)
class Verdict:
    """``reasons`` are sentences, none when it is the same; ``since`` counts entries of the record made after it."""

    report: Path
    about: str
    same: bool
    reasons: tuple[str, ...] = ()
    unlike: tuple[Unlike, ...] = ()
    since: int | None = None

    def summary(self) -> str:
        if self.same:
            later = ""
            if self.since:
                entries = "1 entry" if self.since == 1 else f"{self.since} entries"
                later = f" The record has {entries} more since; none of them changes it."
            return f"{self.report} is what the record says: made again, every byte is the same.{later}"
        told = [f"{self.report} is not what comes out now.", *self.reasons]
        for each in self.unlike:
            told += each.lines()
        return "\n".join(told)

    def to_json(self) -> dict[str, Any]:
        return {
            "report": str(self.report),
            "about": self.about,
            "same": self.same,
            "reasons": list(self.reasons),
            "sections": [each.to_json() for each in self.unlike],
            "entries_since": self.since,
        }


_PHOTOS = re.compile(r'<section class="photos".*?</section>', re.DOTALL)


@dataclass(frozen=True, kw_only=True)
class _Place:
    """Where in today's chain the report was made: ``since`` entries ago, at the time ``at``; None when nowhere."""

    since: int
    at: str | None


def verify_report(path: str | Path, *, kitchen: str) -> Verdict:
    """Make the report at ``path`` again and compare.

    ``kitchen`` (path or URL) is opened only for a trial's report. Raises InputError for what is no
    HTML report of ours, NotFound when the trial or the spreadsheet is not there.
    """
    path = Path(path)
    text = read_text(path)
    facts = read_facts(text, path)
    typed = read_command(facts.command)
    if typed.columns is not None:
        return _of_file(path, text, facts, typed)
    from tracker.workflow.kitchens import opened

    with opened(kitchen) as store:
        return _of_trial(path, text, facts, typed, store)


def _of_trial(path: Path, text: str, facts: Facts, typed: Typed, store: Store) -> Verdict:
    from analysis.errors import AnalysisError
    from tracker.frames import content_hash
    from tracker.workflow.reporting import answer_for_report
    from tracker.workflow.tastings import still_open

    content = content_hash(store, typed.about)  # NotFound comes first
    place = _place(store, facts)
    since = place.since if place else None
    record = _record_reasons(facts, content, place)
    try:
        with typed.look.writing():  # as when it was made: remarks are sentences of the analysis
            answer = answer_for_report(store, typed.about, typed.responses, typed.options)
    except AnalysisError as error:
        reasons = (*record, f"It cannot be made again: {error}")
        return Verdict(report=path, about=typed.about, same=False, reasons=reasons, since=since)
    record = (*record, *_price_reasons(facts, answer))
    then: dict[str, Any] = {}
    if place is not None:  # entries that do not concern this trial change its report in nothing but this
        then = {"as_of": place.at, "audit_head": facts.audit_head, "audit_entries": int(facts.audit_entries)}
        answer = replace(answer, tasting_open=still_open(store, typed.about, at=place.at))
    return _compared(path, text, facts, typed, _told(answer, then), record, since=since)


def _of_file(path: Path, text: str, facts: Facts, typed: Typed) -> Verdict:
    from analysis.errors import AnalysisError
    from tracker.workflow.analysing import analyse_file

    assert typed.columns is not None
    source = _beside(path, typed.about)
    try:
        answer = analyse_file(source, columns=typed.columns, options=typed.options, sheet=typed.sheet)
    except AnalysisError as error:
        reasons = (f"It cannot be made again from {source}: {error}",)
        return Verdict(report=path, about=typed.about, same=False, reasons=reasons)
    content = str(answer.provenance["content_sha256"])
    record: tuple[str, ...] = ()
    if content != facts.content_sha256:
        record = (f"The spreadsheet {source} changed: its content hash was {facts.content_sha256}, it is {content}.",)
    return _compared(path, text, facts, typed, answer, record)


def _compared(
    path: Path,
    text: str,
    facts: Facts,
    typed: Typed,
    answer: TrialAnalysis,
    record: tuple[str, ...],
    *,
    since: int | None = None,
) -> Verdict:
    made = report_page(answer, typed.look)
    if made == text:
        return Verdict(report=path, about=typed.about, same=True, since=since)
    reasons = [*record]
    now = answer.provenance["versions"]
    changed = _changed_versions(facts.versions, now)
    if changed:
        reasons.append(f"The version differs: {', '.join(changed)}.")
        made = report_page(_told(answer, {"versions": facts.versions}), typed.look)
        if made == text:
            reasons.append("Nothing else does: every other byte is the same.")
    if not reasons and _PHOTOS.sub("", made) == _PHOTOS.sub("", text):
        reasons.append(
            "Its photos, or what is said beside them, are no longer those of the record; every other byte is the same. "
            "A photo or a name that was erased since then is a reason, and so is a changed file."
        )
    if not reasons:
        reasons.append("The file itself was changed after it was written, or holds what the record never said.")
        if since:
            reasons.append(
                f"(Or one of {since} entries in the record since then is the reason, such as an ingredient.)"
            )
    return Verdict(
        report=path,
        about=typed.about,
        same=False,
        reasons=tuple(reasons),
        unlike=unlike_sections(text, made),
        since=since,
    )


def _record_reasons(facts: Facts, content: str, place: _Place | None) -> tuple[str, ...]:
    if place is None:
        return (
            f"The record is another: no entry of this kitchen is number {facts.audit_entries} "
            f"with the hash {facts.audit_head}.",
        )
    if content == facts.content_sha256:
        return ()
    if not place.since:
        return (
            f"The file itself was changed: it names the content hash {facts.content_sha256}, "
            f"but at the entry it names the record has {content}.",
        )
    entries = "1 audit entry" if place.since == 1 else f"{place.since} audit entries"
    return (
        f"The record changed: {entries} since the report. "
        f"The content hash was {facts.content_sha256}, it is {content}.",
    )


def _price_reasons(facts: Facts, answer: TrialAnalysis) -> tuple[str, ...]:
    """Prices are the kitchen's own and no part of the trial's content."""
    now = as_words(answer.provenance).get("prices_per_kg", "")
    return () if now == facts.prices else (f"Prices changed: they were {facts.prices}; they are {now}.",)


def _place(store: Store, facts: Facts) -> _Place | None:
    from sqlmodel import col, select

    from tracker.fingerprints import audit_head
    from tracker.models import AuditEntry

    count, head = audit_head(store)
    if not count:
        return _Place(since=0, at=None) if facts.audit_head == head else None
    if not facts.audit_entries.isdecimal():
        return None
    with store.read() as session:
        found = session.exec(select(AuditEntry).where(col(AuditEntry.hash) == facts.audit_head)).first()
    if found is None or found.sequence != int(facts.audit_entries):
        return None
    return _Place(since=count - found.sequence, at=found.at)


def _told(answer: TrialAnalysis, then: Mapping[str, Any]) -> TrialAnalysis:
    return replace(answer, provenance={**answer.provenance, **then})


def _changed_versions(then: Mapping[str, str], now: Mapping[str, str]) -> list[str]:
    names = list(dict.fromkeys((*then, *now)))
    none = "none"
    return [
        f"{name} {then.get(name, none)} then, {now.get(name, none)} here"
        for name in names
        if then.get(name) != now.get(name)
    ]


def _beside(report: Path, name: str) -> Path:
    """The spreadsheet lies beside the report or here."""
    plain = Path(name).name
    places = (report.parent / plain, Path(plain))
    for place in places:
        if place.is_file():
            return place
    raise NotFound(
        f"The spreadsheet {plain} that this report was made from is not there.",
        where=str(report.parent),
        try_this=f"put {plain} beside the report",
    )
