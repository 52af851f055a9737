"""Is the measuring good enough, whose scatter is it, and how many readings are worth taking?

One call for every layout: crossed or nested, even or with gaps, one person or many, repeats or none.
"""

from __future__ import annotations

import pandas as pd

from analysis.control.gauge.findings import findings_of, judged, verdict_of
from analysis.control.gauge.fits import fits_of
from analysis.control.gauge.people import people_lines
from analysis.control.gauge.ranges import average_and_range
from analysis.control.gauge.results import GaugeAnswer, GaugeQuestion, PlottedReading
from analysis.control.gauge.study import Study, read_study
from analysis.control.gauge.trust import checks_of, odd_readings
from analysis.control.gauge.uneven import interaction_test, refuse_no_scatter
from analysis.control.gauge.worth import worth_of


def gauge_study(frame: pd.DataFrame, question: GaugeQuestion) -> GaugeAnswer:
    """``frame`` has one row per reading with the columns that ``question`` names.

    Raises TrialDataError (columns, text in numbers, limits), NotPossible (one piece, no repeats, no scatter).
    """
    study = read_study(frame, question)
    refuse_no_scatter(study)
    test = interaction_test(study)
    used, fits = fits_of(study, question, test)
    persons, pair = people_lines(study, used, question.confidence)
    odd, worth = odd_readings(study), worth_of(used.components)
    share, by = judged(used)
    return GaugeAnswer(
        question=question,
        nested=study.nested,
        even=study.even,
        people=study.people,
        pieces=len(study.pieces),
        readings=len(study.y),
        repeats=(int(study.counts.min()), int(study.counts.max())),
        used=used,
        fits=fits,
        interaction=test,
        verdict=verdict_of(share),
        judged_by=by,
        judged=share,
        persons=persons,
        pair=pair,
        odd=odd,
        worth=worth,
        ranges=average_and_range(study),
        checks=checks_of(study, used),
        findings=findings_of(used, pair, odd, worth),
        left_out=study.left_out,
        plotted=_plotted(study),
    )


def _plotted(study: Study) -> tuple[PlottedReading, ...]:
    return tuple(
        PlottedReading(person=study.people[who], piece=study.pieces[what], value=float(value))
        for who, what, value in zip(study.person, study.piece, study.y, strict=True)
    )
