"""The club's shelf of lamp models: what is stated about them, and where that comes from."""

from datetime import datetime

from sqlalchemy import CheckConstraint
from sqlmodel import Field, SQLModel

LAMP_KINDS = (
    "led_cluster",
    "led_panel",
    "led_bar",
    "fluorescent_tube",
    "metal_halide",
    "mixed",
)
DIMS = ("", "no", "steps", "smooth")
CONTROLS = ("by_hand", "clock_switch", "programs", "full")


class LampModel(SQLModel, table=True):
    """One model of lamp. Flux is stated, or empty and then estimated from the watts."""

    __table_args__ = (
        CheckConstraint(
            "kind IN ('led_cluster', 'led_panel', 'led_bar', "
            "'fluorescent_tube', 'metal_halide', 'mixed')",
            name="kind_known",
        ),
        CheckConstraint(
            "control IN ('by_hand', 'clock_switch', 'programs', 'full')", name="control_known"
        ),
        CheckConstraint("dims IN ('', 'no', 'steps', 'smooth')", name="dims_known"),
    )

    id: int = Field(default=None, primary_key=True)
    name: str = Field(max_length=80)
    kind: str = Field(max_length=24)
    beam_deg: float
    watts: float
    ppf_umol_s: float | None = None
    """Photon flux 400–700 nm at full power as stated; empty: estimate from watts and kind."""
    ppf_source: str = Field(default="", max_length=300)
    count_x: int = Field(default=1)
    """Emitters side by side along the lamp's long side."""
    count_y: int = Field(default=1)
    pitch_x_cm: float = Field(default=0.0)
    pitch_y_cm: float = Field(default=0.0)
    side_cm: float | None = None
    """Side of the square emitting face, where the emitters lie too close to tell apart."""
    tube_length_cm: float | None = None
    min_height_cm: float | None = None
    max_height_cm: float | None = None
    control: str = Field(default="full", max_length=16)
    dims: str = Field(default="", max_length=8)
    """How it dims: not at all, in steps, smoothly; empty: as its kind and control let it."""
    least_percent: float | None = None
    """Least level it can be set to, of its full light; empty: the usual one."""
    step_percent: float | None = None
    price: float | None = None
    intensity_file: bytes | None = None
    """Photometric file as uploaded (LM-63 or EULUMDAT); replaces the beam angle."""
    intensity_file_name: str = Field(default="", max_length=120)
    note: str = Field(default="", max_length=2000)
    created_by_id: int | None = Field(default=None, foreign_key="member.id")
    created_at: datetime
    merged_into_id: int | None = Field(default=None, foreign_key="lampmodel.id")
    """Set when a steward merged this double into another model."""


class LampChannel(SQLModel, table=True):
    """A group of emitters of a lamp that is dimmed together, with its own spectrum."""

    __table_args__ = (CheckConstraint("share > 0 AND share <= 1", name="share_part"),)

    id: int = Field(default=None, primary_key=True)
    lamp_model_id: int = Field(foreign_key="lampmodel.id", index=True)
    name: str = Field(max_length=40)
    share: float
    """Part of the lamp's photon flux at full power."""
    spectrum: str = Field(default="", max_length=20000)
    """JSON: a built-in shape with its numbers, or a table of wavelength and power."""
    beam_deg: float | None = None
    """Where this channel's lens differs from the lamp's."""
    count_x: int | None = None
    """Where this channel's emitters sit, when not where the lamp's do (tubes beside LEDs)."""
    count_y: int | None = None
    pitch_x_cm: float | None = None
    pitch_y_cm: float | None = None
    side_cm: float | None = None
    tube_length_cm: float | None = None
