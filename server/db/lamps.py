"""The club's shelf of lamp models: adding, changing, merging, and the channels of a lamp."""

import json
from collections.abc import Sequence
from dataclasses import dataclass, fields
from datetime import UTC, datetime
from typing import Any

from sqlmodel import Session, col, func, select

from server.models import HungLamp, LampChannel, LampModel
from server.optics.lamp import Layout


@dataclass(frozen=True, kw_only=True)
class LampWords:
    """What is stated of a lamp; what `LampModel` keeps of its form."""

    name: str
    kind: str
    beam_deg: float
    watts: float
    ppf_umol_s: float | None
    ppf_source: str
    layout: Layout
    min_height_cm: float | None
    max_height_cm: float | None
    control: str
    dims: str
    least_percent: float | None
    step_percent: float | None
    price: float | None
    note: str


@dataclass(frozen=True, kw_only=True)
class ChannelWords:
    """What is stated of a channel; without a layout it sits where the lamp's emitters do."""

    name: str
    share: float
    spectrum: str
    beam_deg: float | None
    layout: Layout | None = None


def lamp(db: Session, lamp_id: int) -> LampModel | None:
    """One lamp model, also one that was merged away; None where there is none."""
    return db.get(LampModel, lamp_id) if 0 < lamp_id < 2**31 else None


def channels_of(db: Session, lamp_id: int) -> list[LampChannel]:
    """A lamp's channels in the order they were added."""
    rows = select(LampChannel).where(LampChannel.lamp_model_id == lamp_id)
    return list(db.exec(rows.order_by(col(LampChannel.id))))


def add_lamp(db: Session, words: LampWords, *, by_id: int) -> LampModel:
    row = LampModel(**_columns(words), created_by_id=by_id, created_at=datetime.now(UTC))
    db.add(row)
    db.flush()
    return row


def change_lamp(db: Session, lamp_id: int, words: LampWords) -> None:
    row = db.get_one(LampModel, lamp_id)
    row.sqlmodel_update(_columns(words))
    db.add(row)


def set_file(db: Session, lamp_id: int, *, name: str, raw: bytes | None) -> None:
    """Keeps a photometric file with the lamp, or takes it away."""
    row = db.get_one(LampModel, lamp_id)
    row.intensity_file, row.intensity_file_name = raw, name if raw else ""
    db.add(row)


def channel(db: Session, lamp_id: int, channel_id: int) -> LampChannel | None:
    """A channel of that lamp; None where there is none."""
    row = db.get(LampChannel, channel_id) if 0 < channel_id < 2**31 else None
    return row if row is not None and row.lamp_model_id == lamp_id else None


def add_channel(db: Session, lamp_id: int, words: ChannelWords) -> None:
    db.add(LampChannel(lamp_model_id=lamp_id, **_columns(words)))


def change_channel(db: Session, channel_id: int, words: ChannelWords) -> None:
    """Levels that setups keep under the channel's name follow a new name."""
    row = db.get_one(LampChannel, channel_id)
    if row.name != words.name:
        _rename_levels(db, row.lamp_model_id, row.name, words.name)
    row.sqlmodel_update(_columns(words))
    db.add(row)


def _rename_levels(db: Session, lamp_id: int, old: str, new: str) -> None:
    for hung in db.exec(select(HungLamp).where(HungLamp.lamp_model_id == lamp_id)):
        levels = json.loads(hung.channel_levels or "{}")
        if old in levels:
            levels[new] = levels.pop(old)
            hung.channel_levels = json.dumps(levels, ensure_ascii=False)
            db.add(hung)


def remove_channel(db: Session, channel_id: int) -> None:
    db.delete(db.get_one(LampChannel, channel_id))


def times_hung(db: Session, lamp_id: int) -> int:
    """In how many setups, past and present, the lamp hangs."""
    rows = select(func.count(func.distinct(HungLamp.setup_id))).where(
        HungLamp.lamp_model_id == lamp_id
    )
    return int(db.exec(rows).one())


def named(db: Session, name: str, *, but: int | None = None) -> LampModel | None:
    """A lamp on the shelf that already has this name, upper or lower case."""
    rows = select(LampModel).where(
        func.lower(LampModel.name) == name.lower(), col(LampModel.merged_into_id).is_(None)
    )
    return next((row for row in db.exec(rows) if row.id != but), None)


def merge(db: Session, lamp_id: int, into_id: int) -> None:
    """A double becomes the other lamp: setups keep their row and find the other through it.

    Doubles that were merged into this one before follow along, so no chain grows.
    """
    row = db.get_one(LampModel, lamp_id)
    row.merged_into_id = into_id
    db.add(row)
    for earlier in _merged_into(db, lamp_id):
        earlier.merged_into_id = into_id
        db.add(earlier)


def _columns(words: LampWords | ChannelWords) -> dict[str, Any]:
    """Column values; the layout lies in six of them, all empty where there is none."""
    values = {name: getattr(words, name) for name in words.__dataclass_fields__ if name != "layout"}
    names = [column.name for column in fields(Layout)]
    return values | {name: getattr(words.layout, name, None) for name in names}


def _merged_into(db: Session, lamp_id: int) -> Sequence[LampModel]:
    return db.exec(select(LampModel).where(LampModel.merged_into_id == lamp_id)).all()
