"""A tank, what hangs over it at one time (a setup), and who lives in it."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint
from sqlmodel import Field, SQLModel

FLOORS = ("bare", "light_sand", "dark_sand", "rockwork")
WATERS = ("polished", "usual", "yellowed")


class Tank(SQLModel, table=True):
    """Inside measures of one tank. A wall is 'clear', 'black', or a diffuse albedo as text."""

    __table_args__ = (
        CheckConstraint("length_cm > 0 AND width_cm > 0 AND depth_cm > 0", name="size_positive"),
        CheckConstraint(
            "floor IN ('bare', 'light_sand', 'dark_sand', 'rockwork')", name="floor_known"
        ),
        CheckConstraint("water IN ('polished', 'usual', 'yellowed')", name="water_known"),
    )

    id: int = Field(default=None, primary_key=True)
    owner_id: int = Field(foreign_key="member.id", index=True)
    name: str = Field(max_length=80)
    length_cm: float
    width_cm: float
    depth_cm: float
    """Depth of the water."""
    wall_left: str = Field(default="clear", max_length=16)
    wall_right: str = Field(default="clear", max_length=16)
    wall_front: str = Field(default="clear", max_length=16)
    wall_back: str = Field(default="clear", max_length=16)
    floor: str = Field(default="light_sand", max_length=16)
    cover: bool = Field(default=False)
    water: str = Field(default="usual", max_length=16)
    headroom_cm: float | None = None
    """Free height above the water for a lamp, where the keeper stated it."""
    furnishing: str = Field(default="", max_length=20000)
    """JSON of `server.reef.furnishing`: rocks, rim, braces, lid, grown panes; empty: none."""
    shared: bool = Field(default=False, index=True)
    """Shown to the club."""
    note: str = Field(default="", max_length=2000)
    created_at: datetime
    archived_at: datetime | None = None


class Setup(SQLModel, table=True):
    """What is set on a tank from one day on. Changing it makes a new row; old ones stay.

    `state` 'hung' is or was over the water; 'plan' is drawn up and not hung yet.
    The current setup is the hung one with the latest (since, id).
    """

    __table_args__ = (CheckConstraint("state IN ('hung', 'plan')", name="state_known"),)

    id: int = Field(default=None, primary_key=True)
    tank_id: int = Field(foreign_key="tank.id", index=True)
    name: str = Field(default="", max_length=80)
    state: str = Field(default="hung", max_length=8)
    since: date
    reason: str = Field(default="", max_length=500)
    """Why the light was changed."""
    furnishing: str = Field(default="", max_length=20000)
    """The tank's furnishing while this hangs: a rock set or a pane wiped begins a new setup."""
    created_by_id: int | None = Field(default=None, foreign_key="member.id")
    created_at: datetime


class HungLamp(SQLModel, table=True):
    """One lamp of a setup: its middle over the tank, height of its emitting face, power."""

    __table_args__ = (
        CheckConstraint("height_cm > 0", name="height_positive"),
        CheckConstraint("power >= 0 AND power <= 1", name="power_share"),
        CheckConstraint("tilt_deg >= 0 AND tilt_deg <= 60", name="tilt_small"),
    )

    id: int = Field(default=None, primary_key=True)
    setup_id: int = Field(foreign_key="setup.id", index=True)
    lamp_model_id: int = Field(foreign_key="lampmodel.id", index=True)
    position: int = Field(default=0)
    """Order in which the lamps of a setup are listed."""
    x_cm: float
    y_cm: float
    height_cm: float
    power: float = Field(default=1.0)
    turned: bool = Field(default=False)
    """A quarter turn: the lamp's long side runs from front to back."""
    tilt_deg: float = Field(default=0.0)
    """Lean from straight down."""
    toward_deg: float = Field(default=0.0)
    """Where it leans: 0 toward the right wall, 90 toward the back."""
    channel_levels: str = Field(default="", max_length=500)
    """JSON object channel name -> level 0–1 where channels differ; empty: all at `power`."""


class Animal(SQLModel, table=True):
    """Who lives where, and the PPFD range it should get."""

    __table_args__ = (
        CheckConstraint("low_ppfd >= 0 AND high_ppfd > low_ppfd", name="range_rises"),
    )

    id: int = Field(default=None, primary_key=True)
    tank_id: int = Field(foreign_key="tank.id", index=True)
    name: str = Field(max_length=80)
    group: str = Field(max_length=40)
    """Key of the group in `server.dose.groups`."""
    x_cm: float
    y_cm: float
    depth_cm: float
    low_ppfd: float
    high_ppfd: float
    range_source: str = Field(default="", max_length=300)
    compensation_ppfd: float | None = None
    saturation_ppfd: float | None = None
    placed_on: date
    left_on: date | None = None
    note: str = Field(default="", max_length=500)
