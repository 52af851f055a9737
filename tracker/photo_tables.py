"""What does the record keep of a photo?

Two tables, so that a page which says that there is a photo reads none of its bytes. What a
camera sent is never kept: ``content`` is the picture as it was encoded anew. Both only grow; a
photo that was taken back is a row with ``void`` set, which has no content of its own. The bytes of
a photo may be removed when its erasure is written, and the database itself refuses it before.
"""

from __future__ import annotations

from sqlalchemy import CheckConstraint, Index, LargeBinary
from sqlmodel import Field, SQLModel


class Photo(SQLModel, table=True):
    """A photo of a bake or a piece; ``width`` and ``height`` in pixels, ``sha256`` of the content."""

    __tablename__ = "photo"
    __table_args__ = (
        CheckConstraint("width BETWEEN 1 AND 10000 AND height BETWEEN 1 AND 10000", name="sides_range"),
        CheckConstraint("length(sha256) = 64", name="hash_whole"),
        CheckConstraint("replaces_id IS NULL OR length(reason) > 0", name="reason_given"),
        CheckConstraint("void = (replaces_id IS NOT NULL)", name="void_replaces"),
        Index("photo_of_bake", "bake_id"),
    )
    id: int | None = Field(default=None, primary_key=True)
    bake_id: int = Field(foreign_key="bake.id")
    piece_id: int | None = Field(default=None, foreign_key="piece.id")
    width: int
    height: int
    sha256: str
    words: str = ""
    person_id: int = Field(foreign_key="person.id")
    at: str
    void: bool = False
    replaces_id: int | None = Field(default=None, foreign_key="photo.id", unique=True)
    reason: str = ""


class PhotoContent(SQLModel, table=True):
    """The JPEG itself; its audit entry holds its hash."""

    __tablename__ = "photo_content"
    __table_args__ = (CheckConstraint("length(content) > 0", name="content_given"),)
    id: int | None = Field(default=None, primary_key=True)
    photo_id: int = Field(foreign_key="photo.id", unique=True)
    content: bytes = Field(sa_type=LargeBinary)


class PhotoErasure(SQLModel, table=True):
    """The bytes of a photo were removed on purpose: by whom, when and why."""

    __tablename__ = "photo_erasure"
    __table_args__ = (CheckConstraint("length(reason) > 0", name="reason_given"),)
    id: int | None = Field(default=None, primary_key=True)
    photo_id: int = Field(foreign_key="photo.id", unique=True)
    reason: str
    person_id: int = Field(foreign_key="person.id")
    at: str
