"""Is a form that is read in one piece the same form, and is everybody answered who waits for the same commit?"""

from __future__ import annotations

import asyncio

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.exceptions import HTTPException
from starlette.requests import Request

from tracker.bench.entering import PLAIN_FORM, read_form
from tracker.bench.kit import FIELDS
from tracker.workflow.grouped import GroupWriter
from tracker.workflow.people import add_person, list_people


def request_with(body: bytes, kind: str = PLAIN_FORM) -> Request:
    async def receive():
        return {"type": "http.request", "body": body, "more_body": False}

    scope = {"type": "http", "method": "POST", "path": "/", "headers": [(b"content-type", kind.encode())]}
    return Request(scope, receive)


@settings(max_examples=300, deadline=None)
@given(st.text("ab=&%+.C3A9\x00é", max_size=40).map(lambda text: text.encode("latin-1")))
def test_a_plain_form_is_read_as_the_framework_reads_it(run_apart, body):
    mine = run_apart(read_form(request_with(body)))
    theirs = run_apart(_of_the_framework(request_with(body, PLAIN_FORM + "; charset=utf-8")))
    assert mine.multi_items() == theirs


async def _of_the_framework(request: Request) -> list[tuple[str, object]]:
    async with request.form() as form:
        return list(form.multi_items())


def test_a_form_with_a_file_is_read_by_the_framework(run_apart):
    body = b'--x\r\nContent-Disposition: form-data; name="a"\r\n\r\n1\r\n--x--\r\n'
    assert run_apart(read_form(request_with(body, "multipart/form-data; boundary=x"))).multi_items() == [("a", "1")]


def test_more_fields_than_any_form_has_are_refused(run_apart):
    assert len(run_apart(read_form(request_with(b"&".join([b"a=1"] * FIELDS))))) == 1
    with pytest.raises(HTTPException) as refused:
        run_apart(read_form(request_with(b"&".join([b"a=1"] * (FIELDS + 1)))))
    assert refused.value.status_code == 400


def test_each_who_waits_in_a_loop_learns_what_became_of_their_own_deed(store, run_apart):
    """One fails, one has gone meanwhile; the others stand."""
    writer = GroupWriter(store)
    writer.start()

    def refused(inner):
        add_person(inner, "Nobody")
        raise ValueError("no")

    async def many():
        loop = asyncio.get_running_loop()
        answers = [writer.send_soon(lambda inner, at=at: add_person(inner, f"P{at}").name, loop) for at in range(20)]
        wrong, gone = writer.send_soon(refused, loop), writer.send_soon(lambda inner: add_person(inner, "Gone"), loop)
        gone.cancel()
        return await asyncio.gather(*answers, wrong, return_exceptions=True)

    *names, why = run_apart(many())
    writer.stop()
    assert names == [f"P{at}" for at in range(20)]
    assert isinstance(why, ValueError)
    stored = [line.name or "" for line in list_people(store)]
    assert [name for name in stored if name.startswith("P") and name[1:].isdigit()] == names
    assert "Gone" in stored
    assert "Nobody" not in stored


def test_a_loop_that_is_closed_stops_nobody_else(store):
    writer = GroupWriter(store)
    loop = asyncio.new_event_loop()
    writer.start()
    loop.close()
    writer.send_soon(lambda inner: add_person(inner, "Ada"), loop)
    assert writer.do(lambda inner: add_person(inner, "Bo")).name == "Bo"
    writer.stop()
    assert {"Ada", "Bo"} <= {line.name for line in list_people(store)}


def test_an_error_that_no_future_takes_leaves_nobody_waiting(store, run_apart):
    writer = GroupWriter(store)
    writer.start()

    async def three():
        loop = asyncio.get_running_loop()
        deeds = (lambda inner: 1, lambda inner: next(iter(())), lambda inner: 3)
        answers = [writer.send_soon(deed, loop) for deed in deeds]
        return await asyncio.wait_for(asyncio.gather(*answers, return_exceptions=True), 5)

    first, wrong, last = run_apart(three())
    writer.stop()
    assert (first, last) == (1, 3)
    assert isinstance(wrong, RuntimeError)
