"""Does each reading stand exactly once when bench, browser and tab are killed at random moments?

    python tests/drills/kills.py --kills 100 --seed 1

A real bench (``crumbwise bench --lan``, plain http, a name that is no secure context) in a process of its own and a
real Chromium with a profile on the disk. Readings are typed key by key; at moments drawn by the seed one of the
processes gets SIGKILL. The bench is started again by a second thread while the typing goes on; the browser by the one
who types. An independent log, written before each key and tap and for each word of the page, says what may never be
missing:

- what stood on the tablet for 300 ms or more when the browser was killed: typed or tapped;
- what the page called saved, or waiting on this tablet.

At the end every reading has to stand once with its value, none twice, and the record has to verify.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.request import Request, urlopen

from playwright.sync_api import Browser, BrowserType, Error, Page, sync_playwright
from sqlmodel import select

from tracker.models import Reading, Response, Run, Trial, TrialState
from tracker.store import open_kitchen
from tracker.workflow.accounts import open_account
from tracker.workflow.people import add_person

NAME, PERSON, PIN, TRIAL, RESPONSE = "kitchen.test", "Bo", "830517", "drill", "rise height"
SURE = 0.3  # seconds after which nothing that was typed may be missing
PER_KILL, KILLS_PER_RUN = 9, 6
COMMAND = "import sys; from tracker.commands import main; sys.exit(main())"
CHROMIUM = "/usr/bin/chromium"
QUIET = (
    "--headless=new",
    "--disable-gpu",
    "--disable-quic",
    "--disable-sync",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
    "--no-sandbox",
    "--no-proxy-server",
    "--remote-debugging-port=0",
)


@dataclass
class Log:
    """What was done and what was said, each line written before the next step; nothing of it comes from the bench."""

    path: Path
    began: float = field(default_factory=time.monotonic)
    faults: list[str] = field(default_factory=list)
    counts: Counter[str] = field(default_factory=Counter)

    def write(self, what: str, **more: Any) -> float:
        now = time.monotonic()
        self.counts[what] += 1
        with self.path.open("a") as out:
            out.write(json.dumps({"at": round(now - self.began, 4), "what": what, **more}) + "\n")
        return now

    def fault(self, words: str) -> None:
        self.faults.append(words)
        self.write("FAULT", words=words)


class Bench:
    """The server's process; started again after a kill at the same address."""

    def __init__(self, kitchen: Path) -> None:
        self.kitchen = kitchen
        with socket.socket() as free:
            free.bind(("127.0.0.1", 0))
            self.port: int = free.getsockname()[1]
        self.address = f"http://{NAME}:{self.port}"
        self.start()

    def start(self) -> None:
        words = ["bench", "--lan", "--allow", NAME, "--port", str(self.port), "--kitchen", str(self.kitchen)]
        self.process = subprocess.Popen(
            [sys.executable, "-c", COMMAND, *words], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        for _ in range(1200):
            with suppress(OSError), urlopen(self._ask(), timeout=5):
                return
            if self.process.poll() is not None:
                raise RuntimeError("the bench did not start")
            time.sleep(0.05)
        raise RuntimeError("the bench does not answer")

    def _ask(self) -> Request:
        return Request(f"http://127.0.0.1:{self.port}/sign-in", headers={"host": f"{NAME}:{self.port}"})

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()

    def stop(self) -> None:
        self.process.terminate()
        self.process.wait(30)


class Tablet:
    """The browser's processes, in a group of their own, over a profile that outlives them."""

    def __init__(self, chromium: BrowserType, profile: Path) -> None:
        self.chromium, self.profile = chromium, profile
        self.start()

    def start(self) -> None:
        for left in self.profile.glob("Singleton*"):
            left.unlink()
        told = self.profile / "DevToolsActivePort"
        told.unlink(missing_ok=True)
        words = [CHROMIUM, *QUIET, f"--user-data-dir={self.profile}", f"--host-resolver-rules=MAP {NAME} 127.0.0.1"]
        self.process = subprocess.Popen(
            [*words, "about:blank"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
        )
        for _ in range(600):
            if told.exists() and told.read_text().count("\n") >= 1:
                break
            time.sleep(0.05)
        port = told.read_text().split("\n")[0]
        self.browser: Browser = self.chromium.connect_over_cdp(f"http://127.0.0.1:{port}")
        self.page = self._fresh()

    def _fresh(self) -> Page:
        page = self.browser.contexts[0].new_page()
        page.set_default_timeout(8000)
        return page

    def kill(self) -> None:
        with suppress(ProcessLookupError):
            os.killpg(self.process.pid, signal.SIGKILL)
        self.process.wait()

    def kill_tab(self) -> bool:
        """End what draws the pages; False when none was found."""
        ended = False
        for each in Path("/proc").glob("[0-9]*"):
            with suppress(OSError, ValueError):
                words = (each / "cmdline").read_bytes()
                ours = os.getpgid(int(each.name)) == self.process.pid
                if ours and b"--type=renderer" in words:
                    os.kill(int(each.name), signal.SIGKILL)
                    ended = True
        return ended

    def again(self) -> None:
        """A browser with one page, whatever is left of the last one."""
        if self.process.poll() is None:
            with suppress(Error, IndexError):  # no context is left of a browser that is just ending
                page, old = self._fresh(), self.page
                self.page = page
                with suppress(Error):
                    old.close()
                return
        with suppress(Error):
            self.browser.close()
        self.kill()
        self.start()


class Killer:
    """Ends one process after a delay; the bench comes back a little later by itself."""

    def __init__(self, bench: Bench, tablet: Tablet, log: Log, chance: random.Random) -> None:
        self.bench, self.tablet, self.log, self.chance = bench, tablet, log, chance
        self.thread: threading.Thread | None = None
        self.killed_at: float | None = None  # of the browser or the tab, until somebody has looked
        self.done = 0

    def arm(self) -> None:
        kind = self.chance.choices(["bench", "browser", "tab"], [5, 4, 1])[0]
        delay, pause = self.chance.uniform(0, 1.6), self.chance.uniform(0, 1.5)
        self.thread = threading.Thread(target=self._strike, args=(kind, delay, pause))
        self.thread.start()

    @property
    def resting(self) -> bool:
        return self.thread is None or not self.thread.is_alive()

    def _strike(self, kind: str, delay: float, pause: float) -> None:
        time.sleep(delay)
        self.log.write(f"kill {kind}")
        if kind == "bench":
            self.bench.kill()
            self.done += 1
            time.sleep(pause)
            self.bench.start()
        elif kind == "browser" or not self.tablet.kill_tab():
            self.killed_at = time.monotonic()
            self.tablet.kill()
            self.done += 1
        else:
            self.killed_at = time.monotonic()
            self.done += 1


@dataclass
class Cell:
    """One reading, and when which key of it was surely on the tablet."""

    run: str
    piece: int
    value: str
    keys: list[float] = field(default_factory=list)
    tapped: float | None = None
    said: str = ""  # what the page last said of it: "", "waiting", "saved"

    @property
    def place(self) -> str:
        return f"[data-cell='r1-{self.piece}-1']"


class Typist:
    """Types one reading after the other and looks after each kill at what is left."""

    def __init__(self, bench: Bench, tablet: Tablet, killer: Killer, log: Log, chance: random.Random) -> None:
        self.bench, self.tablet, self.killer, self.log, self.chance = bench, tablet, killer, log, chance

    def enter(self, cell: Cell) -> None:
        """Until the page says that the reading is saved or waits on this tablet."""
        for _ in range(60):
            try:
                self._open(cell)
                if self._looked(cell):
                    return
                self._type(cell)
                self._tap(cell)
                if self._looked(cell):
                    return
            except Error as problem:
                self.log.write("interrupted", words=str(problem).split("\n")[0][:80])
                self.look_after(cell)
        self.log.fault(f"run {cell.run} piece {cell.piece} could not be entered")

    def look_after(self, cell: Cell) -> None:
        time.sleep(0.1)  # the killer may be in the middle of it
        if self.killer.killed_at is None:
            return
        killed, self.killer.killed_at = self.killer.killed_at, None
        self.tablet.again()
        self._check(cell, killed)

    def _check(self, cell: Cell, killed: float) -> None:
        """What stood on the tablet long enough before the kill has to be there again."""
        for _ in range(60):
            with suppress(Error):
                self._open(cell)
                state, shown = self._state(cell)
                break
            if self.killer.killed_at is not None:
                self.killer.killed_at = None
                self.tablet.again()
            time.sleep(0.2)
        else:
            self.log.fault("no page could be opened any more")
            return
        self.log.write("looked", cell=cell.value, state=state, shown=shown, age=self._age(cell, killed))
        owed = sum(1 for at in cell.keys if at <= killed - SURE)
        sure = cell.said or (cell.tapped is not None and cell.tapped <= killed - SURE)
        if state in ("saved", "waiting"):
            cell.said = state
        elif sure:
            self.log.fault(f"{cell.value} was tapped or acknowledged ({cell.said}) and is gone: {state} {shown!r}")
        elif not shown.startswith(cell.value[:owed]):
            self.log.fault(f"{cell.value[:owed]} was typed {SURE} s before and is gone: {shown!r}")

    def _age(self, cell: Cell, killed: float) -> float | None:
        return round(killed - cell.keys[-1], 3) if cell.keys else None

    def _open(self, cell: Cell) -> None:
        page = self.tablet.page
        for _ in range(200):
            if page.url.split("?")[0].endswith(f"/run/{TRIAL}/{cell.run}") and page.locator(cell.place).count():
                break
            with suppress(Error):
                page.goto(f"{self.bench.address}/run/{TRIAL}/{cell.run}", timeout=8000)
            if self.killer.killed_at is not None:
                raise Error("killed while opening")
            if page.locator("#pin").count():
                self._sign_in(page)
            elif not page.locator(cell.place).count():
                time.sleep(0.1)
        try:
            page.locator("body[data-ready]").wait_for(timeout=5000)
        except Error:  # killed while the scripts were on their way; the page says so, and a person loads it again
            if not self.killer.killed_at and not page.locator(".unready").is_visible():
                self.log.fault("a page without its scripts says nothing of it")
            self.log.write("loaded again")
            page.reload(timeout=8000)
            raise

    def _sign_in(self, page: Page) -> None:
        self.log.write("signed in")
        with suppress(Error):
            if page.locator("#name").count():
                page.fill("#name", PERSON)
            page.fill("#pin", PIN)
            page.click("button.primary", timeout=8000)

    def _state(self, cell: Cell) -> tuple[str, str]:
        """ "saved" or "waiting" with the value that is shown, or "open" with what is in the field."""
        place = self.tablet.page.locator(cell.place)
        if place.locator(".stands").count():
            shown = place.locator(".stands strong").inner_text().split()[0]
            if shown.replace(",", ".") != f"{float(cell.value):g}" and shown != cell.value:
                self.log.fault(f"{cell.value} stands as {shown}")
            return "saved", shown
        field = place.locator("input[name=value]").first
        waits = place.locator(".wrong").filter(has_text="Waiting on this tablet").count()
        shown = field.input_value(timeout=1000)
        return ("waiting" if waits and shown == cell.value else "open"), shown

    def _looked(self, cell: Cell) -> bool:
        """Wait a moment for a word of the page."""
        patience = time.monotonic() + (1.0 if cell.tapped else 0.0)
        while True:
            state, _ = self._state(cell)
            if state != "open":
                self.log.write(state, cell=cell.value)
                cell.said = state
                return True
            if time.monotonic() >= patience:
                return False
            time.sleep(0.02)

    def _type(self, cell: Cell) -> None:
        cell.keys, cell.tapped = [], None
        field = self.tablet.page.locator(f"{cell.place} input[name=value]").first
        if field.input_value() != cell.value:
            field.fill("")
            for sign in cell.value:
                self.log.write("key", sign=sign, cell=cell.value)
                field.press_sequentially(sign)
                cell.keys.append(time.monotonic())
                time.sleep(self.chance.uniform(0.01, 0.06))
            time.sleep(self.chance.choice([0, 0, 0.15, 0.5]))

    def _tap(self, cell: Cell) -> None:
        self.log.write("tap", cell=cell.value)
        field = self.tablet.page.locator(f"{cell.place} input[name=value]").first
        if not self.tablet.page.locator(f"{cell.place} button.primary").first.is_enabled():
            return  # sent before the kill, and still on its way
        field.press("Enter")
        cell.tapped = time.monotonic()

    def finish(self, cells: list[Cell]) -> None:
        """Leave the tablet on until nothing waits any more."""
        for _ in range(300):
            try:
                self._open(cells[-1])
                if not self.tablet.page.evaluate("import('/static/queue.js').then(queue => queue.waiting())"):
                    return
            except Error:
                self.look_after(cells[-1])
            time.sleep(0.2)
        self.log.fault("the queue did not become empty")


def make_kitchen(path: Path, runs: int, pieces: int) -> None:
    with open_kitchen(str(path), create=True) as store:
        with store.write(person=1, action="plan") as deed:
            trial = deed.add(Trial(name=TRIAL, title="A drill", seed=1, design="{}", made_at=deed.at))
            number = trial.id or 0
            deed.add(TrialState(trial_id=number, state="planned", at=deed.at, person_id=1))
            deed.add(Response(trial_id=number, position=1, name=RESPONSE, unit="mm", pieces=pieces))
            deed.add_many(
                Run(trial_id=number, place_in_design=at, bake_order=at, code=str(100 + at), settings="{}")
                for at in range(1, runs + 1)
            )
        for name, role in (("Dora", "owner"), (PERSON, "baker")):
            open_account(store, add_person(store, name).number, role, PIN, by=1)


def compare(kitchen: Path, cells: list[Cell], log: Log) -> None:
    """The record beside the log: each reading once, with its value, and a chain that verifies."""
    with open_kitchen(str(kitchen)) as store, store.read() as session:
        rows = [row.value for row in session.exec(select(Reading))]
    found, asked = Counter(rows), Counter(float(cell.value) for cell in cells)
    for value in asked:
        if found[value] != 1:
            log.fault(f"{value} stands {found[value]} times")
    for value in found - asked:
        log.fault(f"{value} was never entered")
    checked = subprocess.run(
        [sys.executable, "-c", COMMAND, "records", "check", "--kitchen", str(kitchen)], capture_output=True, text=True
    )
    if checked.returncode:
        log.fault(f"records check: {checked.stdout}{checked.stderr}")


def drill(
    kills: int, seed: int, folder: Path, *, play: BrowserType, tell: Callable[[str], None] = lambda words: None
) -> Log:
    """Type until so many kills were made; what was found amiss is in ``faults`` of the log."""
    chance = random.Random(seed)
    runs = max(2, kills // KILLS_PER_RUN)
    per_run = kills * PER_KILL // runs + 1
    kitchen, log = folder / "kitchen.db", Log(folder / "log.jsonl")
    make_kitchen(kitchen, runs, per_run)
    cells = [
        Cell(str(100 + run), piece, f"{20 + 0.05 * (run * per_run + piece):.2f}")
        for run in range(1, runs + 1)
        for piece in range(1, per_run + 1)
    ]
    entered: list[Cell] = []
    bench = Bench(kitchen)
    try:
        tablet = Tablet(play, folder / "profile")
        killer = Killer(bench, tablet, log, chance)
        try:
            _type_on(cells, entered, killer, Typist(bench, tablet, killer, log, random.Random(seed + 1)), kills, tell)
        finally:
            if killer.thread:
                killer.thread.join()
            tablet.kill()
    finally:
        bench.stop()
    compare(kitchen, entered, log)
    log.counts["readings"], log.counts["kills"] = len(entered), killer.done
    return log


def _type_on(
    cells: list[Cell], entered: list[Cell], killer: Killer, typist: Typist, kills: int, tell: Callable[[str], None]
) -> None:
    for cell in cells:
        if killer.done < kills and killer.resting:
            killer.arm()
        typist.enter(cell)
        entered.append(cell)
        if killer.killed_at is not None:
            typist.look_after(cell)
        if killer.done >= kills and killer.resting:
            break
        if len(entered) % 25 == 0:
            tell(f"{len(entered)} readings, {killer.done} kills, {len(killer.log.faults)} faults")
    if killer.thread:
        killer.thread.join()
    if killer.killed_at is not None:
        typist.look_after(entered[-1])
    typist.finish(entered)


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--kills", type=int, default=100)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--log", type=Path, help="keep the log here")
    told = asked.parse_args()
    began = time.monotonic()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as folder, sync_playwright() as play:
        log = drill(
            told.kills, told.seed, Path(folder), play=play.chromium, tell=lambda words: print(words, flush=True)
        )
        print(f"{log.counts['readings']} readings, {log.counts['kills']} kills: ", end="")
        print(", ".join(f"{count} {what}" for what, count in sorted(log.counts.items()) if what.startswith("kill ")))
        print(f"{time.monotonic() - began:.0f} s; faults: {len(log.faults)}")
        print("\n".join(log.faults))
        if told.log:
            told.log.write_bytes(log.path.read_bytes())
    return 1 if log.faults else 0


if __name__ == "__main__":
    sys.exit(main())
