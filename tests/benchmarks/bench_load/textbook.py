"""The endpoint that a first lesson on FastAPI with SQLModel would write, as durable as ours.

``python textbook.py PORT FILE``: a plain function, a session for each request, the reading and its audit row in one
transaction, ``refresh``, the default pool, ``synchronous=FULL``. It checks nobody's session, role, key or value.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from typing import Annotated

import uvicorn
from fastapi import Depends, FastAPI, Form
from sqlalchemy import event
from sqlmodel import Field, Session, SQLModel, create_engine


class TextbookReading(SQLModel, table=True):
    id: int | None = Field(default=None, primary_key=True)
    run: str = Field(index=True)
    response: str
    piece: int
    value: float
    at: str


class TextbookAudit(SQLModel, table=True):
    id: int | None = Field(default=None, primary_key=True)
    at: str
    action: str
    new: str


PORT, PATH = int(sys.argv[1]), sys.argv[2]
engine = create_engine(f"sqlite:///{PATH}", connect_args={"check_same_thread": False, "timeout": 60})
app = FastAPI()


@event.listens_for(engine, "connect")
def full(connection, record):
    connection.execute("PRAGMA synchronous=FULL")


def new_session() -> Iterator[Session]:
    with Session(engine) as made:
        yield made


@app.post("/run/{run}")
def add(
    run: str,
    response: Annotated[str, Form()],
    piece: Annotated[int, Form()],
    value: Annotated[float, Form()],
    session: Annotated[Session, Depends(new_session)],
) -> TextbookReading:
    at = datetime.now(UTC).isoformat()
    reading = TextbookReading(run=run, response=response, piece=piece, value=value, at=at)
    session.add(reading)
    session.add(TextbookAudit(at=at, action="record run", new=reading.model_dump_json()))
    session.commit()
    session.refresh(reading)
    return reading


if __name__ == "__main__":
    SQLModel.metadata.create_all(engine)
    uvicorn.run(app, port=PORT, log_level="warning", access_log=False)
