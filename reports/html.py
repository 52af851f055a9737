"""How does a page stay one quiet file: no script, no request, nothing hostile alive?

Every page is made from a template in ``reports/templates`` with autoescaping on and one
style sheet inside. The content security policy allows exactly that style sheet, by its
hash, and pictures carried in the page; everything else is refused by the browser.
"""

from __future__ import annotations

import base64
import hashlib
import re
import unicodedata
from collections.abc import Mapping
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from jinja2 import Environment


@cache
def environment() -> Environment:
    """The one template environment: autoescape on, and a misspelt name is an error."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    from analysis.words.numbers import kept_together

    made = Environment(
        loader=PackageLoader("reports", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        finalize=_allowed,
    )
    made.filters["minus"] = kept_together
    return made


# Characters that HTML forbids: controls without white space, halves of pairs, those that are no characters.
_FORBIDDEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]")


def _allowed(value: Any) -> Any:
    """What a template writes out, without characters that a page must not hold; our own markup as it is."""
    return _FORBIDDEN.sub("", value) if type(value) is str else value


@cache
def style_sheet(name: str) -> str:
    """The text of a style sheet that lies beside the templates."""
    from importlib.resources import files

    return (files("reports") / "templates" / name).read_text(encoding="utf-8")


def policy(css: str) -> str:
    """The content security policy under which only this very style text applies."""
    digest = base64.b64encode(hashlib.sha256(css.encode("utf-8")).digest()).decode("ascii")
    return f"default-src 'none'; img-src data:; style-src 'sha256-{digest}'"


def css_string(text: str) -> str:
    """``text`` as a quoted CSS string in which no character can end the string or the style."""
    escaped = "".join(c if c.isascii() and c.isalnum() else f"\\{ord(c):x} " for c in plain(text))
    return f'"{escaped}"'


def plain(text: str) -> str:
    """``text`` on one line, without characters that neither paper nor XML can carry."""
    kept = ("" if unicodedata.category(c) in {"Cc", "Cs", "Cn", "Co"} else c for c in " ".join(text.split()))
    return "".join(kept)


def render(template: str, css: str, values: Mapping[str, Any]) -> str:
    """One HTML document. ``css`` goes into its head and is allowed by its hash."""
    from markupsafe import Markup

    if "</" in css:  # our own style sheets hold no tags; user text enters through css_string only
        raise ValueError("a style sheet must not hold a closing tag")
    page = environment().get_template(template)
    ours = {"css": Markup(css), "policy": Markup(policy(css))}  # noqa: S704 (our own style text and its hash)
    return page.render(**ours, **values) + "\n"
