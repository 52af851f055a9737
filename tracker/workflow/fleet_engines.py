"""Which engine works a fleet out, and how is it reached?

The embedded DuckDB by default; ``pyspark://local`` or ``pyspark://HOST:7077`` a Spark cluster; anything else that
Ibis connects to, by its URL. Nothing is started here that does not end with the answer, and a password in a
URL is never said again.
"""

from __future__ import annotations

import os
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qsl, urlsplit

from analysis.errors import NotPossible
from tracker.errors import NotFound, UsageError

if TYPE_CHECKING:
    from ibis.backends import BaseBackend

EMBEDDED = "duckdb"
SPARK = "pyspark"
QUIET = {"spark.ui.enabled": "false", "spark.ui.showConsoleProgress": "false"}
# A column like site=012 is a name, not the number 12.
NAMES_STAY_NAMES = {"spark.sql.sources.partitionColumnTypeInference.enabled": "false"}


@contextmanager
def connected(engine: str) -> Iterator[BaseBackend]:
    """A connection to the engine, closed at the end.

    Raises UsageError for what is no engine, NotPossible when its package or Java is missing, NotFound when
    nothing answers there.
    """
    with warnings.catch_warnings():
        # PySpark 4 says on its way in that it does not fully support pandas 3, which no answer here goes through.
        warnings.filterwarnings("ignore", message="PySpark does not yet fully support pandas", category=FutureWarning)
        # Ibis 12 calls a function of DuckDB by a name that will go.
        warnings.filterwarnings("ignore", message="fetch_arrow_table", category=DeprecationWarning)
        connection = _connect(engine)
        try:
            yield connection
        finally:
            connection.disconnect()


def spoken(engine: str) -> str:
    """The engine without the password its URL may hold."""
    parts = urlsplit(engine)
    if not parts.scheme or not parts.netloc:
        return engine
    host = parts.hostname or ""
    return f"{parts.scheme}://{host}{f':{parts.port}' if parts.port else ''}{parts.path}"


def _connect(engine: str) -> Any:
    import ibis

    if engine == EMBEDDED:
        embedded = ibis.duckdb.connect()
        embedded.raw_sql("SET enable_progress_bar = false")  # it would be drawn on stdout, into the answer
        return embedded
    scheme = _scheme(engine)
    try:
        return _spark(engine) if scheme == SPARK else ibis.connect(engine)
    except ImportError as error:
        raise NotPossible(
            f"The engine {spoken(engine)} needs a package that is not installed ({error.name or error}).",
            where=f"--engine {spoken(engine)}",
            try_this="pip install 'crumbwise[spark]'" if scheme == SPARK else f"pip install 'ibis-framework[{scheme}]'",
        ) from error
    except ValueError as error:
        raise _no_engine(engine) from error
    except Exception as error:  # each engine has its own for "nothing answers"
        if _wants_java(error):
            raise NotPossible(
                "Spark needs a Java runtime, and none was found.",
                where=f"--engine {spoken(engine)}",
                try_this="install Java 17 or newer (Debian: apt-get install default-jre-headless)",
            ) from error
        raise unreachable(engine, error) from error


def _scheme(engine: str) -> str:
    scheme, found, rest = engine.partition("://")
    if not (found and scheme and rest):
        raise _no_engine(engine)
    return scheme


def _no_engine(engine: str) -> UsageError:
    return UsageError(
        f'There is no engine "{spoken(engine)}".',
        where="--engine",
        try_this=f"{EMBEDDED}, pyspark://local, pyspark://HOST:7077, or the URL of another engine of Ibis",
    )


def unreachable(engine: str, error: Exception) -> NotFound:
    """What to say when an engine does not answer, or stops answering."""
    said = [line for line in str(error).splitlines() if line.strip() and not line.startswith("An error occurred while")]
    why = said[0].strip(" :.") if said else type(error).__name__
    password = urlsplit(engine).password
    if password:
        why = why.replace(password, "…")
    return NotFound(
        f"The engine {spoken(engine)} does not answer: {why}.",
        where=f"--engine {spoken(engine)}",
        try_this=f"look whether it runs and can be reached from here, or leave --engine out ({EMBEDDED})",
    )


def _wants_java(error: Exception) -> bool:
    return "JAVA_GATEWAY" in str(error) or (isinstance(error, FileNotFoundError) and "java" in str(error).lower())


def _spark(engine: str) -> Any:
    """A session on the master that the URL names; its query (``?spark.executor.memory=4g``) sets the session."""
    import ibis
    from pyspark.sql import SparkSession

    parts = urlsplit(engine)
    local = parts.hostname in (None, "local", "localhost") and parts.port is None
    master = "local[*]" if local else f"spark://{parts.hostname}:{parts.port or 7077}"
    settings = {**(QUIET if local else {}), **NAMES_STAY_NAMES, **dict(parse_qsl(parts.query))}
    if local:
        os.environ.setdefault("SPARK_LOCAL_IP", "127.0.0.1")  # no look-up of this machine's own name
    builder = SparkSession.builder.master(master).appName("crumbwise batch fleet")
    for key, value in settings.items():
        builder = builder.config(key, value)
    session = builder.getOrCreate()
    session.sparkContext.setLogLevel("ERROR")
    return ibis.pyspark.connect(session)
