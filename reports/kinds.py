"""For whom is the page, and which parts does it have, in which order?

Every kind is one list of section functions; all are rendered by one template. A section that has
nothing to say is None and left out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from analysis.results import Analysis
from reports.sections.amount import amount_section
from reports.sections.answer import answer_section
from reports.sections.blocks import Section
from reports.sections.checked import checks_section
from reports.sections.chemistry import chemistry_section
from reports.sections.classroom import questions_section, safety_section
from reports.sections.explained import with_ideas
from reports.sections.glance import glance_section
from reports.sections.mattered import mattered_section
from reports.sections.numbering import Keys
from reports.sections.onward import next_section
from reports.sections.panel import blind_section, consent_section, panel_section, still_blind
from reports.sections.parts import part_sections
from reports.sections.photos import PhotosTold, photos_section
from reports.sections.record import data_section, made_section, provenance_section
from reports.sections.sure import sure_section
from reports.sections.taste import taste_section

if TYPE_CHECKING:
    from pandas import DataFrame


@dataclass(frozen=True, kw_only=True)
class Told:
    """What a page may tell of.

    ``notes`` has one row per taste note: ``tags``, ``words`` and either ``treatment`` or the
    factors' columns. ``plan`` tells how it was made (kind, runs, blocks, replicates, seed,
    formula …), in the order to be shown. ``provenance`` names content hash, audit head,
    versions and the command that makes the report again. ``chemistry`` has one row per bake:
    the factors' columns and the account (``analysis.leavening.runs``), ``measured_ph`` if it was.
    ``scores`` has one row per score: ``bake``, ``response``, ``score``, ``person`` (a number) and the factors.
    ``tasting_open``: somebody is still tasting blind. ``photos`` are None where none were taken.
    """

    analysis: Analysis
    notes: DataFrame | None = None
    plan: Mapping[str, Any] | None = None
    chemistry: DataFrame | None = None
    provenance: Mapping[str, str] = field(default_factory=dict)
    title: str = ""
    question: str = ""
    invented: bool = False
    cautions: tuple[str, ...] = ()
    scores: DataFrame | None = None
    tasting_open: bool = False
    photos: PhotosTold | None = None


Parts = Iterable[Section | None]


def _kitchen(told: Told, keys: Keys) -> Parts:
    """For whoever bakes next: the answer, then everything it rests on."""
    analysis = told.analysis
    return (
        answer_section(analysis),
        glance_section(analysis, told.chemistry, told.notes, keys),
        mattered_section(analysis, keys),
        amount_section(analysis, keys),
        chemistry_section(analysis, told.chemistry, told.notes, keys),
        taste_section(analysis, told.notes, keys),
        _photos(told),
        next_section(analysis),
        *part_sections(analysis, keys),
        sure_section(analysis),
        *_behind(told, keys),
    )


def _class(told: Told, keys: Keys) -> Parts:
    """For a teacher: safety first, then the same findings, each idea in a line where it first comes up."""
    analysis = told.analysis
    parts: Parts = (
        safety_section(),
        answer_section(analysis),
        glance_section(analysis, told.chemistry, told.notes, keys),
        mattered_section(analysis, keys),
        amount_section(analysis, keys),
        chemistry_section(analysis, told.chemistry, told.notes, keys),
        taste_section(analysis, told.notes, keys),
        _photos(told),
        questions_section(analysis, told.chemistry),
        next_section(analysis),
        *part_sections(analysis, keys),
        sure_section(analysis),
        *_behind(told, keys),
    )
    return with_ideas([part for part in parts if part is not None])


def _panel(told: Told, keys: Keys) -> Parts:
    """For the sensory side: the scores, assessors, words; nothing of treatments before the end."""
    analysis = _scored(told.analysis)
    compared = panel_section(analysis, told.scores, keys)
    if _hides_treatments(told):
        provenance = provenance_section(analysis, told.provenance)
        return (blind_section(analysis), consent_section(), compared, provenance)
    scored = replace(told, analysis=analysis)
    return (
        answer_section(analysis),
        consent_section(),
        compared,
        taste_section(analysis, told.notes, keys),
        mattered_section(analysis, keys),
        next_section(analysis),
        sure_section(analysis),
        *_behind(scored, keys),
    )


def _scored(analysis: Analysis) -> Analysis:
    """The scores alone, where there are any: what was measured is for other readers."""
    kept = tuple(result for result in analysis.responses if result.response.scale == "score")
    names = {result.response.name for result in kept}
    findings = tuple(finding for finding in analysis.findings if finding.response in names)
    return replace(analysis, responses=kept, findings=findings, parts=()) if kept else analysis


def _photos(told: Told) -> Section | None:
    return photos_section(told.photos, told.analysis.question, blind=told.tasting_open)


def _behind(told: Told, keys: Keys) -> Parts:
    """How it was made, checks, data and provenance, at the end of every kind."""
    return (
        made_section(told.analysis, told.plan),
        checks_section(told.analysis, keys),
        data_section(told.analysis),
        provenance_section(told.analysis, told.provenance),
    )


KINDS: Mapping[str, Callable[[Told, Keys], Parts]] = {"kitchen": _kitchen, "class": _class, "panel": _panel}


def told_to(kind: str, told: Told) -> Told:
    """What may be told to this reader: cautions that name settings of single runs would give codes away."""
    return replace(told, cautions=()) if kind == "panel" and _hides_treatments(told) else told


def _hides_treatments(told: Told) -> bool:
    """Is somebody still to taste blind, now or when the last runs are baked?"""
    return told.tasting_open or still_blind(told.analysis)


def sections_of(kind: str, told: Told) -> list[Section]:
    """The parts of a page of this kind, in order. A kind that is none of KINDS is a KeyError: the shells ask first."""
    return [section for section in KINDS[kind](told, Keys()) if section is not None]
