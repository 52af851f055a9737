"""Whatever the table, the answer is an answer or a refusal with a way out: never a crash, a NaN or a broken document.

Random tables: few or many rows, constant columns, empty cells, gaps, no scatter, twelve
shared leading digits; surfaces, blends that do or do not add up, strips that do or do not cross.
``CRUMBWISE_ANY_TABLES`` sets how many (default 250 of each sort; about 9,000 of each were run by hand).
"""

import json
import os
import re
from dataclasses import replace

import jsonschema
import numpy as np
import pandas as pd
import pytest

from analysis.engine import analyse
from analysis.errors import AnalysisError
from analysis.questions import Factor, Margin, Question, Response
from analysis.serialise import analysis_json, schema
from analysis.words import analysis_text

TABLES = int(os.environ.get("CRUMBWISE_ANY_TABLES", "250"))
NO_WORD = re.compile(r"\b(nan|inf|None)\b")


def random_case(seed: int) -> tuple[pd.DataFrame, Question]:
    draw = np.random.default_rng(seed)
    rows = int(draw.integers(1, 40))
    columns, factors = {}, []
    for name in ["soda", "acid source", "oven"][: int(draw.integers(1, 4))]:
        levels = int(draw.integers(1, 6))
        amount = draw.random() < 0.5
        pool = np.round(draw.uniform(0, 3, levels), 2) if amount else [f"level {at}" for at in range(levels)]
        columns[name] = draw.choice(pool, rows)
        factors.append(Factor(name=name, kind="amount" if amount else "category"))
    blocks, group = (), ()
    if draw.random() < 0.4:
        columns["day"], blocks = draw.integers(1, 4, rows), ("day",)
    if draw.random() < 0.15:
        columns["load"], group = draw.integers(1, 6, rows), ("load",)
    rise = draw.normal(0, 1, rows) * draw.choice([0, 1e-9, 1, 1e6]) + draw.choice([0, 40, 1e12])
    columns["rise"] = np.where(draw.random(rows) < draw.choice([0, 0.2]), np.nan, rise)
    response = Response(
        name="rise",
        unit="mm",
        matters=draw.choice([None, 0.5, 3]),
        goal=draw.choice([None, "maximise", "minimise", "target"]),
        target=0.3,
        scale=str(draw.choice(["measured", "score"])),
    )
    question = Question(
        factors=tuple(factors),
        responses=(response,),
        blocks=blocks,
        group=group,
        order=int(draw.integers(1, 4)),
        squares=int(draw.integers(1, 4)),
        kind=str(draw.choice(["auto", "factors", "dose"])),
    )
    return pd.DataFrame(columns), question


def random_surface(seed: int) -> tuple[pd.DataFrame, Question]:
    """As ``random_case``, with a model of its own, and now and then strips."""
    draw = np.random.default_rng(seed)
    table, question = random_case(seed)
    model = draw.choice([None, "main effects", "interactions", "quadratic"])
    strips = ()
    if draw.random() < 0.3:
        across, down = (int(count) for count in draw.integers(1, 5, 2))
        spot = np.arange(len(table)) % (across * down)
        table["batch"], table["shelf"] = spot // down, spot % down
        strips = ("batch", "shelf")
    kind = str(draw.choice(["surface", "factors", "auto"]))
    return table, replace(question, kind=kind, model=model, strips=strips, group=() if strips else question.group)


def random_blend(seed: int) -> tuple[pd.DataFrame, Question]:
    """Shares on a grid or anywhere, beside blocks, whole plots and other factors."""
    draw = np.random.default_rng(seed)
    rows, q = int(draw.integers(1, 40)), int(draw.choice([1, 2, 3, 3, 4]))
    parts = draw.dirichlet(np.ones(q), rows)
    if draw.random() < 0.5:
        parts = draw.multinomial(int(draw.integers(1, 4)), np.full(q, 1 / q), rows)
        parts = parts / parts.sum(axis=1, keepdims=True)
    names = ["wheat", "rye", "oat", "spelt"][:q]
    table = pd.DataFrame(np.round(100 * parts, int(draw.integers(0, 8))), columns=names)
    if draw.random() < 0.1:
        table.iloc[0, 0] += draw.choice([1, 50, -200])
    factors = [Factor(name=name, kind="share", unit="%") for name in names]
    if draw.random() < 0.4:
        table["oven"] = draw.choice(["hot", "mild", "slow"], rows)
        factors.append(Factor(name="oven", kind="category"))
    if draw.random() < 0.3:
        table["time"] = draw.choice([20.0, 30.0, 40.0], rows)
        factors.append(Factor(name="time", kind="amount", unit="min"))
    table["day"], table["load"] = draw.integers(1, 4, rows), draw.integers(1, 6, rows)
    rise = draw.normal(0, 1, rows) * draw.choice([0, 1e-9, 1, 1e6]) + draw.choice([0, 40, 1e12])
    table["rise"] = np.where(draw.random(rows) < draw.choice([0, 0.2]), np.nan, rise)
    return table, Question(
        factors=tuple(factors),
        responses=(Response(name="rise", unit="mm", matters=draw.choice([None, 0.5, 3])),),
        blocks=("day",) if draw.random() < 0.4 else (),
        group=("load",) if draw.random() < 0.3 else (),
        model=draw.choice([None, "mixture linear", "mixture quadratic", "mixture special cubic"]),
        kind=str(draw.choice(["auto", "mixture"])),
    )


def random_wishes(seed: int) -> tuple[pd.DataFrame, Question]:
    """As ``random_case``, with wishes that may make no sense: groups that cross, slopes, weights, margins, scores."""
    draw = np.random.default_rng(seed)
    table, question = random_case(seed)
    rows, first = len(table), question.factors[0]
    table["assessor"], table["shift"] = draw.integers(1, 5, rows), draw.choice(["early", "late"], rows)
    table["room"], table["pieces"] = draw.normal(21, draw.choice([0, 2]), rows), draw.integers(0, 4, rows) + 0.0
    response = replace(
        question.responses[0],
        scale=str(draw.choice(["measured", "score", "count", "yes-no"])),
        margin=draw.choice([None, Margin(low=-1, high=1), Margin(low=0.9, high=1.1, ratio=True)]),
        accept=[None, (0.0, None), (-1.0, 1.0)][int(draw.integers(3))],
    )
    if response.scale != "measured" and draw.random() < 0.9:
        whole = np.clip(
            np.round(np.nan_to_num(table["rise"].to_numpy()) % 5), 0, 1 if response.scale == "yes-no" else 5
        )
        table["rise"] = np.where(table["rise"].isna(), np.nan, whole)

    def now_and_then(wish: object, share: float = 0.2) -> object:
        return wish if draw.random() < share else type(wish)()

    return table, replace(
        question,
        responses=(response,),
        kind=str(draw.choice(["auto", "factors", "dose", "surface", "score"])),
        group=question.group or now_and_then(("assessor",)),
        crossed=now_and_then((("shift",),)),
        slopes=now_and_then(((first.name, "assessor"),), 0.1),
        covariates=now_and_then(("room",)) or now_and_then(("shift",), 0.1),
        weights=now_and_then("pieces", 0.1) or None,
        transform=draw.choice([None, None, "auto", "log", "square root", "reciprocal", "logit"]),
        robust=bool(draw.random() < 0.15),
        unequal_spread=bool(draw.random() < 0.15),
        adjust=str(draw.choice(["auto", "holm", "scheffe", "none"])),
        small_sample=str(draw.choice(["kenward-roger", "satterthwaite"])),
        intervals=str(draw.choice(["standard", "standard", "profile"])),
        effective=now_and_then((0.5, 0.9)),
    )


SORTS = {
    "factors and doses": random_case,
    "surfaces": random_surface,
    "blends": random_blend,
    "wishes": random_wishes,
}
# Tables that once broke something: days with as many coefficients as bakes; a scale undone beyond all numbers;
# draws with less than one degree of freedom.
ONCE_BROKEN = {"factors and doses": (20966, 508275), "surfaces": (20966,), "wishes": (30514,)}
FEWEST = {"wishes": 0.05}  # of the tables that are answered: wishes at random seldom make sense together


@pytest.mark.parametrize("sort", SORTS)
def test_any_table_is_answered_or_refused_in_words(sort):
    validator = jsonschema.Draft202012Validator(schema())
    answered, refusals = 0, []
    for seed in (*range(TABLES), *ONCE_BROKEN.get(sort, ())):
        table, question = SORTS[sort](seed)
        try:
            analysis = analyse(table, question)
        except AnalysisError as error:
            refusals.append(error)
            continue
        answered += 1
        document = analysis_json(analysis)
        assert not list(validator.iter_errors(document)), seed
        json.dumps(document, allow_nan=False)
        text = analysis_text(analysis)
        assert not NO_WORD.search(text), (seed, text)
        assert analysis.rows_used + len({out.row for out in analysis.left_out}) == analysis.rows_read == len(table), (
            seed
        )
    assert answered > TABLES * FEWEST.get(sort, 1 / 3)
    assert refusals
    assert all(refusal.what and refusal.try_this for refusal in refusals)


@pytest.mark.parametrize("sort", SORTS)
@pytest.mark.parametrize("seed", range(3))
def test_the_same_table_gives_the_same_document_twice(sort, seed):
    table, question = SORTS[sort](seed + 1000)
    try:
        first = analysis_json(analyse(table, question))
    except AnalysisError as error:
        with pytest.raises(type(error)):
            analyse(table, question)
        return
    assert analysis_json(analyse(table, question)) == first
