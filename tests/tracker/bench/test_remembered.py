"""Does a page show what was entered at once, though it remembers what it computed?"""

from __future__ import annotations

from sqlalchemy import event

from tracker.bench.remembered import MOST, Memory
from tracker.workflow.recording import record_run


def test_a_value_holds_until_something_is_entered():
    memory, made = Memory(), []
    for state in ("a", "a", "b", "b"):
        memory.get("x", state, lambda state=state: made.append(state) or state)
    assert made == ["a", "b"]


def test_what_was_asked_for_longest_ago_is_forgotten():
    memory, made = Memory(), []
    for about in [*range(MOST), 0, MOST, 0, 1]:  # 0 was asked for again before 101 came
        memory.get(about, "a", lambda about=about: made.append(about))
    assert made == [*range(MOST), MOST, 1]


def test_a_page_shows_what_another_program_entered(as_role, bench_store):
    baker = as_role("baker")
    first = baker.get("/run/soda/108").text
    assert "41.75" not in first
    assert baker.get("/run/soda/108").status_code == 200
    record_run(bench_store, "soda", "108", ["rise height=41.75"])
    assert "41.75" in baker.get("/run/soda/108").text
    assert "108" in baker.get("/").text


def test_an_unchanged_page_asks_the_record_little(as_role, bench_store):
    """Who asks, and whether anything was entered since."""
    owner = as_role("owner")
    for path in ("/", "/run/soda/108", "/people", "/batch", "/results", "/formula"):
        owner.get(path)
        asked: list[str] = []

        def heard(connection, cursor, statement, *rest, asked=asked):
            if statement.startswith("SELECT"):
                asked.append(statement)

        event.listen(bench_store.engine, "before_cursor_execute", heard)
        assert owner.get(path).status_code == 200
        event.remove(bench_store.engine, "before_cursor_execute", heard)
        assert len(asked) <= 6, (path, asked)
