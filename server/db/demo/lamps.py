"""The made-up shelf of lamps."""

import json

from sqlmodel import Session

from server.db.demo import sheets
from server.db.members import now
from server.models import LampChannel, LampModel


def fill(db: Session, *, by_id: int) -> dict[str, int]:
    """Every lamp with its channels; gives their ids by key."""
    ids: dict[str, int] = {}
    for row in sheets.rows("lamps"):
        model = _model(row, by_id)
        db.add(model)
        db.flush()
        ids[row["key"]] = model.id
    for row in sheets.rows("lamp_channels"):
        db.add(_channel(row, ids[row["lamp"]]))
    db.flush()
    return ids


def _model(row: sheets.Row, by_id: int) -> LampModel:
    return LampModel(
        name=row["name"],
        kind=row["kind"],
        beam_deg=sheets.sure_number(row, "beam_deg"),
        watts=sheets.sure_number(row, "watts"),
        ppf_umol_s=sheets.number(row, "ppf_umol_s"),
        ppf_source=row["ppf_source"],
        count_x=int(row["count_x"]),
        count_y=int(row["count_y"]),
        pitch_x_cm=sheets.sure_number(row, "pitch_x_cm"),
        pitch_y_cm=sheets.sure_number(row, "pitch_y_cm"),
        side_cm=sheets.number(row, "side_cm"),
        tube_length_cm=sheets.number(row, "tube_length_cm"),
        min_height_cm=sheets.number(row, "min_height_cm"),
        max_height_cm=sheets.number(row, "max_height_cm"),
        control=row["control"],
        dims=row["dims"],
        least_percent=sheets.number(row, "least_percent"),
        step_percent=sheets.number(row, "step_percent"),
        price=sheets.number(row, "price"),
        note=row["note"],
        created_by_id=by_id,
        created_at=now(),
    )


def _channel(row: sheets.Row, lamp_id: int) -> LampChannel:
    return LampChannel(
        lamp_model_id=lamp_id,
        name=row["name"],
        share=sheets.sure_number(row, "share"),
        spectrum=json.dumps({"shape": "ready", "key": row["spectrum"]}),
        beam_deg=sheets.number(row, "beam_deg"),
        count_x=int(row["count_x"]) if row["count_x"] else None,
        count_y=int(row["count_y"]) if row["count_y"] else None,
        pitch_x_cm=sheets.number(row, "pitch_x_cm"),
        pitch_y_cm=sheets.number(row, "pitch_y_cm"),
        side_cm=sheets.number(row, "side_cm"),
        tube_length_cm=sheets.number(row, "tube_length_cm"),
    )
