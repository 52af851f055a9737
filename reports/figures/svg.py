"""How does a drawn picture become SVG that can stand in any page?

matplotlib writes style attributes, shared names and a picture for one colour scheme. A
page under a strict content security policy, with several pictures, read light, dark and
on paper, needs presentation attributes, names of its own for each picture, and colours
that follow the page. Nothing else is changed: every outline stays where it was drawn, marks to a hundredth of a point.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING
from xml.etree import ElementTree  # parses only what matplotlib wrote a moment ago

from reports.figures.lettering import KEY, calm, columns, own_words, wrapped
from reports.figures.style import NAMES
from reports.html import plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure as Canvas

_SVG = "{http://www.w3.org/2000/svg}"
_USE = f"{_SVG}use"
_INHERITED = ("fill", "fill-opacity", "stroke", "stroke-opacity", "stroke-width")
FEWEST_MARKS = 4
_LINK = "{http://www.w3.org/1999/xlink}href"
_PLACE = re.compile(r"(translate\([^)]*\)(?: rotate\([^)]*\))?) scale\(([\d.]+) -")
_COLOUR = re.compile("|".join(map(re.escape, NAMES)))
_FOLLOWS_PAGE = re.compile(r"var\(--[a-z-]+, (#[0-9a-f]{3,8})\)")  # as ``_tidy_one`` writes a colour
_REFERENCE = re.compile(r"url\(#([^)]*)\)")


# Pictures as PNG, by key, while someone wants them; drawing them twice costs as much again.
_points: ContextVar[dict[str, bytes] | None] = ContextVar("points", default=None)
PNG_DPI = 240
LETTER = 5.4  # points: how wide a letter of an axis' name is on the whole


@contextmanager
def also_as_png() -> Iterator[dict[str, bytes]]:
    """Every picture drawn inside is also kept as PNG, by its key."""
    kept: dict[str, bytes] = {}
    token = _points.set(kept)
    try:
        yield kept
    finally:
        _points.reset(token)


def as_svg(figure: Canvas, *, key: str, title: str, description: str) -> str:
    """The picture as one ``svg`` element with a title and a description; same picture, same bytes."""
    from matplotlib.text import Text

    _fit_titles(figure)
    texts = [text for text in figure.findobj(Text) if isinstance(text, Text)]
    said = [calm(text.get_text()) for text in texts]
    for text, its in zip(texts, said, strict=True):
        if text.get_text() != its:
            text.set_text(its)
    words = {f"{KEY}{number}": own_words(text, number) for number, text in enumerate(texts)}
    out = io.BytesIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Format": None, "Type": None})
    points = _points.get()
    if points is not None:
        for text, its in zip(texts, said, strict=True):
            text.set_text(its)
        points[key] = _as_png(figure)
    root = ElementTree.fromstring(out.getvalue())  # noqa: S314 (our own bytes, not a stranger's)
    _exchange(root, words)
    _tidy(root, key)
    _introduce(root, key, title, description)
    ElementTree.register_namespace("", _SVG.strip("{}"))
    return ElementTree.tostring(root, encoding="unicode")


def _fit_titles(figure: Canvas) -> None:
    """Names of axes longer than their axis stand on two lines."""
    width, height = (72 * inches / LETTER for inches in figure.get_size_inches())
    for axes in figure.axes:
        spec = axes.get_subplotspec()
        beside = spec.get_gridspec().ncols if spec else 1
        across = 0.55 * width / beside
        title = axes._left_title  # type: ignore[attr-defined]  # no public way leads to it
        for label, room in ((axes.xaxis.label, across), (title, across), (axes.yaxis.label, 0.72 * height)):
            if max(map(columns, label.get_text().split("\n"))) > room:
                label.set_text(wrapped(label.get_text(), width=max(int(room), 8)))


def fixed_colours(markup: str) -> str:
    """Colours as they were drawn, for a reader that knows no CSS variables: paper, a picture alone."""
    return _FOLLOWS_PAGE.sub(r"\1", markup)


def _as_png(figure: Canvas) -> bytes:
    """The picture in points on white. What the letters of the font lack is drawn as boxes: SVG shows it."""
    out = io.BytesIO()
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        figure.savefig(out, format="png", dpi=PNG_DPI, facecolor="#ffffff", metadata={"Software": None})
    return out.getvalue()


def _exchange(root: ElementTree.Element, words: dict[str, list[str]]) -> None:
    """Real text in place of stand-in outlines."""
    for group in root.iter(f"{_SVG}g"):
        lines = words.get(group.get("id", ""))
        if not lines:
            continue
        outlines = [child for child in group if child.tag == f"{_SVG}g"]
        _check_lines(len(outlines), len(lines))
        for outline, line in zip(outlines, lines, strict=True):
            place = _PLACE.search(outline.get("transform", ""))
            if place is None:  # pragma: no cover: matplotlib would have changed how it places text
                raise AssertionError("text in a picture is placed in an unknown way")
            text = ElementTree.Element(
                f"{_SVG}text", {"transform": place[1], "font-size": f"{float(place[2]) * 100:g}"}
            )
            text.text = plain(line)
            if outline.get("style"):
                text.set("style", outline.get("style", ""))
            # Glyph outlines defined here may be used by later text: keep the definitions.
            kept = [child for child in outline if child.tag == f"{_SVG}defs"]
            group.remove(outline)
            group.extend([*kept, text])


def _check_lines(drawn: int, said: int) -> None:
    if drawn != said:
        raise AssertionError(f"{said} lines of text were drawn as {drawn}")


def _tidy(root: ElementTree.Element, key: str) -> None:
    """Presentation attributes, colours that follow the page, names prefixed with ``key``."""
    parents = {child: parent for parent in root.iter() for child in parent}
    for element in list(root.iter()):
        if element.tag in (f"{_SVG}metadata", f"{_SVG}style"):
            parents[element].remove(element)
    used = {element.get(_LINK, "")[1:] for element in root.iter()}
    used |= {name for element in root.iter() for value in element.attrib.values() for name in _REFERENCE.findall(value)}
    for element in root.iter():
        _tidy_one(element, key, used)
    for element in root.iter(f"{_SVG}g"):
        _say_once(element)
    root.set("stroke-linejoin", "round")
    root.set("stroke-linecap", "butt")


def _tidy_one(element: ElementTree.Element, key: str, used: set[str]) -> None:
    for declaration in element.attrib.pop("style", "").split(";"):
        name, _, value = declaration.partition(":")
        if value:
            element.set(name.strip(), value.strip())
    link = element.attrib.pop(_LINK, "")
    if link:
        element.set("href", f"#{key}-{link[1:]}")
    name = element.attrib.pop("id", "")
    if name and name in used:
        element.set("id", f"{key}-{name}")
    for attribute, value in element.attrib.items():
        if "#" in value and attribute not in ("href", "id"):
            value = _REFERENCE.sub(rf"url(#{key}-\1)", value)
            element.set(attribute, _COLOUR.sub(lambda found: f"var(--{NAMES[found[0]]}, {found[0]})", value))
    outline = element.get("d")
    if outline:
        element.set("d", " ".join(outline.split()))
    for text in ("text", "tail"):
        if not (getattr(element, text) or "").strip():
            setattr(element, text, None)


def _say_once(group: ElementTree.Element) -> None:
    """What all marks of a group have in common stands on the group; marks stand to a hundredth of a point."""
    marks = [child for child in group if child.tag == _USE]
    for mark in marks:
        for side in ("x", "y"):
            if side in mark.attrib:
                mark.set(side, f"{float(mark.attrib[side]):.2f}".rstrip("0").rstrip("."))
    if len(marks) < FEWEST_MARKS or any(child.tag not in (_USE, f"{_SVG}defs") for child in group):
        return
    for name in _INHERITED:
        values = {mark.get(name) for mark in marks}
        if len(values) == 1 and None not in values and name not in group.attrib:
            group.set(name, marks[0].attrib[name])
            for mark in marks:
                del mark.attrib[name]


def _introduce(root: ElementTree.Element, key: str, title: str, description: str) -> None:
    """Name and describe the picture for those who do not see it; let the page set its size."""
    for size in ("width", "height", "version"):
        root.attrib.pop(size, None)
    root.set("role", "img")
    root.set("aria-labelledby", f"{key}-title")
    root.set("aria-describedby", f"{key}-desc")
    for place, (name, words) in enumerate((("title", title), ("desc", description))):
        element = ElementTree.Element(f"{_SVG}{name}", {"id": f"{key}-{name}"})
        element.text = plain(words)
        root.insert(place, element)
