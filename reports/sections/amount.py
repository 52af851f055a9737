"""How much should go in?"""

from __future__ import annotations

from analysis.results import Analysis
from analysis.words import headings as say
from analysis.words import say_finding
from analysis.words.numbers import start
from reports.figures.dose import draw_dose
from reports.sections.blocks import Heading, Items, Picture, Section, Words
from reports.sections.mattered import DOSE_KINDS
from reports.sections.numbering import Keys


def amount_section(analysis: Analysis, keys: Keys) -> Section | None:
    """Recommended amounts with the dose curves; None when no dose was followed."""
    blocks: list[Words | Items | Heading | Picture] = []
    units = {factor.name: factor.unit for factor in analysis.question.factors}
    followed = [result for result in analysis.responses if result.family.dose is not None]
    for result in followed:
        if len(followed) > 1:
            blocks.append(Heading(text=start(result.response.name)))
        said = [f for f in result.findings if f.kind in DOSE_KINDS]
        sentences = tuple(say_finding(f, result.response, analysis.question.confidence) for f in said)
        if sentences:
            blocks.append(Items(items=sentences))
        dose = result.family.dose
        assert dose is not None
        figure = draw_dose(
            result, key=keys(), dose_unit=units.get(dose.dose, ""), confidence=analysis.question.confidence
        )
        if figure:
            blocks.append(Picture(figure=figure))
    return Section(key="amount", title=say.RECOMMENDED, blocks=blocks) if blocks else None
