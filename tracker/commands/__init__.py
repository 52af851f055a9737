"""Which group of commands was asked for?

``main`` answers the bare command, ``--help`` and ``--version`` from the table below and
imports only the module of the group that was named: the command line starts in the time
Python needs. Each module named here has a Typer ``app`` whose help is the line beside it.
"""

from __future__ import annotations

import os
import sys

# name -> (module, help). Only what works today is listed; a test holds both against the modules.
GROUPS = {
    "demo": ("tracker.commands.demo", "Build the demo kitchen, analyse it and write its reports and bench sheets."),
    "formula": ("tracker.commands.formula", "Add, list, show and weigh formulas in baker's percent."),
    "leaven": (
        "tracker.commands.leaven",
        "Work out gas, what is left over and pH from amounts as a baker writes them.",
    ),
    "trial": ("tracker.commands.trial", "Plan, bake, record, analyse and report a trial."),
    "analyse": ("tracker.commands.analyse", "Analyse a spreadsheet without a kitchen."),
    "batch": ("tracker.commands.batch", "Log daily batches, judge each at once, and read the log of a product."),
    "bench": ("tracker.commands.bench", "Serve the pages for the tablets at the bench."),
    "gauge": ("tracker.commands.gauge", "Find out how good the measuring itself is."),
    "records": ("tracker.commands.records", "Check, verify, back up and read the history of a kitchen."),
}

VERSION = "0.1.0"


def help_text() -> str:
    """What ``crumbwise --help`` prints."""
    width = max(map(len, GROUPS))
    listed = "\n".join(f"  {name:<{width}}  {line}" for name, (_, line) in GROUPS.items())
    return f"""Usage: crumbwise [--kitchen PATH_OR_URL] COMMAND [ARGS]...

Plan, record and read controlled baking trials of chemical leavening.

Commands:
{listed}

Options:
  --kitchen PATH_OR_URL  The kitchen to work in (or CRUMBWISE_KITCHEN; kitchen.db here when neither is given).
  --version              Print the version.
  -h, --help             Print this help; after a command, print its own.

Examples:
  crumbwise demo
  crumbwise trial plan soda.toml
  crumbwise analyse rise.csv --response "rise height"
"""


def main(arguments: list[str] | None = None) -> int:
    """Run one command line; returns the exit code documented in the README."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    # Before arrays are loaded: our matrices are small, so that further threads of the matrix library only wait for
    # each other (a busy machine took ten times as long), and with one the same bytes come out whatever the cores.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    try:
        return _dispatch(words)
    except KeyboardInterrupt:  # while a module was still loading
        return 130


def _dispatch(words: list[str]) -> int:
    kitchen = _take_kitchen(words)
    if kitchen is not None and not kitchen:
        return _refuse("--kitchen needs a path or a URL.", "crumbwise --kitchen kitchen.db trial list")
    if not words:
        return _print(help_text(), to_stderr=True) or 2
    first = words[0]
    if first in ("-h", "--help"):
        return _print(help_text())
    if first == "--version":
        return _print(f"crumbwise {VERSION}\n")
    if first not in GROUPS:
        return _unknown(first)
    from importlib import import_module

    from tracker.commands.shell import run

    return run(lambda: import_module(GROUPS[first][0]).app, words[1:], name=f"crumbwise {first}", kitchen=kitchen)


def _take_kitchen(words: list[str]) -> str | None:
    """Take ``--kitchen WHERE`` off the front of the words; "" when WHERE is missing."""
    if not words:
        return None
    if words[0] == "--kitchen":
        taken = words[1] if len(words) > 1 else ""
        del words[:2]
        return taken
    if words[0].startswith("--kitchen="):
        return words.pop(0).partition("=")[2]
    return None


def _unknown(word: str) -> int:
    from difflib import get_close_matches

    near = get_close_matches(word.lower(), GROUPS, n=1, cutoff=0.5)
    kind = "option" if word.startswith("-") else "command"
    return _refuse(f'There is no {kind} "{word}".', f"crumbwise {near[0]} --help" if near else "crumbwise --help")


def _refuse(what: str, try_this: str) -> int:
    _print(f"{what}\n  Where: command line\nTry: {try_this}\n", to_stderr=True)
    return 2


def _print(text: str, *, to_stderr: bool = False) -> int:
    stream = sys.stderr if to_stderr else sys.stdout
    if stream is None:  # closed by the caller: nobody to tell
        return 0
    try:
        stream.write(text)
        stream.flush()
    except BrokenPipeError:
        import os

        os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())  # so that Python's own last flush stays quiet
    return 0
