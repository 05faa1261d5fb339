"""The made-up tanks: glass, light old and new, animals."""

import json
from dataclasses import dataclass
from datetime import UTC, date, datetime, time

from sqlmodel import Session

from server.db import tanks
from server.db.demo import sheets
from server.dose.groups import BY_KEY
from server.models import Animal, HungLamp, Setup, Tank
from server.reef.furnishing import Furnishing, Rock, as_text


@dataclass(frozen=True, kw_only=True)
class Ids:
    """What was filled, by the sheets' keys."""

    tanks: dict[str, int]
    setups: dict[str, int]
    lamps: dict[str, int]


def fill(db: Session, *, members: dict[str, int], lamps: dict[str, int], today: date) -> Ids:
    """Tanks, setups with their lamps, animals."""
    tank_ids = {row["key"]: _add(db, _tank(row, members, today)) for row in sheets.rows("tanks")}
    owners = {row["key"]: members[row["owner"]] for row in sheets.rows("tanks")}
    setup_ids = {
        row["key"]: _add(db, _setup(db, row, tank_ids, owners, today))
        for row in sheets.rows("setups")
    }
    _hang(db, setup_ids, lamps)
    db.add_all(_animal(row, tank_ids, today) for row in sheets.rows("animals"))
    db.flush()
    return Ids(tanks=tank_ids, setups=setup_ids, lamps=lamps)


def _add(db: Session, row: Tank | Setup) -> int:
    db.add(row)
    db.flush()
    return row.id


def _tank(row: sheets.Row, members: dict[str, int], today: date) -> Tank:
    words = tanks.TankWords(
        name=row["name"],
        length_cm=sheets.sure_number(row, "length_cm"),
        width_cm=sheets.sure_number(row, "width_cm"),
        depth_cm=sheets.sure_number(row, "depth_cm"),
        wall_left=row["wall_left"],
        wall_right=row["wall_right"],
        wall_front=row["wall_front"],
        wall_back=row["wall_back"],
        floor=row["floor"],
        cover=sheets.yes(row, "cover"),
        water=row["water"],
        headroom_cm=sheets.number(row, "headroom_cm"),
        shared=sheets.yes(row, "shared"),
        note=row["note"],
    )
    return Tank(
        owner_id=members[row["owner"]],
        created_at=noon(sheets.days_ago(row, "days_ago", today)),
        furnishing=as_text(Furnishing(rocks=_rocks(row["key"]))),
        **vars(words),
    )


def _rocks(key: str) -> tuple[Rock, ...]:
    return tuple(
        Rock(
            left_cm=sheets.sure_number(row, "left_cm"),
            right_cm=sheets.sure_number(row, "right_cm"),
            front_cm=sheets.sure_number(row, "front_cm"),
            back_cm=sheets.sure_number(row, "back_cm"),
            top_cm=sheets.sure_number(row, "top_cm"),
            bottom_cm=sheets.number(row, "bottom_cm"),
        )
        for row in sheets.rows("rocks")
        if row["tank"] == key
    )


def _setup(
    db: Session, row: sheets.Row, tank_ids: dict[str, int], owners: dict[str, int], today: date
) -> Setup:
    since = sheets.days_ago(row, "days_ago", today)
    return Setup(
        tank_id=tank_ids[row["tank"]],
        name=row["name"],
        state=row["state"],
        since=since,
        reason=row["reason"],
        furnishing=db.get_one(Tank, tank_ids[row["tank"]]).furnishing,
        created_by_id=owners[row["tank"]],
        created_at=noon(since),
    )


def _hang(db: Session, setup_ids: dict[str, int], lamps: dict[str, int]) -> None:
    position: dict[str, int] = {}
    for row in sheets.rows("hung_lamps"):
        setup = row["setup"]
        db.add(
            HungLamp(
                setup_id=setup_ids[setup],
                lamp_model_id=lamps[row["lamp"]],
                position=position.get(setup, 0),
                x_cm=sheets.sure_number(row, "x_cm"),
                y_cm=sheets.sure_number(row, "y_cm"),
                height_cm=sheets.sure_number(row, "height_cm"),
                power=sheets.sure_number(row, "power_percent") / 100,
                turned=sheets.yes(row, "turned"),
                channel_levels=_levels(row["levels"]),
            )
        )
        position[setup] = position.get(setup, 0) + 1
    db.flush()


def _levels(cell: str) -> str:
    """'red=40' as the column keeps it."""
    pairs = (part.split("=") for part in cell.split("|") if part)
    levels = {name: float(percent) / 100 for name, percent in pairs}
    return json.dumps(levels) if levels else ""


def _animal(row: sheets.Row, tank_ids: dict[str, int], today: date) -> Animal:
    group = BY_KEY[row["group"]]
    low, high = sheets.number(row, "low_ppfd"), sheets.number(row, "high_ppfd")
    return Animal(
        tank_id=tank_ids[row["tank"]],
        name=row["name"],
        group=group.key,
        x_cm=sheets.sure_number(row, "x_cm"),
        y_cm=sheets.sure_number(row, "y_cm"),
        depth_cm=sheets.sure_number(row, "depth_cm"),
        low_ppfd=group.low_ppfd if low is None else low,
        high_ppfd=group.high_ppfd if high is None else high,
        range_source=row["range_source"] or group.start_basis,
        placed_on=sheets.days_ago(row, "days_ago", today),
        left_on=sheets.days_ago(row, "left_days_ago", today) if row["left_days_ago"] else None,
        note=row["note"],
    )


def noon(day: date) -> datetime:
    """A moment on that day, for rows that tell when they were written."""
    return datetime.combine(day, time(12), tzinfo=UTC)
