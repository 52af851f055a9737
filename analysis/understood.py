"""Which wishes does each family understand? What it does not is refused in words, never passed over."""

from __future__ import annotations

from analysis.errors import NotPossible
from analysis.questions import Question, Response

# Settings of a question beyond its columns, as a person would name them.
SETTINGS = {
    "crossed": "groups that cut across each other",
    "slopes": "slopes that vary between groups",
    "covariates": "covariates",
    "weights": "weights",
    "transform": "a transformation",
    "robust": "the robust analysis",
    "unequal_spread": "unequal spread",
    "contrasts": "chosen contrasts",
    "interactions": "chosen interactions",
    "adjust": "another allowance for many comparisons",
    "intervals": "other intervals of the curve",
    "effective": "effective doses",
    "link": "another link",
}

# Family -> the settings it reads.
UNDERSTOOD: dict[str, frozenset[str]] = {
    "factors": frozenset(
        {"contrasts", "adjust", "interactions", "crossed", "slopes"}
        | {"covariates", "weights", "transform", "robust", "unequal_spread"}
    ),
    "dose": frozenset({"crossed", "weights", "unequal_spread", "effective", "intervals"}),
    "blend": frozenset({"covariates", "weights"}),
    "scores": frozenset({"crossed", "weights", "covariates", "adjust", "effective", "intervals", "link", "contrasts"}),
}
# How a setting is asked for, where the option is not the name itself.
OPTIONS = {
    "crossed": "--group",
    "slopes": "--slope",
    "covariates": "--covariate",
    "contrasts": "--contrast",
    "interactions": "--interaction",
}
KINDS = {"factors": "factors", "dose": "dose", "scores": "score"}  # family -> the kind that leads to it
WITH_MARGIN = frozenset({"factors", "scores"})
CALLED = {"factors": "the analysis of factors", "dose": "a dose curve", "blend": "a blend", "scores": "scores"}


def refuse_what_is_not_understood(question: Question, response: Response, family: str) -> None:
    """Raise NotPossible for a wish that ``family`` would pass over."""
    if response.margin is not None and family not in WITH_MARGIN:
        raise NotPossible(
            f"A margin cannot be judged with {CALLED[family]}.",
            where="--margin",
            try_this="Ask which factors matter (--kind factors), or leave the margin out.",
        )
    plain = {name: field.default for name, field in Question.__dataclass_fields__.items()}
    for name, called in SETTINGS.items():
        if getattr(question, name) not in (plain[name], "none") and name not in UNDERSTOOD[family]:
            raise NotPossible(
                f"{called[0].upper()}{called[1:]} cannot be had with {CALLED[family]}.",
                where=OPTIONS.get(name, f"--{name.replace('_', '-')}"),
                try_this=_way_out(name, family, question),
            )


def _way_out(name: str, family: str, question: Question) -> str:
    """A kind of analysis that reads the setting; a blend has no other."""
    kinds = [f"--kind {kind}" for other, kind in KINDS.items() if name in UNDERSTOOD[other]]
    if not kinds or family == "blend":
        return "leave that out"
    without = " without --dose" if question.dose and kinds[0] == "--kind factors" else ""
    return f"{' or '.join(kinds)}{without}, or leave that out"
