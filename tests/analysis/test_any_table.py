"""Whatever the table, the answer is an answer or a refusal with a way out: never a crash, a NaN or a broken document.

Random tables: few or many rows, constant columns, empty cells, gaps, no scatter, twelve
shared leading digits; surfaces, blends that do or do not add up, strips that do or do not cross.
``CRUMBWISE_ANY_TABLES`` sets how many (default 150 of each sort; 4,000 were run once).
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
from analysis.questions import Factor, Question, Response
from analysis.serialise import analysis_json, schema
from analysis.words import analysis_text

TABLES = int(os.environ.get("CRUMBWISE_ANY_TABLES", "150"))
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


SORTS = {"factors and doses": random_case, "surfaces": random_surface, "blends": random_blend}


@pytest.mark.parametrize("sort", SORTS)
def test_any_table_is_answered_or_refused_in_words(sort):
    validator = jsonschema.Draft202012Validator(schema())
    answered, refusals = 0, []
    for seed in range(TABLES):
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
    assert answered > TABLES / 3
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
