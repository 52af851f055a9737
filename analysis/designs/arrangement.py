"""Which run stands where: in which block, whole plot, row or column, and when is it baked?

Chance decides within the restrictions: the order of blocks' contents, of whole plots within
a block, of runs within a whole plot. The stream of the seed is read in a fixed order, so
that the same plan comes out on every platform.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from math import factorial

from analysis.designs.blocks import Blocks, share_out
from analysis.designs.requests import DesignRequest
from analysis.designs.shuffle import Stream
from analysis.designs.treatments import Treatments

# Names of groups that plans do not name themselves.
WHOLE_PLOT, OVEN_LOAD, OVEN_PLACE = "whole plot", "oven load", "oven place"


@dataclass(frozen=True, kw_only=True)
class Place:
    """One run: the position of its treatment (-1: the centre point) and the groups it stands in."""

    treatment: int
    groups: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class Arrangement:
    """``places`` in standard order; ``order`` their positions as baked.

    ``block`` names the group that is the block. ``fixed`` names groups whose differences are
    taken out (blocks, rows, columns); ``errors`` groups that carry an error of their own,
    outermost first; with ``crossed`` the error groups cut across each other within a block (strips).
    ``confounded``: masks of effects of up to three factors that cannot be told from the blocks.
    """

    places: tuple[Place, ...]
    order: tuple[int, ...]
    block: str | None = None
    fixed: tuple[str, ...] = ()
    errors: tuple[str, ...] = ()
    crossed: bool = False
    confounded: tuple[int, ...] = ()

    def labels(self, group: str) -> list[str]:
        """Labels of a group, each once, in standard order."""
        return list(dict.fromkeys(place.groups[group] for place in self.places if group in place.groups))

    def in_one_go(self, group: str) -> bool:
        """Are the runs of each label baked one after the other?"""
        baked = [self.places[at].groups.get(group) for at in self.order]
        changes = sum(one != other for one, other in pairwise(baked))
        return changes == len(set(baked)) - 1


def numbered(count: int) -> list[str]:
    """ "1", "2" …, of equal length so that they sort as they count."""
    width = len(str(count))
    return [f"{number:0{width}d}" for number in range(1, count + 1)]


def in_blocks(made: Treatments, request: DesignRequest) -> Arrangement:
    """Whole sets (or chosen parts) of the treatments in each block, in a random order within it."""
    blocks = share_out(made, request)
    places: list[Place] = []
    order: list[int] = []
    for label, block, shuffled in zip(blocks.labels(), blocks.members, _orders(blocks, request.seed), strict=True):
        groups = {} if label is None or blocks.name is None else {blocks.name: label}
        order += [len(places) + chosen for chosen in shuffled]
        places += [Place(treatment=treatment, groups=groups) for treatment in block]
    named = () if blocks.name is None else (blocks.name,)
    return Arrangement(
        places=tuple(places), order=tuple(order), block=blocks.name, fixed=named, confounded=blocks.confounded
    )


def _orders(blocks: Blocks, seed: int) -> list[list[int]]:
    """A random order for each block; no two blocks of one content share an order while enough orders are left."""
    stream = Stream(seed, "run order")
    used: list[tuple[int, ...]] = []
    orders = []
    for block in blocks.members:
        fresh = len(used) < _different_orders(block) // 2
        order = stream.shuffled(range(len(block)))
        while fresh and tuple(block[place] for place in order) in used:
            order = stream.shuffled(range(len(block)))
        used.append(tuple(block[place] for place in order))
        orders.append(order)
    return orders


def _different_orders(block: Sequence[int]) -> int:
    count = factorial(min(len(block), 20))  # more than enough orders from there on
    for place in set(block) if len(block) <= 20 else ():
        count //= factorial(block.count(place))
    return count


def nested(
    contents: Sequence[Sequence[Sequence[int]]],
    request: DesignRequest,
    *,
    block: str | None,
    plot: str | None,
    plot_is_error: bool = True,
) -> Arrangement:
    """Shuffle contents within their restrictions: blocks -> whole plots -> positions of treatments.

    Which content falls to which block label, the order of whole plots within a block and of
    runs within a whole plot are random. ``block`` None: there is one block without a name;
    ``plot`` None: each block holds one "plot" and only the runs are shuffled. Whole plots are
    numbered through the trial in the order of baking.
    """
    stream = Stream(request.seed, "run order")
    shuffled = stream.shuffled(list(contents))
    block_labels = numbered(len(shuffled))
    plot_labels = iter(numbered(sum(map(len, shuffled))))
    places: list[Place] = []
    order: list[int] = []
    for label, plots in zip(block_labels, shuffled, strict=True):
        for members in stream.shuffled(list(plots)):
            groups = {block: label} if block is not None else {}
            number = next(plot_labels)
            if plot is not None:
                groups[plot] = number
            order += [len(places) + chosen for chosen in stream.shuffled(range(len(members)))]
            places += [Place(treatment=treatment, groups=groups) for treatment in members]
    return Arrangement(
        places=tuple(places),
        order=tuple(order),
        block=block,
        fixed=() if block is None else (block,),
        errors=(plot,) if plot is not None and plot_is_error else (),
    )


def with_oven_loads(arrangement: Arrangement, request: DesignRequest) -> Arrangement:
    """The same with an oven load and a random place in it for each run, when the plan says how many an oven holds.

    Loads follow the order of baking and never mix blocks, whole plots or what else is baked in one go, such as
    the turns of a square or the column strips of a strip-plot.
    """
    if request.oven_holds is None:
        return arrangement
    stream = Stream(request.seed, "oven place")
    kept_apart = [name for name in (*arrangement.fixed, *arrangement.errors) if arrangement.in_one_go(name)]
    loads: list[list[int]] = []
    before: tuple[str | None, ...] | None = None
    for at in arrangement.order:
        around = tuple(arrangement.places[at].groups.get(name) for name in kept_apart)
        if not loads or len(loads[-1]) == request.oven_holds or around != before:
            loads.append([])
        loads[-1].append(at)
        before = around
    extra: dict[int, dict[str, str]] = {}
    for load, members in zip(numbered(len(loads)), loads, strict=True):
        spots = stream.shuffled(numbered(request.oven_holds))
        for at, spot in zip(members, spots, strict=False):
            extra[at] = {OVEN_LOAD: load, OVEN_PLACE: spot}
    places = tuple(
        Place(treatment=place.treatment, groups={**place.groups, **extra[at]})
        for at, place in enumerate(arrangement.places)
    )
    return Arrangement(
        places=places,
        order=arrangement.order,
        block=arrangement.block,
        fixed=arrangement.fixed,
        errors=arrangement.errors,
        crossed=arrangement.crossed,
        confounded=arrangement.confounded,
    )


def in_own_groups(made: Treatments, request: DesignRequest) -> Arrangement:
    """The groups the kind decided itself (``made.groups``: the block, the whole plot, both or none), shuffled."""
    groups: Sequence[Mapping[str, str]] = made.groups or [{} for _ in made.treatments]
    block = request.block if any(request.block in each for each in groups) else None
    plot = WHOLE_PLOT if any(WHOLE_PLOT in each for each in groups) else None
    contents: dict[str, dict[str, list[int]]] = {}
    for at, each in enumerate(groups):
        plots = contents.setdefault(each.get(block or "", ""), {})
        plots.setdefault(each.get(plot or "", ""), []).append(at)
    listed = [list(plots.values()) for plots in contents.values()]
    return nested(listed, request, block=block, plot=plot)
