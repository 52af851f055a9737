"""How does one command run on a machine that has Python and nothing else?

    python3 .ci/start.py crumbwise demo
    python3 .ci/start.py pytest

Makes ``.venv`` when there is none, installs the locked parts and the project into it when
either changed since, then runs the named command from there. Standard library only, and
written so that an older Python can read it far enough to say that it is too old.
"""

import hashlib
import os
import subprocess
import sys

NEEDED = (3, 11)
ROOT = os.path.dirname(os.path.dirname(os.path.abspath(__file__)))
VENV = os.path.join(ROOT, ".venv")
LOCK = os.path.join(ROOT, "requirements.lock")
PROJECT = os.path.join(ROOT, "pyproject.toml")
STAMP = os.path.join(VENV, "installed.sha256")
WINDOWS = os.name == "nt"
BIN = os.path.join(VENV, "Scripts" if WINDOWS else "bin")
PYTHON = os.path.join(BIN, "python.exe" if WINDOWS else "python")


class StartError(Exception):
    """What is in the way, and what to try."""

    def __init__(self, what, try_this):
        super().__init__(what)
        self.what = what
        self.try_this = try_this


def main(words):
    """Prepare the environment, then become the command; returns an exit code when it cannot."""
    try:
        check_python()
        if not words:
            raise StartError("No command was named.", "python3 .ci/start.py crumbwise demo")
        if stamp() != wanted_stamp():
            install()
        return become(words)
    except StartError as stop:
        sys.stderr.write(stop.what + "\n  Where: .ci/start.py\nTry: " + stop.try_this + "\n")
        return 1
    except KeyboardInterrupt:
        return 130


def check_python():
    if sys.version_info[:2] < NEEDED:
        raise StartError(
            "This is Python %d.%d; Crumbwise needs Python 3.11 or newer." % sys.version_info[:2],  # noqa: UP031
            "run the same command with a newer one, for example python3.12 .ci/start.py",
        )


def wanted_stamp():
    """What ``.venv`` has to hold: the lock, the project file, and where the project lies."""
    total = hashlib.sha256(ROOT.encode())
    for path in (LOCK, PROJECT):
        with open(path, "rb") as part:
            total.update(part.read())
    return total.hexdigest()


def stamp():
    """What ``.venv`` does hold; None when it was never finished, or when its Python is gone."""
    if not os.path.exists(PYTHON):
        return None
    try:
        with open(STAMP, encoding="ascii") as written:
            return written.read().strip()
    except OSError:
        return None


def install():
    if not os.path.exists(PYTHON):
        make_venv()
    elif run("-m", "pip", "--version", quiet=True):
        need_pip()
    tell("Installing the locked parts into .venv (only when they change; takes a minute or two) ...")
    if pip("--require-hashes", "-r", LOCK):
        raise StartError(
            "The locked parts could not be installed; what pip said stands above.",
            "check the network and any proxy, then run the same command again",
        )
    # Its build backend came with the lock, so this needs no network.
    if pip("--no-deps", "--no-build-isolation", "--editable", ROOT):
        raise StartError(
            "The project itself could not be installed; what pip said stands above.",
            "delete the folder .venv and run the same command again",
        )
    with open(STAMP, "w", encoding="ascii") as written:
        written.write(wanted_stamp() + "\n")


def make_venv():
    try:
        import ensurepip  # noqa: F401  (Debian splits it off; venv fails without it)
        import venv
    except ImportError:
        raise StartError(
            "This Python comes without the venv module, which makes the folder the parts go into.",
            "install it (Debian and Ubuntu: apt-get install python3-venv), then run the same command again",
        ) from None
    tell("Making .venv ...")
    try:
        # A link to the system's Python where links exist, as "python -m venv" does.
        venv.EnvBuilder(with_pip=True, clear=os.path.isdir(VENV), symlinks=not WINDOWS).create(VENV)
    except (OSError, subprocess.CalledProcessError) as error:
        raise StartError(
            f"The folder .venv could not be made: {error}",
            "check that this folder can be written to and that the disk has 2 GB free",
        ) from None


def need_pip():
    if run("-m", "ensurepip", "--default-pip", quiet=True):
        raise StartError(
            "The folder .venv holds no pip and none can be put there.",
            "delete the folder .venv and run the same command again",
        )


def pip(*words):
    return run("-m", "pip", "install", "--quiet", "--no-input", "--disable-pip-version-check", *words)


def run(*words, quiet=False):
    """Exit code of the environment's Python on ``words``; its output goes to stderr, so stdout stays the command's."""
    sink = subprocess.DEVNULL if quiet else sys.stderr
    return subprocess.call([PYTHON, *words], stdin=subprocess.DEVNULL, stdout=sink, stderr=sink)  # noqa: S603 (our own words)


def become(words):
    command = os.path.join(BIN, words[0] + (".exe" if WINDOWS else ""))
    if not os.path.exists(command):
        raise StartError(f'There is no command "{words[0]}" in .venv.', "python3 .ci/start.py crumbwise --help")
    environment = dict(os.environ, VIRTUAL_ENV=VENV, PATH=BIN + os.pathsep + os.environ.get("PATH", ""))
    environment.pop("PYTHONHOME", None)
    if WINDOWS:  # exec there would return to the prompt before the command ends
        return subprocess.call([command, *words[1:]], env=environment)  # noqa: S603 (the caller's own command)
    sys.stdout.flush()
    sys.stderr.flush()
    return os.execve(command, [command, *words[1:]], environment)  # noqa: S606 (same)


def tell(words):
    sys.stderr.write(words + "\n")
    sys.stderr.flush()


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
