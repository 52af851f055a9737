"""Plan files of a few lines, for tests in which it matters that there is a trial and little which."""

from __future__ import annotations

ACID = """
[[factor]]
name = "acid"
kind = "category"
levels = ["yogurt", "lemon juice"]
"""
SODA = """
[[factor]]
name = "soda"
kind = "amount"
unit = "% flour"
values = [{values}]
"""
FRAME = """title = "{title}"
{question}flour_per_bake_g = 200
{factors}
[[response]]
name = "rise"
unit = "mm"
goal = "maximise"
matters = 2.0

[design]
kind = "{kind}"
replicates = {replicates}
seed = 5
"""


def small_plan(
    title: str = "Acid for the scone",
    *,
    kind: str = "completely randomised",
    replicates: int = 3,
    acid: bool = True,
    soda: str = "",
    question: str = "",
) -> str:
    """A plan in which ``acid`` (two kinds) and ``soda`` (the amounts "0.5, 1.0") may lift a rise in mm."""
    return FRAME.format(
        title=title,
        question=f'question = "{question}"\n' if question else "",
        factors=(SODA.format(values=soda) if soda else "") + (ACID if acid else ""),
        kind=kind,
        replicates=replicates,
    )
