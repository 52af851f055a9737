"""Does any request that the routes allow end in an error nobody foresaw, whoever sends it?

The bench serves no description of its routes, so one is made here: paths and queries from the routers, bodies from the
forms that the pages show. A library for API testing draws requests from it, for each role: no answer is a 5xx, each
carries the headers of the guard, no role comes in where it may not, no GET writes. ``CRUMBWISE_FUZZ=1000`` draws that
many requests for each route and role (CI: 2 to 6), ``CRUMBWISE_FUZZ_SEED`` begins elsewhere.
"""

from __future__ import annotations

import importlib.util
import os
import re
import shutil
import sys
import warnings
from collections import Counter
from pathlib import Path
from random import Random
from types import ModuleType
from typing import Any
from urllib.parse import urlsplit

import pytest
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given, seed, settings
from hypothesis import strategies as st

from tracker.bench.app import make_app
from tracker.bench.guard import HEADERS
from tracker.bench.kit import PERSON, TABLET, Needs
from tracker.bench.pages import PAGES
from tracker.bench.settings import BenchSettings, hosts_for
from tracker.fingerprints import audit_head
from tracker.store import open_kitchen
from tracker.workflow.accounts import LADDER, list_accounts
from tracker.workflow.signed_in import begin
from tracker.workflow.tasting_passes import begin_tasting
from tracker.workflow.verifying import verify_record

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # the library's own, while it is imported
    import schemathesis

EXAMPLES = int(os.environ.get("CRUMBWISE_FUZZ", "0"))
SEED = int(os.environ.get("CRUMBWISE_FUZZ_SEED", "2417"))
ROLES = ("nobody", *LADDER)
HOST = "127.0.0.1:8030"
# What the routes write in their paths, so that some requests get past the first look-up.
NAMES = {"trial": ["soda"], "code": ["108", "105"], "number": ["1"]}
USUAL = {
    "product": ["scones"],
    "trial": ["cookies", "soda"],
    "number": ["10", "9", "1"],
    "value": ["42", "4", "yes"],
    "at": ["2026-11-10 06:00"],
    "reading:rise height": ["41", "42,5"],
    "reason": ["wrong ruler"],
    "role": ["baker"],
    "pin": ["730915"],
    "name": ["Eve"],
    "response": ["rise height", "crumb score", "2"],
}
# Fields of forms that stand on no page of this kitchen: shown only in a state that another request makes.
FURTHER = {
    "/start": ["name", "pin", "code"],
    "/batch/more": ["key", "by", "product", "number", "reading:rise height", "size:rise height"],
    "/taste": ["key", "by", "do", "sample", "value", "response", "words", "reason", "score:1", "score:2", "response:2"],
    "/formula/keep": ["key", "by", "name", "method", "ingredient:1", "percent:1", "flour:1"],
    "/formula/balance": ["name", "ingredient:1", "percent:1", "flour:1"],
    "/run/{trial:path}/{code}": ["ingredient", "correct"],
    "/photo/{number:int}/erase": ["key", "by", "reason", "sure"],
    "/photo/{trial:path}/{code}": ["key", "by", "piece", "words", "photo"],
    "/sign-out": ["tablet"],
}
START = (
    *("/", "/taste", "/sign-in", "/my-pin", "/plan", "/plan/ask", "/plan/own", "/tasting", "/people"),
    *("/results?trial=cookies", "/batch?product=scones", "/batch/one?product=scones&number=9"),
    *("/batch/correct?product=scones&number=9", "/batch/alarms?product=scones", "/run/soda/108", "/run/soda/105"),
    "/batch/product",
)


def _beside(name: str) -> ModuleType:
    """A helper that lies beside this file (tests are no package)."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).with_name(f"{name}.py"))
    assert spec is not None
    assert spec.loader is not None
    sys.modules[name] = module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


shown, kitchen = _beside("forms_shown"), _beside("full_kitchen")


class Bench:
    """A copy of the full kitchen, and a tablet for each role that signs in again when its session was ended."""

    def __init__(self, template: Path, path: Path, codes: list[str]) -> None:
        shutil.copyfile(template, path)
        path.chmod(0o600)
        self.store = open_kitchen(str(path))
        self.app = make_app(self.store, BenchSettings(hosts=hosts_for(8030), parallel_hashes=1))
        self.codes = codes
        self.people = {line.role: line.person for line in list_accounts(self.store)}

    def tablet(self, role: str) -> TestClient:
        made = TestClient(self.app, base_url=f"http://{HOST}", follow_redirects=False)
        made.headers["origin"] = f"http://{HOST}"
        self.sign_in(made, role)
        return made

    def sign_in(self, tablet: TestClient, role: str) -> None:
        tablet.cookies.clear()
        if role == "nobody":
            return
        secret = (
            begin_tasting(self.store, self.codes[0])
            if role == "taster"
            else begin(self.store, "person", self.people[role])
        )
        tablet.cookies.set(PERSON, secret or "", domain="127.0.0.1", path="/")
        tablet.cookies.set(TABLET, begin(self.store, "device", None), domain="127.0.0.1", path="/")


@pytest.fixture(scope="module")
def full(bench_template: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    """The file of a kitchen in which every page shows something, and the codes of its tasting."""
    path = tmp_path_factory.mktemp("fuzz") / "full.db"
    shutil.copyfile(bench_template, path)
    with open_kitchen(str(path)) as store:
        kitchen.fill(store)
        codes = kitchen.taste(store)
    return path, codes


@pytest.fixture
def bench(full: tuple[Path, list[str]], tmp_path: Path):
    made = Bench(full[0], tmp_path / "fuzz.db", full[1])
    with TestClient(made.app):  # starts the writer
        yield made
    made.store.close()


@pytest.fixture(scope="module")
def described(full: tuple[Path, list[str]], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """The routes as an OpenAPI document."""
    made = Bench(full[0], tmp_path_factory.mktemp("walk") / "walk.db", full[1])
    with TestClient(made.app):
        walks = [shown.walk(made.tablet(role), START) for role in ROLES]
    made.store.close()
    return description([form for forms, _ in walks for form in forms], [told for _, all in walks for told in all])


def description(forms: list[Any], addresses: list[str]) -> dict[str, Any]:
    asked_in = shown.asked_in(addresses)
    fields: dict[tuple[str, str], dict[str, set[str]]] = {}
    written: set[str] = set()  # names of fields that a person writes in
    for form in forms:
        written.update(form.typed)
        found = fields.setdefault((form.method, shown.route_of(form.method, urlsplit(form.action).path)), {})
        for name, (_, values) in form.fields.items():
            found.setdefault(name, set()).update(value for value in values if value)
    for route, names in FURTHER.items():
        for name in names:
            fields.setdefault(("POST", route), {}).setdefault(name, set())
    paths: dict[str, Any] = {}
    for route in every_route():
        path = re.sub(r"{(\w+):\w+}", r"{\1}", route.path)
        for method in sorted((route.methods or set()) - {"HEAD"}):
            known = fields.get((method, route.path), {})
            told = {"parameters": [_in_path(name, route, asked_in) for name in re.findall(r"{(\w+)", path)]}
            told["responses"] = {"200": {"description": "a page"}}
            if method == "GET":
                asked = {each.name for each in route.dependant.query_params} | set(known) | {"saved", "next"}
                told["parameters"] += [
                    {
                        "name": name,
                        "in": "query",
                        "schema": _values(known.get(name, set()) | asked_in.get((route.path, name), set()), name),
                    }
                    for name in sorted(asked)
                ]
            else:
                told["requestBody"] = _body(known, set(known) - written, multipart=route.path.startswith("/photo"))
            paths.setdefault(path, {})[method.lower()] = told
    return {"openapi": "3.0.3", "info": {"title": "bench", "version": "1"}, "paths": paths}


def every_route() -> list[APIRoute]:
    return [route for each in PAGES for route in each.router.routes if isinstance(route, APIRoute)]


def _in_path(name: str, route: APIRoute, asked_in: dict[tuple[str, str], set[str]]) -> dict[str, Any]:
    usual = asked_in.get((route.path, name), set()) | set(NAMES.get(name, []))
    schema = {"type": "integer"} if f"{{{name}:int}}" in route.path else _values(usual, name)
    return {"name": name, "in": "path", "required": True, "schema": schema}


def _values(values: set[str], name: str) -> dict[str, Any]:
    """Any text; the library would not draw what the pages write there more often, so we put it in (``usually``)."""
    return {"type": "string", "x-usual": sorted({value[:2000] for value in values})[:12] + USUAL.get(name, [])}


def usually(told: dict[str, Any], case: Any, chance: Random) -> None:
    """In two of three places what a page would write there: the rest is refused early."""
    for each in told["parameters"]:
        into = case.path_parameters if each["in"] == "path" else case.query
        _put(into, each["name"], each["schema"], chance, wanted=each["in"] == "path")
    for content in told.get("requestBody", {"content": {}})["content"].values():
        for name, schema in content["schema"]["properties"].items():
            if isinstance(case.body, dict):
                _put(case.body, name, schema, chance, wanted=False)


def _put(into: Any, name: str, schema: dict[str, Any], chance: Random, *, wanted: bool) -> None:
    usual = schema.get("x-usual", [])
    if usual and (wanted or name in into or chance.random() < 0.5) and chance.random() < 0.7:
        into[name] = chance.choice(usual)


def _body(fields: dict[str, set[str]], chosen: set[str], *, multipart: bool) -> dict[str, Any]:
    """``chosen``: fields in which nobody writes; they come with every request."""
    said = {name: _values(values, name) for name, values in fields.items()}
    if "key" in said:
        said["key"] = {"type": "string", "pattern": "^[a-z0-9]{8,80}$"}
    said.pop("by", None)  # who was signed in when the page was made: another one each time
    if multipart:
        said["photo"] = {"type": "string", "format": "binary"}
    schema = {
        "type": "object",
        "properties": said,
        "required": sorted(chosen & set(said)),
        "additionalProperties": False,
    }
    kind = "multipart/form-data" if multipart else "application/x-www-form-urlencoded"
    return {"required": True, "content": {kind: {"schema": schema}}}


def operations(document: dict[str, Any]) -> list[Any]:
    return [found.ok() for found in schemathesis.openapi.from_dict(document).get_all_operations()]


def test_every_form_of_every_route_is_described(described):
    posts = {path for path, told in described["paths"].items() if "post" in told}
    bare = {"/sign-out"}  # a button alone
    for path in posts - bare:
        (content,) = described["paths"][path]["post"]["requestBody"]["content"].values()
        assert len(content["schema"]["properties"]) > 0, path
    written = {re.sub(r"{(\w+):\w+}", r"{\1}", route.path) for route in every_route()}
    assert set(described["paths"]) == written
    assert len(posts) >= 15


def least_role(operation: Any) -> str | None:
    for route in every_route():
        if re.sub(r"{(\w+):\w+}", r"{\1}", route.path) == operation.path and operation.method.upper() in route.methods:
            roles = [part.call.role for part in route.dependant.dependencies if isinstance(part.call, Needs)]
            return roles[0] if roles else None
    raise AssertionError(operation.path)


@pytest.mark.parametrize("role", ROLES)
def test_no_request_ends_in_an_error_nobody_foresaw(role, bench, described, monkeypatch):
    # A PIN is hashed for a tenth of a second; whether it is right is tested elsewhere.
    monkeypatch.setattr("tracker.bench.pages.signing.pin_is_right", lambda store, person, pin: False)
    tablet, said = bench.tablet(role), Counter()
    for operation in operations(described):
        least = least_role(operation)
        let_in = least is None or (role != "nobody" and LADDER.index(role) >= LADDER.index(least))
        before = audit_head(bench.store)
        said += fuzz(bench, tablet, role, operation, described["paths"][operation.path], let_in=let_in)
        if operation.method.upper() == "GET" or not let_in:
            assert audit_head(bench.store) == before, operation.label
    verify_record(bench.store)
    print(f"{role}: {said.total()} requests, {dict(sorted(said.items()))}")
    assert said.total() > 40
    if role in ("baker", "analyst", "owner"):  # it came further than the door
        assert said[200] > 20
        assert said[303] > 0


def fuzz(
    bench: Bench, tablet: TestClient, role: str, operation: Any, paths: dict[str, Any], *, let_in: bool
) -> Counter:
    """Send requests that are drawn for one route; how they were answered."""
    counted: Counter[int] = Counter()
    described = paths[operation.method.lower()]

    @seed(SEED)
    @settings(
        max_examples=EXAMPLES or (6 if let_in and operation.method == "post" else 3 if let_in else 2),
        phases=(Phase.generate, Phase.shrink) if EXAMPLES else (Phase.generate,),
        deadline=None,
        database=None,
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(), twice=st.booleans(), chance=st.randoms(use_true_random=False))
    def send(case: Any, twice: bool, chance: Random) -> None:
        usually(described, case, chance)
        told = case.as_transport_kwargs()
        told.pop("cookies", None)
        headers = {name: value for name, value in dict(told.pop("headers", {})).items() if name.lower() in KEPT}
        for _ in range(1 + twice):  # the same again: a key that was kept
            answer = tablet.request(told["method"], urlsplit(told["url"]).path, headers=headers, **body_of(told))
            counted[answer.status_code] += 1
            judge(answer, role, let_in=let_in)
            if role != "nobody" and (
                answer.status_code == 401 or operation.path in ("/sign-out", "/my-pin", "/people")
            ):
                bench.sign_in(tablet, role)

    send()
    return counted


KEPT = ("accept", "content-type")


def body_of(told: dict[str, Any]) -> dict[str, Any]:
    """Query and body as the client of the tests takes them."""
    found = {name: told[name] for name in ("params", "data", "files") if told.get(name) is not None}
    if isinstance(found.get("data"), bytes | str):
        found["content"] = found.pop("data")
    return found


def judge(answer: Any, role: str, *, let_in: bool) -> None:
    assert answer.status_code < 500, answer.text
    assert HEADERS.items() <= dict(answer.headers).items()
    if not let_in:
        wanted = (401,) if role == "nobody" else (403,)
        # An odd path may lead to no route, or to none that takes a POST; a GET of nobody leads to signing in.
        assert answer.status_code in (*wanted, 303, 400, 404, 405, 413, 415, 422), answer.status_code
        if answer.status_code == 303:
            assert answer.headers["location"].startswith(("/sign-in", "/start"))
