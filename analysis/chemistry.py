"""Do gas and left-over soda explain what the categories did?

Joins the chemistry of the bakes (columns of ``analysis.leavening.runs`` that a trial with
a formula brings along) with the bake frame, one category at a time.
"""

from __future__ import annotations

import pandas as pd

from analysis.leavening.runs import COLUMNS, GAS
from analysis.questions import Question, Response
from analysis.results import ChemistryPart
from analysis.rows import level_text


def chemistry_parts(
    bakes: pd.DataFrame, table: pd.DataFrame, response: Response, question: Question
) -> tuple[ChemistryPart, ...]:
    """One part for each category that varies; none when the table brings no chemistry.

    ``bakes`` is the bake frame, ``table`` the readings it was made of.
    """
    if question.bake is None or GAS not in table:
        return ()
    from analysis.leavening.explains import chemistry_explains

    columns = [name for name in COLUMNS if name in table]
    of_bake = table.groupby(table[question.bake].map(level_text))[columns].first()
    joined = bakes.join(of_bake, on="bake")
    if joined[GAS].isna().any():
        return ()
    varied = [factor.name for factor in question.factors if joined[factor.name].nunique() > 1]
    return tuple(
        chemistry_explains(
            joined,
            response=response.name,
            category_name=factor.name,
            blocks=[name for name in question.blocks if joined[name].nunique() > 1],
            treatment=varied,
            matters=response.matters,
            confidence=question.confidence,
        )
        for factor in question.factors
        if factor.kind == "category" and factor.name in varied
    )
