"""Does an answer leave in one piece, whole and in order?"""

from __future__ import annotations

import asyncio

import pytest

from tracker.bench.gathering import AT_MOST, OnePiece


class Line:
    """A transport that remembers what left, and when it was closed."""

    def __init__(self) -> None:
        self.left: list[bytes] = []
        self.closed_after: int | None = None

    def write(self, data: bytes) -> None:
        assert self.closed_after is None
        self.left.append(data)

    def close(self) -> None:
        self.closed_after = len(self.left)

    def is_closing(self) -> bool:
        return self.closed_after is not None

    def get_write_buffer_size(self) -> int:
        return 7

    def get_extra_info(self, name: str) -> str:
        return f"the {name}"


@pytest.fixture
def written(run_apart):
    """What leaves when each of ``steps`` is written in a step of its own; how much was held at the end of each."""

    def write(steps: list[list[bytes]], *, close: bool = False) -> tuple[Line, list[int]]:
        line, held = Line(), []
        run_apart(go(line, held, steps, close=close))
        return line, held

    async def go(line: Line, held: list[int], steps: list[list[bytes]], *, close: bool) -> None:
        piece = OnePiece(line, asyncio.get_running_loop())  # type: ignore[arg-type]
        for step in steps:
            for data in step:
                piece.write(data)
            held.append(piece.get_write_buffer_size())
            if close and step is steps[-1]:
                piece.close()
                piece.write(b"too late")
            await asyncio.sleep(0)
            await asyncio.sleep(0)
        assert piece.get_extra_info("peername") == "the peername"

    return write


def test_what_is_handed_over_in_one_step_leaves_together(written):
    line, held = written([[b"head ", b"", b"body"], [b"next"]])
    assert line.left == [b"head body", b"next"]
    assert held == [9 + 7, 4 + 7]


def test_what_is_large_is_not_held_back(written):
    large = b"x" * (AT_MOST + 1)
    line, held = written([[b"head", large, b"end"]])
    assert line.left == [b"head" + large, b"end"]
    assert held == [3 + 7]


def test_closing_lets_go_of_what_is_held_first(written):
    line, _ = written([[b"head ", b"body"]], close=True)
    assert line.left == [b"head body"]
    assert line.closed_after == 1


def test_nothing_is_written_to_a_line_that_is_closed(written):
    line, _ = written([[b""]])
    assert line.left == []
