"""Files as they were sent, and what a member said about reading them."""

import hashlib
import json
from collections.abc import Sequence
from contextlib import suppress
from datetime import UTC, datetime, timedelta

from sqlalchemy.exc import IntegrityError
from sqlmodel import Session, col, delete, func, select

from server.db import club_clock
from server.models import ColumnMapping, MeasurementSession, Upload
from server.surveys.table_words import ROLES, Meaning

WAITING_KEPT = timedelta(days=7)
WAITING_MOST = 10  # files of one member that wait for a word


def keep_upload(
    db: Session,
    *,
    tank_id: int,
    member_id: int,
    data: bytes,
    file_name: str,
    pasted: bool,
    session_words: str,
    read_as: str = "",
    session_id: int | None = None,
) -> Upload:
    """Keeps a file as it came. Without a session it waits for the member's word."""
    upload = Upload(
        tank_id=tank_id,
        member_id=member_id,
        session_id=session_id,
        file_name=file_name[:120],
        sha256=fingerprint(data),
        data=data,
        pasted=pasted,
        session_words=session_words,
        read_as=read_as,
        created_at=datetime.now(UTC),
    )
    db.add(upload)
    db.flush()
    _forget_old(db, member_id)
    return upload


def fingerprint(data: bytes) -> str:
    """SHA-256 by which the same file is recognised."""
    return hashlib.sha256(data).hexdigest()


def _forget_old(db: Session, member_id: int) -> None:
    """Files nobody agreed to go after a week, or when ten newer ones wait."""
    waiting = select(Upload.id, Upload.created_at).where(
        Upload.member_id == member_id, col(Upload.session_id).is_(None)
    )
    found = list(db.exec(waiting.order_by(col(Upload.id).desc())))
    oldest = club_clock.now(db) - WAITING_KEPT
    old = [id for i, (id, at) in enumerate(found) if i >= WAITING_MOST or at < oldest]
    if old:
        db.exec(delete(Upload).where(col(Upload.id).in_(old)))


def waiting_upload(
    db: Session, upload_id: int, member_id: int, *, to_store: bool = False
) -> Upload | None:
    """A member's own file that waits for their word. `to_store` keeps others from storing it
    until this transaction ends."""
    known = 0 < upload_id < 2**31
    upload = db.get(Upload, upload_id, with_for_update=to_store) if known else None
    if upload is None or upload.member_id != member_id or upload.session_id is not None:
        return None
    return upload


def keep_options(db: Session, upload_id: int, read_as: str) -> None:
    """How a waiting file is to be read."""
    upload = db.get_one(Upload, upload_id)
    upload.read_as = read_as
    db.add(upload)


def belongs_to(db: Session, upload: Upload, session: MeasurementSession) -> None:
    """The file waits no longer: its readings are stored."""
    upload.session_id = session.id
    db.add(upload)


def file_of(db: Session, session_id: int) -> Upload | None:
    """The file a session was read from."""
    return db.exec(select(Upload).where(Upload.session_id == session_id)).first()


def file_named(db: Session, session_id: int) -> tuple[str, bool, int] | None:
    """Name, whether it was pasted, and size of a session's file, without loading it."""
    named = select(Upload.file_name, Upload.pasted, func.length(Upload.data)).where(
        Upload.session_id == session_id
    )
    found = db.exec(named).first()
    return None if found is None else (found[0], found[1], found[2])


def sessions_from(db: Session, tank_id: int, data: bytes) -> list[MeasurementSession]:
    """Sessions of the tank that hold this very file already, latest first."""
    same = (
        select(MeasurementSession)
        .join(Upload, col(Upload.session_id) == col(MeasurementSession.id))
        .where(
            MeasurementSession.tank_id == tank_id,
            Upload.sha256 == fingerprint(data),
            col(MeasurementSession.removed_at).is_(None),
        )
        .order_by(col(MeasurementSession.id).desc())
    )
    return list(db.exec(same))


def drop_upload(db: Session, upload: Upload) -> None:
    """Forgets a file that waits; called when the member decides against it."""
    assert upload.session_id is None
    db.delete(upload)


# Columns mapped by hand


def remember_columns(
    db: Session, *, member_id: int, signature: str, columns: Sequence[Meaning]
) -> None:
    """Keeps how a member read columns with these headings."""
    row = _mapping(db, member_id, signature) or ColumnMapping(
        member_id=member_id, heading_hash=_heading_hash(signature), columns="", used_at=_now()
    )
    row.columns = columns_text(columns)
    row.used_at = _now()
    with suppress(IntegrityError), db.begin_nested():  # stored from another window just now
        db.add(row)


def remembered_columns(
    db: Session, *, member_id: int, signature: str
) -> tuple[Meaning, ...] | None:
    """How this member read such columns before; None when they never did."""
    row = _mapping(db, member_id, signature)
    return None if row is None else columns_from(row.columns)


def columns_text(columns: Sequence[Meaning]) -> str:
    """Columns as they are stored."""
    return json.dumps([[column.role, column.unit, column.series] for column in columns])


def columns_from(text: str) -> tuple[Meaning, ...]:
    """Stored columns as the reader takes them."""
    return tuple(
        Meaning(role if role in ROLES else None, unit, series)
        for role, unit, series in json.loads(text)
    )


def _mapping(db: Session, member_id: int, signature: str) -> ColumnMapping | None:
    same = select(ColumnMapping).where(
        ColumnMapping.member_id == member_id,
        ColumnMapping.heading_hash == _heading_hash(signature),
    )
    return db.exec(same).first()


def _heading_hash(signature: str) -> str:
    return hashlib.sha256(signature.encode()).hexdigest()


def _now() -> datetime:
    return datetime.now(UTC)
