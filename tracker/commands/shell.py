"""How does every command start, speak, fail and end?

Commands parse, call one workflow function and print; what they share stands here: the
options that every command spells alike, words on stdout, messages on stderr, errors as
"what, where, Try:" with their exit code, and no trace on the screen.
"""

from __future__ import annotations

import json
import os
import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TYPE_CHECKING, Annotated, Any

import typer
from typer.exceptions import Abort, TyperException

from tracker.errors import TrackerError, UsageError

if TYPE_CHECKING:
    from tracker.workflow.kitchens import Store

DEFAULT_KITCHEN = "kitchen.db"
INTERRUPTED = 130
_before: ContextVar[str | None] = ContextVar("kitchen named before the command", default=None)

KitchenOption = Annotated[
    str | None,
    typer.Option("--kitchen", metavar="PATH_OR_URL", help="The kitchen to work in.", show_default=DEFAULT_KITCHEN),
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document on stdout.")]
DryRunOption = Annotated[bool, typer.Option("--dry-run", help="Say what would be written; write nothing.")]
PersonOption = Annotated[int, typer.Option("--person", min=1, help="Number of the person this is recorded for.")]


def make_app(help_line: str) -> typer.Typer:
    """A Typer app with our settings; the line also stands in ``tracker.commands.GROUPS``."""
    return typer.Typer(
        help=help_line,
        add_completion=False,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        pretty_exceptions_show_locals=False,
        context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    )


def example(*lines: str) -> str:
    """The epilog of a command: ``@app.command(epilog=example("crumbwise trial list"))``."""
    return "\b\nExample:\n" + "\n".join(f"  {line}" for line in lines)


def say(text: str) -> None:
    """Words of the answer, on stdout."""
    _write(sys.stdout, text)


def tell(text: str) -> None:
    """Messages beside the answer, on stderr."""
    _write(sys.stderr, text)


def print_json(document: Any) -> None:
    """The one JSON document of a command; NaN and infinity are refused, not printed."""
    say(json.dumps(document, ensure_ascii=False, indent=2, allow_nan=False))


def _write(stream: Any, text: str) -> None:
    if stream is None:  # the caller closed it
        return
    try:
        "−".encode(getattr(stream, "encoding", None) or "utf-8")
    except (UnicodeEncodeError, LookupError):
        text = text.replace("−", "-")  # a "?" in its place would turn the number round
    try:
        stream.write(text + "\n")
        stream.flush()
    except BrokenPipeError:  # the reader went away: what was begun is finished in silence
        _hush()


def kitchen_place(kitchen: str | None = None) -> str:
    """Where the kitchen is: the command's option, else the one before it, else the environment, else here."""
    return kitchen or _before.get() or os.environ.get("CRUMBWISE_KITCHEN") or DEFAULT_KITCHEN


def has_kitchen(kitchen: str | None = None) -> bool:
    """Is there a kitchen to look into? One that was named counts even if it is missing, so that opening says so."""
    named = kitchen or _before.get() or os.environ.get("CRUMBWISE_KITCHEN")
    return bool(named) or os.path.exists(DEFAULT_KITCHEN)


@contextmanager
def open_store(kitchen: str | None = None, *, create: bool = False) -> Iterator[Store]:
    """The kitchen's store for one command, closed at its end."""
    from tracker.workflow.kitchens import opened

    with opened(kitchen_place(kitchen), create=create) as store:
        yield store


@contextmanager
def open_store_if_there(kitchen: str | None = None) -> Iterator[Store | None]:
    """The same, or None where there is no kitchen yet."""
    from tracker.workflow.kitchens import opened_if_there

    with opened_if_there(kitchen_place(kitchen)) as store:
        yield store


@contextmanager
def progress(what: str, total: int) -> Iterator[Callable[[str], None]]:
    """Progress on stderr while it is a terminal, silence elsewhere.

    Yields a function to call with a few words as each of ``total`` steps begins.
    """
    if sys.stderr is None or not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        yield lambda words: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn

    bar = Progress(TextColumn("{task.description}"), BarColumn(), console=Console(stderr=True), transient=True)
    with bar:
        task = bar.add_task(what, total=total)
        begun = False

        def step(words: str) -> None:
            nonlocal begun
            bar.update(task, description=words, advance=1 if begun else 0)
            begun = True

        yield step


def ask(prompt: str) -> str | None:
    """One line typed (or piped) in answer to ``prompt``; None at the end of the input or without one."""
    if sys.stdin is None or sys.stdin.closed:
        return None
    if sys.stderr is not None:
        sys.stderr.write(prompt)
        sys.stderr.flush()
    line = sys.stdin.readline()
    return line.strip() if line else None


def run(load: Callable[[], typer.Typer], words: list[str], *, name: str, kitchen: str | None = None) -> int:
    """Run one group's app on the words after its name; returns the exit code."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")  # a terminal without "×" gets "?", not a crash
    as_json = "--json" in words
    named = _before.set(kitchen)
    try:
        code = typer.main.get_command(load()).main(args=words, prog_name=name, standalone_mode=False)
        return code if isinstance(code, int) else 0
    except (BrokenPipeError, SystemExit):  # Typer itself leaves only when the reader of its help went away
        _hush()
        return 0
    except (Abort, KeyboardInterrupt):
        return INTERRUPTED
    except TyperException as wrong:
        return _fail(_as_usage(wrong, name), as_json=as_json)
    except Exception as error:
        return _fail(error if _is_ours(error) else _unexpected(error), as_json=as_json)
    finally:
        _before.reset(named)


def _is_ours(error: Exception) -> bool:
    """Ours carry ``exit_code``, ``what``, ``where`` and ``try_this`` (TrackerError and AnalysisError)."""
    return all(hasattr(error, part) for part in ("exit_code", "what", "where", "try_this"))


def _as_usage(wrong: TyperException, name: str) -> TrackerError:
    context = getattr(wrong, "ctx", None)
    path = context.command_path if context is not None else name
    message = wrong.format_message().strip()
    if not message or message.startswith("Usage:"):  # no subcommand: the message is the whole help
        message = message or "A command is missing."
    if re.match(r"No such option: -\d", message):
        below = "A word that begins with a minus is read as an option."
        return UsageError(below, where=path, try_this=f'give zero or more, or put "--" before it: {path} -- ...')
    return UsageError(message, where=path, try_this=f"{path} --help")


def _fail(error: Any, *, as_json: bool) -> int:
    """Say what went wrong: words on stderr always; the same as one document on stdout with ``--json``."""
    tell(error_words(error))
    if as_json:
        print_json({"error": error_document(error)})
    return int(error.exit_code)


def error_words(error: Any) -> str:
    """What, where, and a line that begins with "Try:"."""
    where = f"\n  Where: {error.where}" if error.where else ""
    return f"{error.what}{where}\nTry: {error.try_this}"


def error_document(error: Any) -> dict[str, Any]:
    return {"what": error.what, "where": error.where, "try": error.try_this, "exit_code": error.exit_code}


def _unexpected(error: Exception) -> TrackerError:
    """Anything we did not foresee: one sentence, and the trace in a file."""
    path = _write_log(error)
    kept = f"the trace is in {path}" if path else "its trace could not be kept (no folder to write in)"
    return TrackerError(
        f"Something went wrong that Crumbwise did not foresee ({type(error).__name__}); {kept}.",
        where="inside Crumbwise",
        try_this="run the command again; if it stays, send that file with your report",
    )


def _write_log(error: Exception) -> str | None:
    import tempfile
    import traceback
    from datetime import UTC, datetime
    from pathlib import Path

    state = os.environ.get("XDG_STATE_HOME") or os.environ.get("LOCALAPPDATA")
    home = Path(state) if state else Path.home() / ".local" / "state"
    for folder in (home / "crumbwise", Path(tempfile.gettempdir())):
        try:
            folder.mkdir(parents=True, exist_ok=True)
            stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%SZ")
            handle, path = tempfile.mkstemp(prefix=f"crumbwise-{stamp}-", suffix=".log", dir=folder)
            with os.fdopen(handle, "w", encoding="utf-8") as log:
                log.write("".join(traceback.format_exception(error)))  # never with local variables
            return path
        except OSError:
            continue
    return None


def _hush() -> None:
    """The reader went away: let Python's last flush go nowhere."""
    for stream in (sys.stdout, sys.stderr):
        try:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
        except (OSError, AttributeError, ValueError):
            continue
