"""What does a report say about where it comes from?

Read from the provenance that everyone can see at its end; nothing is hidden in the file.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

from tracker.errors import InputError

LARGEST = 64 * 2**20  # bytes; forty times the largest report we know


@dataclass(frozen=True, kw_only=True)
class Facts:
    """``audit_head`` and ``audit_entries`` are "" for a spreadsheet's report; ``prices`` without a cost."""

    command: str
    content_sha256: str
    audit_head: str = ""
    audit_entries: str = ""
    prices: str = ""
    versions: dict[str, str] = field(default_factory=dict)


def read_text(path: Path) -> str:
    """The file as text; what is no text in it stands as a mark that no report has. Raises InputError."""
    try:
        if path.stat().st_size > LARGEST:
            raise no_report(path)
        data = path.read_bytes()
    except OSError as error:
        why = error.strerror or str(error)
        raise InputError(
            f"{path} cannot be read: {why}.", where=str(path), try_this="the name of a report's HTML file"
        ) from error
    return data.decode("utf-8", errors="surrogateescape")


def read_facts(text: str, path: Path) -> Facts:
    """The provenance of a report. Raises InputError where there is none."""
    reader = _Provenance()
    reader.feed(text)
    said = reader.pairs
    if not {"command", "content sha256", "versions"} <= set(said):
        raise no_report(path)
    return Facts(
        command=said["command"],
        content_sha256=said["content sha256"],
        audit_head=said.get("audit head", ""),
        audit_entries=said.get("audit entries", ""),
        prices=said.get("prices per kg", ""),
        versions=_versions(said["versions"]),
    )


def no_report(path: Path) -> InputError:
    return InputError(
        f"{path} is no report of Crumbwise: it does not say where it comes from.",
        where=str(path),
        try_this="a file that crumbwise trial report or crumbwise analyse --report wrote as HTML",
    )


def _versions(said: str) -> dict[str, str]:
    pairs = (each.rpartition(" ") for each in said.split(", "))
    return {name: version for name, _, version in pairs}


class _Provenance(HTMLParser):
    """Collects names and values of the last part of the page that is called provenance."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.pairs: dict[str, str] = {}
        self._inside = False
        self._tag = ""
        self._name = ""
        self._text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag == "section":
            self._inside = dict(attrs).get("class") == "provenance"
            if self._inside:
                self.pairs = {}
        elif tag in ("dt", "dd"):
            self._tag, self._text = tag, ""

    def handle_data(self, data: str) -> None:
        self._text += data if self._inside and self._tag else ""

    def handle_endtag(self, tag: str) -> None:
        if tag != self._tag:
            return
        if tag == "dt":
            self._name = self._text.strip()
        elif self._inside:
            self.pairs.setdefault(self._name, self._text.strip())
        self._tag = ""
