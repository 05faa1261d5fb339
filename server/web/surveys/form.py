"""What a member states about a measurement session, and why a reading is struck out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from starlette.datastructures import FormData, UploadFile

from server.db.surveys import SessionWords
from server.models import Member, Meter, Setup, Tank
from server.surveys.readings import FACTOR_LIMITS
from server.surveys.table_text import MAX_BYTES
from server.web.signed_in import text
from server.web.tanks.typed import Refused, TypedIn, shown_length

LUX_LIMITS = (5.0, 500.0)  # lux per µmol m⁻² s⁻¹: deep violet to lime green
FIELDS = (
    "taken_on",
    "setup_id",
    "meter_id",
    "immersion_factor",
    "calibration_factor",
    "lux_per_ppfd",
    "sensor_x",
    "sensor_y",
    "sensor_depth",
    "note",
    "pasted",
)


@dataclass(frozen=True)
class SentTable:
    """A file or pasted text as it came."""

    data: bytes
    file_name: str
    pasted: bool


def values_at_start(today: date, meter: Meter | None) -> dict[str, str]:
    """A new session's form, with the meter the member has at home."""
    start = {"taken_on": today.isoformat(), "meter_id": str(meter.id) if meter else ""}
    return dict.fromkeys(FIELDS, "") | start


def values_of(words: SessionWords, unit: str, *, in_force: float) -> dict[str, str]:
    """A stored session as its form shows it; the calibration in force stays unsaid, so that it
    follows another day or meter."""
    calibration = words.calibration_factor
    return {
        "taken_on": words.taken_on.isoformat(),
        "setup_id": str(words.setup_id or ""),
        "meter_id": str(words.meter_id or ""),
        "immersion_factor": f"{words.immersion_factor:g}",
        "calibration_factor": "" if calibration in (None, in_force) else f"{calibration:g}",
        "lux_per_ppfd": f"{words.lux_per_ppfd:g}" if words.lux_per_ppfd else "",
        "note": words.note,
        "sensor_x": _length(words.sensor_x_cm, unit),
        "sensor_y": _length(words.sensor_y_cm, unit),
        "sensor_depth": _length(words.sensor_depth_cm, unit),
    }


def _length(value_cm: float | None, unit: str) -> str:
    return "" if value_cm is None else shown_length(value_cm, unit)


def read_session(
    form: FormData,
    who: Member,
    tank: Tank,
    *,
    today: date,
    setups: Sequence[Setup],
    meters: Sequence[Meter],
    was: SessionWords | None = None,
) -> SessionWords | Refused:
    """The session's words. The setup left open is the one that hung on that day."""
    typed = TypedIn(form, who.length_unit)
    taken_on = typed.day("taken_on", otherwise=today, latest=today + timedelta(days=1))
    meter = typed.choice("meter_id", [str(m.id) for m in meters], otherwise="")
    setup = typed.choice("setup_id", [str(s.id) for s in setups], otherwise="")
    own = next((m.immersion_factor for m in meters if str(m.id) == meter), 1.0)
    immersion = _factor(typed, "immersion_factor", "1.3")
    calibration = _factor(typed, "calibration_factor", "1.05")
    lux = typed.number(
        "lux_per_ppfd", low=LUX_LIMITS[0], high=LUX_LIMITS[1], like="60", needed=False
    )
    words = SessionWords(
        taken_on=taken_on,
        setup_id=int(setup) if setup else _hung_on(setups, taken_on),
        meter_id=int(meter) if meter else None,
        immersion_factor=own if immersion is None else immersion,
        calibration_factor=calibration,
        lux_per_ppfd=lux,
        sensor_x_cm=_place(typed, "sensor_x", tank.length_cm, was.sensor_x_cm if was else None),
        sensor_y_cm=_place(typed, "sensor_y", tank.width_cm, was.sensor_y_cm if was else None),
        sensor_depth_cm=_place(
            typed, "sensor_depth", tank.depth_cm, was.sensor_depth_cm if was else None
        ),
        note=typed.words("note", most=2000),
    )
    return typed.refused() if typed.errors else words


def _factor(typed: TypedIn, name: str, like: str) -> float | None:
    return typed.number(name, low=FACTOR_LIMITS[0], high=FACTOR_LIMITS[1], like=like, needed=False)


def _place(typed: TypedIn, name: str, extent_cm: float, was_cm: float | None) -> float | None:
    return typed.length(
        name, low_cm=0.0, high_cm=extent_cm, like_cm=extent_cm / 2, needed=False, was_cm=was_cm
    )


def _hung_on(setups: Sequence[Setup], day: date) -> int | None:
    hung = [s for s in setups if s.state == "hung" and s.since <= day]
    return max(hung, key=lambda s: (s.since, s.id)).id if hung else None


def read_table(form: FormData) -> SentTable | str:
    """The file or the pasted text; a sentence when there is neither, or both, or too much."""
    pasted = form.get("pasted")
    words = pasted if isinstance(pasted, str) and pasted.strip() else ""
    files = [one for one in form.getlist("file") if isinstance(one, UploadFile)]
    sent = next((one for one in files if one.filename or one.size), None)
    if sent is not None and words:
        return "Send a file or paste a table, not both."
    if sent is not None:
        data = sent.file.read(MAX_BYTES + 1)
        return SentTable(data=data, file_name=file_name(sent.filename), pasted=False)
    if words:
        return SentTable(data=words.encode(), file_name="", pasted=True)
    return "Choose a file, or paste the table from your spreadsheet."


def file_name(sent: str | None) -> str:
    """The name a file came under, as plain words: no path, nothing unprintable."""
    last = (sent or "").replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c for c in last if c.isprintable())[:120] or "readings.csv"


def read_reason(form: FormData) -> str:
    """Why a reading is struck out; said for the member when they say nothing."""
    return text(form, "reason", most=300) or "no reason given"
