"""How is the bench served?

One table: each setting has its default here and its sentence beside it; ``crumbwise bench``
reads the words of the command line into it once, and it is passed down as it is.
"""

from __future__ import annotations

from dataclasses import dataclass

PORT = 8030
HERE = ("127.0.0.1", "localhost", "[::1]")


@dataclass(frozen=True, kw_only=True)
class BenchSettings:
    """``hosts``: names with port that a tablet may ask for, exactly as it writes them ("kitchen.example:8030")."""

    hosts: tuple[str, ...]
    tls: bool = False  # served under https: cookies are then marked Secure
    root_der: bytes = b""  # the bench's own root certificate, which is public; b"" when it made none
    lan: bool = False  # reachable from other machines
    first_code: str = ""  # what the first owner types once; "" when there is an owner
    body_bytes: int = 1_000_000  # a form; nobody types more
    upload_bytes: int = 10_000_000  # a spreadsheet, on the pages that take one
    photo_bytes: int = 15_100_000  # a photo of 15 MB and the form around it, on the page that takes one
    drained_bytes: int = 80_000_000  # of a body that is too large: read and dropped, so that the answer is seen
    parallel_hashes: int = 2  # each takes 32 MiB and a core

    @property
    def scheme(self) -> str:
        return "https" if self.tls else "http"


def hosts_for(port: int, names: tuple[str, ...] = ()) -> tuple[str, ...]:
    """The allow-list for a port: this machine's own names, then those that were given."""
    return tuple(name if _has_port(name) else f"{name}:{port}" for name in (*HERE, *names))


def host_of(name: str) -> str:
    """The same without its port."""
    return name.rpartition(":")[0] if _has_port(name) else name


def _has_port(name: str) -> bool:
    return name.rpartition(":")[2].isdigit() and not name.endswith("]")
