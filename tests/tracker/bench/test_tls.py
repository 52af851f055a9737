"""Does the bench work over https with its own certificate: cookies, forms, addresses, a real browser?"""

from __future__ import annotations

import hashlib
import json
import re
import socket
import ssl
import threading
import time
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime

import httpx2
import pytest
from fastapi.testclient import TestClient

from tracker.bench.app import make_app
from tracker.bench.certificate_files import certificates_in
from tracker.bench.cookies import PREFIX
from tracker.bench.settings import BenchSettings, host_of, hosts_for

NAME = "kitchen.test"
OWNER = {"name": "Dora", "pin": "930571"}
RUN = "/run/soda/108"
HOST = "127.0.0.1:8030"


@pytest.fixture
def over_https(bench_store):
    settings = BenchSettings(hosts=hosts_for(8030), tls=True)
    headers = {"origin": f"https://{HOST}"}
    with TestClient(
        make_app(bench_store, settings), base_url=f"https://{HOST}", headers=headers, follow_redirects=False
    ) as made:
        yield made


@contextmanager
def serving(store, folder):
    """A bench that is really served over https; yields its address and its certificates."""
    import uvicorn

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    settings = BenchSettings(hosts=hosts_for(port, (NAME,)), tls=True)
    made = certificates_in(folder, [host_of(host) for host in settings.hosts], now=datetime.now(UTC))
    app = make_app(store, replace(settings, root_der=made.root_der))
    config = uvicorn.Config(
        app, host="127.0.0.1", port=port, log_level="error", ssl_certfile=made.chain, ssl_keyfile=made.key
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        time.sleep(0.02)
    try:
        yield f"https://{NAME}:{port}", made
    finally:
        server.should_exit = True
        thread.join(10)


@pytest.fixture
def served_https(bench_store, tmp_path):
    bench_store.now = lambda: datetime.now(UTC)
    with serving(bench_store, tmp_path / "keys") as both:
        yield both


def test_cookies_are_bound_to_this_host(over_https):
    answer = over_https.post("/sign-in", data=OWNER)
    assert answer.status_code == 303
    cookies = answer.headers.get_list("set-cookie")
    assert len(cookies) == 2
    for cookie in cookies:
        assert cookie.startswith(f"{PREFIX}crumbwise_")
        parts = {part.strip().lower() for part in cookie.split(";")}
        assert {"secure", "httponly", "samesite=strict", "path=/"} <= parts
        assert not any(part.startswith("domain") for part in parts)
    assert over_https.get("/").status_code == 200
    ended = over_https.post("/sign-out", data={"tablet": "yes"})
    assert len(ended.headers.get_list("set-cookie")) == 2
    for cookie in ended.headers.get_list("set-cookie"):
        assert cookie.startswith(PREFIX)
        assert "Secure" in cookie  # a browser would keep the old one otherwise
    assert over_https.get("/").status_code == 401


def test_a_cookie_that_was_planted_without_the_prefix_is_nobodys(over_https):
    answer = over_https.post("/sign-in", data=OWNER)
    secret = re.match(r"__Host-crumbwise_person=([^;]+)", answer.headers.get_list("set-cookie")[0])[1]
    over_https.cookies.clear()
    for name, status in (("crumbwise_person", 401), ("__host-crumbwise_person", 401), ("__Host-crumbwise_person", 200)):
        assert over_https.get("/", headers={"cookie": f"{name}={secret}"}).status_code == status
    mixed = f"crumbwise_person=other; __Host-crumbwise_person={secret}; a=b"
    assert over_https.get("/", headers={"cookie": mixed}).status_code == 200


def test_the_origin_is_https(over_https):
    for origin, status in ((f"https://{HOST}", 303), (f"http://{HOST}", 403)):
        assert over_https.post("/sign-in", data=OWNER, headers={"origin": origin}).status_code == status


def test_no_answer_asks_for_https_for_ever(over_https):
    """The certificate is the bench's own: a browser that may not be overruled would lock the tablet out for good."""
    for path in ("/", "/sign-in", "/static/bench.css", "/nowhere"):
        assert "strict-transport-security" not in over_https.get(path).headers


def test_the_root_is_given_out_and_nothing_else(served_https):
    address, made = served_https
    here = address.replace(NAME, "127.0.0.1")
    context = ssl.create_default_context(cafile=str(made.root))
    with httpx2.Client(verify=context, base_url=here) as tablet:
        page = tablet.get("/trust")
        assert made.fingerprint in re.sub(r"<wbr>", "", page.text)
        given = tablet.get("/trust/root")
        assert given.headers["content-type"] == "application/x-x509-ca-cert"
        assert hashlib.sha256(given.content).digest().hex(":").upper() == made.fingerprint
        assert b"PRIVATE" not in given.content
    with (
        httpx2.Client(base_url=here) as stranger,
        pytest.raises(httpx2.ConnectError, match="CERTIFICATE_VERIFY_FAILED"),
    ):
        stranger.get("/trust")


def test_a_bench_without_a_certificate_of_its_own_gives_none_out(client):
    assert client.get("/trust").status_code == client.get("/trust/root").status_code == 404


@pytest.mark.browser
@pytest.mark.parametrize(("scheme", "size"), [("light", (390, 844)), ("dark", (810, 1080))])
def test_a_real_browser_signs_in_and_records(browser, served_https, bench_store, scheme, size):
    """The tablet has been told to trust it: here its browser is told not to ask."""
    from axe_playwright_python.sync_playwright import Axe

    address, _ = served_https
    context = browser.new_context(
        base_url=address,
        ignore_https_errors=True,
        viewport=dict(zip(("width", "height"), size, strict=True)),
        color_scheme=scheme,
        bypass_csp=True,
    )
    try:
        page = context.new_page()
        page.goto("/sign-in")
        assert page.evaluate("isSecureContext")
        page.fill("#name", OWNER["name"])
        page.fill("#pin", OWNER["pin"])
        page.click("button.primary")
        page.wait_for_url(f"{address}/")
        kept = {cookie["name"]: cookie["secure"] for cookie in context.cookies()}
        assert kept == {"__Host-crumbwise_person": True, "__Host-crumbwise_tablet": True}
        page.goto(RUN)
        with page.expect_request(lambda request: request.method == "POST") as sent:
            page.fill("#r1-0-1-v", "42.5")
            page.keyboard.press("Enter")
        page.wait_for_selector("[data-cell='r1-0-1'] .stands")
        assert sent.value.all_headers()["sec-fetch-site"] == "same-origin"
        page.goto("/trust")
        assert page.evaluate("document.documentElement.scrollWidth") <= size[0]
        report = Axe().run(page)
        assert report.violations_count == 0, report.generate_report()
        page.goto("/")
        page.click("form.who button")
        page.wait_for_url(f"{address}/sign-in")
        assert "__Host-crumbwise_person" not in {cookie["name"] for cookie in context.cookies()}
    finally:
        context.close()


def test_the_whole_command_serves_https(sqlite_kitchen, tmp_path):
    import shutil
    import signal
    import subprocess
    import sys
    from pathlib import Path

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [shutil.which("crumbwise", path=str(Path(sys.executable).parent)), "--kitchen", str(sqlite_kitchen)]
    running = subprocess.Popen(
        [*command, "bench", "--tls", "--json", "--port", str(port)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    keys = sqlite_kitchen.with_name(f"{sqlite_kitchen.name}.keys")
    try:
        for _ in range(300):
            try:
                context = ssl.create_default_context(cafile=str(keys / "root.pem"))
                answer = httpx2.get(f"https://localhost:{port}/start", verify=context)
                break
            except (OSError, httpx2.ConnectError):
                time.sleep(0.1)
        else:
            pytest.fail("nobody answered")
    finally:
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=20)
    assert answer.status_code == 200
    told = json.loads(out)
    assert (told["address"], told["tls"]) == (f"https://127.0.0.1:{port}/", True)
    assert told["root_sha256"].count(":") == 31
    assert "PRIVATE" not in out + err
