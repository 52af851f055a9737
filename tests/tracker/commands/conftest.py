"""Runs command lines in this process and tells what came out."""

from __future__ import annotations

import io
import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from tracker.commands import main


@dataclass(frozen=True)
class Ran:
    code: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        return json.loads(self.out)


@pytest.fixture
def crumbwise(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> Callable[..., Ran]:
    """``crumbwise("trial", "list", stdin="…")`` in an empty folder; without ``stdin`` it is closed."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("CRUMBWISE_KITCHEN", raising=False)
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))

    def run(*words: str | Path, stdin: str | None = None) -> Ran:
        monkeypatch.setattr("sys.stdin", None if stdin is None else io.StringIO(stdin))
        capsys.readouterr()
        code = main([str(word) for word in words])
        out, err = capsys.readouterr()
        return Ran(code, out, err)

    return run
