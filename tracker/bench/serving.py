"""Where is the bench served, and who can reach it?

Without ``--lan`` only this machine can. With it the kitchen needs an owner and the names
that tablets may ask for.
"""

from __future__ import annotations

import gc
from asyncio import get_running_loop
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from secrets import choice
from typing import TYPE_CHECKING, Any

from tracker.bench.settings import BenchSettings, host_of, hosts_for
from tracker.errors import UsageError
from tracker.workflow.accounts import has_owner
from tracker.workflow.kitchens import opened, opened_if_there, place_of

if TYPE_CHECKING:
    from tracker.bench.certificate_files import Certificates

LOCAL = ("127.0.0.1", "::1", "localhost")
# Without signs that look alike when read from a screen.
SIGNS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What the command line asked for."""

    kitchen: str
    host: str
    port: int
    lan: bool
    names: tuple[str, ...]
    certificate: Path | None
    private_key: Path | None
    tls: bool = False  # with certificates of the bench's own
    check: bool = False  # say it only: nothing is made


@dataclass(frozen=True, kw_only=True)
class Planned:
    """How it will be served; ``new`` is the kitchen that is made for it, "" when there is one."""

    address: str
    settings: BenchSettings
    new: str = ""
    certificates: Certificates | None = None

    def words(self) -> str:
        reach = "tablets of the network can reach it" if self.settings.lan else "only this machine can reach it"
        lines = [f"The bench: {self.address} ({reach}; stop with Ctrl-C)"]
        if self.settings.lan:
            lines.append("Names it answers to: " + ", ".join(self.settings.hosts))
        if self.settings.lan and not self.settings.tls:
            lines.append("Without https everybody in this network could read along; --tls closes that.")
        if self.certificates:
            lines.append(self.certificates.words(f"{self.address}trust"))
        if self.new:
            lines.append(f"There is no kitchen yet; a new one is made: {self.new}")
        if self.settings.first_code:
            lines.append(f"Nobody looks after it yet. The first owner types this code: {self.settings.first_code}")
        return "\n".join(lines)

    def to_json(self) -> dict[str, Any]:
        return {
            "address": self.address,
            "hosts": list(self.settings.hosts),
            "lan": self.settings.lan,
            "tls": self.settings.tls,
            "root_sha256": self.certificates.fingerprint if self.certificates else None,
            "needs_owner": bool(self.settings.first_code),
            "new_kitchen": bool(self.new),
        }


def plan(wanted: Wanted) -> Planned:
    """Check what was asked for. Raises UsageError. Nothing is made but certificates."""
    _check_reach(wanted)
    with opened_if_there(wanted.kitchen) as store:
        owned = store is not None and has_owner(store)
        place, new = place_of(wanted.kitchen), store is None
    if wanted.lan and not owned:
        raise UsageError(
            "Before others can reach the bench, somebody has to own it.",
            where="--lan",
            try_this="crumbwise bench on this machine first, and sign in with the code it prints",
        )
    tls = wanted.tls or wanted.certificate is not None
    shown = f"[{wanted.host}]" if ":" in wanted.host else wanted.host
    own = () if wanted.host in ("0.0.0.0", "::", *LOCAL) else (shown,)  # noqa: S104 (compared, not bound)
    settings = BenchSettings(
        hosts=hosts_for(wanted.port, (*own, *wanted.names)),
        tls=tls,
        lan=wanted.lan,
        first_code="" if owned else _code(),
    )
    certificates = _certificates(wanted, place.path, settings) if wanted.tls and not wanted.check else None
    if certificates:
        settings = replace(settings, root_der=certificates.root_der)
    name = (*wanted.names, *own, shown)[0]
    address = f"{settings.scheme}://{hosts_for(wanted.port, (name,))[-1]}/"
    return Planned(address=address, settings=settings, certificates=certificates, new=place.shown if new else "")


def _certificates(wanted: Wanted, kitchen: Path | None, settings: BenchSettings) -> Certificates:
    from tracker.bench.certificate_files import certificates_in, folder_beside

    hosts = [host_of(name) for name in settings.hosts]
    return certificates_in(folder_beside(kitchen), hosts, now=datetime.now(UTC))


def _check_reach(wanted: Wanted) -> None:
    if wanted.tls and wanted.certificate is not None:
        raise UsageError(
            "--tls makes a certificate, and --tls-cert brings one.", where="--tls", try_this="one of the two"
        )
    if (wanted.certificate is None) != (wanted.private_key is None):
        raise UsageError(
            "A certificate and its key go together.", where="--tls-cert", try_this="--tls-cert and --tls-key"
        )
    for path in (wanted.certificate, wanted.private_key):
        if path is not None and not path.is_file():
            raise UsageError("There is no such file.", where=str(path), try_this="check the path")
    if wanted.host not in LOCAL and not wanted.lan:
        raise UsageError("Other machines could reach that address.", where="--host", try_this="--lan, if that is meant")
    if wanted.lan and wanted.host in ("0.0.0.0", "::") and not wanted.names:  # noqa: S104 (compared, not bound)
        raise UsageError("The bench answers only to names it was told.", where="--lan", try_this="--allow 192.168.1.20")
    bad = [name for name in wanted.names if not name or any(sign in name for sign in "/*@ ,") or not name.isascii()]
    if bad:
        raise UsageError(f'"{bad[0]}" is no name of a host.', where="--allow", try_this="--allow kitchen.example")


def _code() -> str:
    return "-".join("".join(choice(SIGNS) for _ in range(4)) for _ in range(2))


def serve(wanted: Wanted, planned: Planned, ready: Callable[[], None]) -> None:
    """Serve until it is stopped; ``ready`` is called when tablets are answered."""
    import uvicorn

    from tracker.bench.app import make_app
    from tracker.bench.connections import Limits, allow_files, patient
    from tracker.workflow.guesses import forget_old_guesses
    from tracker.workflow.once import forget_old_keys

    with opened(wanted.kitchen, create=bool(planned.new)) as store:
        forget_old_keys(store)
        forget_old_guesses(store)
        app = make_app(store, planned.settings)
        files = allow_files()
        # What was made at start-up stays; not looking through it again made the slowest posts four times faster.
        gc.collect()
        gc.freeze()
        gc.set_threshold(50_000, 50, 100)
        config = uvicorn.Config(
            app,
            host=wanted.host,
            port=wanted.port,
            log_level="warning",
            access_log=False,  # addresses and paths of people are nobody's business
            server_header=False,
            proxy_headers=False,
            timeout_keep_alive=20,
            http=patient("h11", Limits.within(files)),
            backlog=files // 4,  # so many are let in before the first of them is looked at
            ws="none",  # a wish for a web socket is answered as the page it asks for
            limit_concurrency=500,
            h11_max_incomplete_event_size=64 * 1024,
            ssl_certfile=planned.certificates.chain if planned.certificates else wanted.certificate,
            ssl_keyfile=planned.certificates.key if planned.certificates else wanted.private_key,
        )
        _run(config, ready)


def _run(config: Any, ready: Callable[[], None]) -> None:
    import uvicorn

    from tracker.bench.connections import hurry_handshakes

    class Server(uvicorn.Server):
        async def startup(self, sockets: Any = None) -> None:
            if self.config.is_ssl:
                hurry_handshakes(get_running_loop())
            await super().startup(sockets)
            if self.started:
                ready()

    server = Server(config)
    with suppress(KeyboardInterrupt):
        server.run()
    if not server.started:  # it has said why
        raise SystemExit(1)
