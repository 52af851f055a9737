"""What is being asked of a spreadsheet?

Turns the words of a command line into a question and a table for the engine. What was not
said is guessed, and each guess is reported.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from analysis.questions import Factor, Question, Response
from tracker.errors import InputError, UsageError
from tracker.intake.columns import KINDS, find_column, guess_kind, levels_of, numbers_of, split_kind, texts_of
from tracker.intake.mapping import plain, split_unit
from tracker.intake.scales import read_scale, scores_of
from tracker.intake.spreadsheet import Sheet
from tracker.workflow.options import Options, how_of, lay_chains, set_references, slopes_of
from tracker.workflow.wanted import by_response, option_number, read_goal, refuse_costs, set_wishes

if TYPE_CHECKING:
    import pandas as pd

# Columns of our own exports and of bench sheets: they say which row it is, not what was changed.
SERVICE = {
    "run", "run code", "code", "row", "piece", "repeat", "reading", "bake", "bake order", "order", "place in design",
    "outcome", "reason", "deviations", "oven temperature c", "unlikely", "taste notes", "taste note", "note",
    "notes", "date", "person", "comment",
}  # fmt: skip
# Columns that mostly say which bakes were made under the same conditions.
BLOCKS = {"block", "replicate", "bake day", "day", "oven load", "session"}
PLUS = "+"


@dataclass(frozen=True, kw_only=True)
class Columns:
    """What the columns of a spreadsheet are, as typed: "NAME", "NAME:kind", "A+B", "NAME:value"."""

    responses: tuple[str, ...] = ()
    factors: tuple[str, ...] = ()
    blocks: tuple[str, ...] = ()
    bake: str | None = None
    goals: tuple[str, ...] = ()
    matters: tuple[str, ...] = ()
    scales: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Asked:
    """A question with its table, and what had to be guessed in plain sentences."""

    question: Question
    table: pd.DataFrame
    notes: tuple[str, ...]


def ask_file(sheet: Sheet, columns: Columns, options: Options) -> Asked:
    """Raises InputError or UsageError, with the nearest name, for what does not fit the file."""
    return _Asking(sheet, columns, options).ask()


class _Asking:
    """One spreadsheet and what was said of it; names are the columns' without their units."""

    def __init__(self, sheet: Sheet, columns: Columns, options: Options) -> None:
        self.sheet, self.columns, self.options = sheet, columns, options
        names = [split_unit(column)[0] for column in sheet.header]
        alone = [names.count(name) == 1 and bool(name) for name in names]
        self.names = {c: n if a else c for c, n, a in zip(sheet.header, names, alone, strict=True)}
        self.units = {c: split_unit(c)[1] if a else "" for c, a in zip(sheet.header, alone, strict=True)}
        self.notes: list[str] = list(sheet.notes)
        self.words: dict[str, tuple[str, ...]] = {}
        self.anchors: dict[str, tuple[str, ...]] = {}

    def ask(self) -> Asked:
        responses = self._responses()
        blocks = [self._column(name, "--block") for name in self.columns.blocks]
        chains = [self._columns(text, "--group") for text in self.options.groups]
        group = list(dict.fromkeys([column for chain in chains for column in chain] + self._slope_groups()))
        covariates = [self._column(name, "--covariate") for name in self.options.covariates]
        weights = [self._column(self.options.weights, "--weights")] if self.options.weights else []
        bake = self._columns(self.columns.bake, "--bake") or self._guessed_bake(responses)
        if not blocks and not self.columns.factors:
            blocks = self._guessed_blocks([*responses, *bake, *group])
        kinds, guessed = self._factors(taken=[*responses, *blocks, *group, *bake, *covariates, *weights])
        table = self._table(responses, kinds, [*blocks, *group, *bake])
        self._add_measured(table, covariates, weights)
        if len(bake) > 1:
            table[PLUS.join(bake)] = _joined(table, [self.names[column] for column in bake])
        its_chains, its_blocks = lay_chains(
            {"": table},
            [[self.names[column] for column in chain] for chain in chains],
            factors=[self.names[column] for column in kinds],
            blocks=[self.names[column] for column in blocks],
        )
        question = Question(
            factors=set_references([self._factor(c, its, table) for c, its in kinds.items()], self.options.references),
            responses=set_wishes(self._asked_responses(responses), self.options, spelled=self.names),
            kind=self.options.kind,
            dose=self._known(self.options.dose, kinds, "--dose"),
            by=self._known(self.options.by, kinds, "--by"),
            shape=self.options.shape,
            blocks=its_blocks,
            group=its_chains[0] if its_chains else (),
            crossed=its_chains[1:],
            slopes=slopes_of(self.options.slopes, table.columns),
            covariates=tuple(self.names[column] for column in covariates),
            weights=self.names[weights[0]] if weights else None,
            **how_of(self.options),
            bake=None if not bake else self.names[bake[0]] if len(bake) == 1 else PLUS.join(bake),
            model=self.options.model,
            order=self.options.order,
            squares=self.options.squares,  # type: ignore[arg-type]  # the engine refuses other numbers in words
            confidence=self.options.confidence,
            seed=self.options.seed,
            guessed=tuple(self.names[column] for column in guessed),
        )
        return Asked(question=question, table=table, notes=tuple(self.notes))

    def _slope_groups(self) -> list[str]:
        """Columns that end a slope "AMOUNT:GROUP": they are groups, whether named as such or not."""
        texts = [text.strip() for text in self.options.slopes]
        return [c for c, name in self.names.items() if any(t.endswith((f":{c}", f":{name}")) for t in texts)]

    def _column(self, name: str, option: str) -> str:
        return find_column(self.sheet.header, name, option=option)

    def _columns(self, text: str | None, option: str) -> list[str]:
        """ "A+B" as two columns, unless one column is called that."""
        if not text:
            return []
        parts = [text] if text in self.sheet.header else [part.strip() for part in text.split(PLUS)]
        return [self._column(part, option) for part in parts]

    def _responses(self) -> list[str]:
        if not self.columns.responses:
            numeric = [c for c in self.sheet.header if guess_kind(self.sheet.column(c)) == "amount"]
            example = numeric[-1] if numeric else self.sheet.header[-1]
            raise InputError(
                f"No response was named; the columns are {', '.join(self.sheet.header)}.",
                where=self.sheet.source,
                try_this=f'--response "{example}"',
            )
        return list(dict.fromkeys(self._column(name, "--response") for name in self.columns.responses))

    def _guessed_bake(self, responses: Sequence[str]) -> list[str]:
        """Our exports tell a run from its pieces and repeats: those are readings of one bake."""
        named = {plain(column): column for column in self.sheet.header if column not in responses}
        for name in ("bake", "run"):
            if name in named and (name == "bake" or {"piece", "repeat"} & set(named)):
                self.notes.append(f"{named[name]} was taken for the name of the bake; its readings are averaged.")
                return [named[name]]
        return []

    def _guessed_blocks(self, taken: Sequence[str]) -> list[str]:
        asked = {self.options.dose, self.options.by}
        blocks = [c for c in self.sheet.header if plain(c) in BLOCKS and c not in taken and c not in asked]
        blocks = [column for column in blocks if len({*self.sheet.column(column)}) > 1]
        self.notes += [f"{column} was taken for a block." for column in blocks]
        return blocks

    def _factors(self, taken: Sequence[str]) -> tuple[dict[str, str], list[str]]:
        """Column → kind in the order asked for (else of the file), and the columns whose kind was guessed."""
        kinds: dict[str, str] = {}
        guessed: list[str] = []
        for text in self.columns.factors:
            name, kind = split_kind(text, KINDS, option="--factor", header=self.sheet.header)
            column = self._column(name, "--factor")
            kinds[column] = kind or guess_kind(self.sheet.column(column))
            guessed += [] if kind else [column]
        for wanted, its_kind, option in (
            (self.options.dose, "amount", "--dose"),
            (self.options.by, "category", "--by"),
        ):
            if wanted is not None:
                kinds.setdefault(self._column(wanted, option), its_kind)
        if not kinds:
            guessed = self._all_others(taken)
            kinds = {column: guess_kind(self.sheet.column(column)) for column in guessed}
        self.notes += [f"{self.names[column]} was taken for a factor: {kinds[column]}." for column in guessed]
        return kinds, guessed

    def _all_others(self, taken: Sequence[str]) -> list[str]:
        """Every column that is nothing else and that changes without naming each row."""
        why: dict[str, list[str]] = {}
        others = []
        for column in self.sheet.header:
            cells = [cell.strip() for cell in self.sheet.column(column) if cell.strip()]
            if column in taken:
                continue
            if plain(column) in SERVICE:
                why.setdefault("it says which row it is", []).append(column)
            elif len(set(cells)) < 2:
                why.setdefault("it never changes", []).append(column)
            elif guess_kind(cells) == "category" and len(set(cells)) == len(cells):
                why.setdefault("every row has a text of its own", []).append(column)
            elif (same := self._other_name_of_groups(column)) is not None:
                why.setdefault(f"it tells the same bakes apart as {same}", []).append(column)
            else:
                others.append(column)
        self.notes += [f"Left out, because {reason}: {', '.join(columns)}." for reason, columns in why.items()]
        if not others and not (self.options.groups or self.options.slopes):
            raise InputError(
                "No column is left that could be a factor.",
                where=self.sheet.source,
                try_this=f'--factor "{self.sheet.header[0]}:category"',
            )
        return others

    def _other_name_of_groups(self, column: str) -> str | None:
        """The group, or groups within groups, whose levels a column of texts only names once more."""
        own = [cell.strip() for cell in self.sheet.column(column)]
        if guess_kind(own) != "category":
            return None
        chains = [self._columns(text, "--group") for text in self.options.groups]
        ways = [chain[:end] for chain in chains for end in range(1, len(chain) + 1)]
        for way in [*ways, list(dict.fromkeys(column for chain in chains for column in chain))]:
            cells = [[cell.strip() for cell in self.sheet.column(name)] for name in way]
            groups = list(zip(*cells, strict=True))
            if len(set(groups)) == len(set(own)) == len(set(zip(groups, own, strict=True))):
                return PLUS.join(way)
        return None

    def _factor(self, column: str, kind: str, table: pd.DataFrame) -> Factor:
        name = self.names[column]
        levels = levels_of(list(table[name])) if kind == "category" else ()
        return Factor(name=name, kind=kind, unit=self.units[column], levels=levels)  # type: ignore[arg-type]

    def _asked_responses(self, columns: list[str]) -> tuple[Response, ...]:
        names = {self.names[column]: column for column in columns}
        refuse_costs(self.columns.goals, self.sheet.header)
        goals = by_response(self.columns.goals, list(names), "--goal", spelled=self.names)
        matters = by_response(self.columns.matters, list(names), "--matters", spelled=self.names)
        scales = self._scales(columns)
        found = []
        for name, column in names.items():
            goal, target = read_goal(goals[name]) if name in goals else (None, None)
            found.append(
                Response(
                    name=name,
                    unit=self.units[column],
                    scale=scales.get(column, self._usual_scale()),  # type: ignore[arg-type]
                    anchors=self.anchors.get(column, ()),
                    goal=goal,
                    target=target,
                    matters=_positive(matters.get(name)),
                )
            )
        return tuple(found)

    def _scales(self, columns: list[str]) -> dict[str, str]:
        """Column → scale, as told with --scale "NAME:score" (or plainly when there is one response)."""
        scales = {}
        for text in self.columns.scales:
            said = read_scale(text)
            if not said.name and len(columns) != 1:
                raise UsageError(
                    f'"{text}" names no response.', where="--scale", try_this=f'--scale "{columns[0]}:{text}"'
                )
            column = self._column(said.name, "--scale") if said.name else columns[0]
            scales[column], self.words[column] = said.scale, said.words
        return scales

    def _usual_scale(self) -> str:
        """Who asks for scores and names no scale means scores."""
        return "score" if self.options.kind == "score" else "measured"

    def _response_cells(self, column: str, scale: str) -> list[float | None]:
        """A response as numbers; words of a score by their order, and how that was taken as a remark."""
        if scale == "score":
            numbers, words, remark = scores_of(self.sheet, column, self.words.get(column, ()))
            self.anchors[column] = words
            self.notes += [remark] if remark else []
            return numbers
        pieces = self.options.kind == "score" and self.options.weights is not None
        amount = pieces and guess_kind(self.sheet.column(column)) == "amount"
        return numbers_of(self.sheet, column, yes_no=scale == "yes-no" and not amount)

    def _add_measured(self, table: pd.DataFrame, covariates: Sequence[str], weights: Sequence[str]) -> None:
        """Covariates as numbers where every cell is one, else as levels; weights as numbers."""
        import pandas as pd

        for column in covariates:
            numeric = guess_kind(self.sheet.column(column)) == "amount"
            cells: list[Any] = numbers_of(self.sheet, column) if numeric else texts_of(self.sheet, column)
            table[self.names[column]] = pd.Series(cells, dtype="float64" if numeric else object)
        for column in weights:
            table[self.names[column]] = pd.Series(numbers_of(self.sheet, column), dtype="float64")

    def _known(self, name: str | None, kinds: Mapping[str, str], option: str) -> str | None:
        return None if name is None else self.names[self._column(name, option)]

    def _table(self, responses: list[str], kinds: Mapping[str, str], others: list[str]) -> pd.DataFrame:
        """One row per row of the file: numbers as floats, everything else as text; empty is missing."""
        import pandas as pd

        scales = self._scales(responses)
        data: dict[str, Any] = {}
        for column in dict.fromkeys(column for column in others if column not in kinds):
            data[self.names[column]] = pd.Series(texts_of(self.sheet, column), dtype=object)
        for column, kind in kinds.items():
            cells: list[Any] = texts_of(self.sheet, column) if kind == "category" else numbers_of(self.sheet, column)
            data[self.names[column]] = pd.Series(cells, dtype=object if kind == "category" else "float64")
        for column in responses:
            numbers = self._response_cells(column, scales.get(column, self._usual_scale()))
            data[self.names[column]] = pd.Series(numbers, dtype="float64")
        return pd.DataFrame(data)


def _joined(table: pd.DataFrame, names: list[str]) -> list[str | None]:
    rows = zip(*(table[name] for name in names), strict=True)
    return [None if any(cell is None for cell in row) else PLUS.join(str(cell) for cell in row) for row in rows]


def _positive(text: str | None) -> float | None:
    if text is None:
        return None
    number = option_number(text, what="the difference that matters", where="--matters")
    if number <= 0:
        raise UsageError("The difference that matters is above 0.", where="--matters", try_this="--matters 3")
    return number
