"""What a member states about a measurement session, and why a reading is struck out."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from starlette.datastructures import UploadFile

from server.db.surveys import SessionWords
from server.models import Meter, MeterCalibration, Setup, Tank
from server.surveys.readings import FACTOR_LIMITS, LUX_LIMITS
from server.surveys.table_text import MAX_BYTES
from server.web import filters
from server.web.ask import Asked
from server.web.factor_words import meter_words
from server.web.fields import choice, day, file, length, lines, maybe, number
from server.web.forms import Field, Filled, Form

IMMERSION = maybe(
    number("immersion_factor", "Immersion factor", FACTOR_LIMITS, like="1.3",
           hint="Empty: the one of the chosen meter. 1 when the meter is set to water and applies "
           "it itself.", where="On the sensor's papers, often 1.1 to 1.4.")
)  # fmt: skip
CALIBRATION = maybe(
    number("calibration_factor", "Calibration factor", FACTOR_LIMITS, like="1.05",
           hint="Empty: the one in force on that day, as the meter's own page says; 1 where it "
           "says none. What a check against a trusted sensor found.")
)  # fmt: skip
LUX = maybe(
    number("lux_per_ppfd", "Lux per µmol m⁻² s⁻¹", LUX_LIMITS, like="60",
           hint="Only for readings in lux. It depends on the lamp's colours: about 54 for "
           "daylight, much less for blue lamps.",
           where="The calculator of units gives it for a lamp.")
)  # fmt: skip
NOTE = lines("note", "Note", most=2000, extra={"rows": 3})
FILE = file(
    "file", "File", extra={"accept": ".csv,.tsv,.txt,text/csv,text/plain"},
    hint="CSV or text as your meter or spreadsheet saves it, up to 8 MB.",
)  # fmt: skip
PASTED = lines(
    "pasted", "Or paste the rows here", most=400_000, extra={"rows": 5, "spellcheck": False},
    hint="With their headings, straight from the spreadsheet.",
)  # fmt: skip
MORE = (
    "setup_id", "immersion_factor", "calibration_factor", "lux_per_ppfd", "note", "sensor_x",
    "sensor_y", "sensor_depth",
)  # fmt: skip
"""Fields that a new session folds away."""


@dataclass(frozen=True)
class SessionForm:
    """The form of one tank's session: its fields know the tank, its setups and the meters."""

    tank: Tank
    setups: Sequence[Setup]
    meters: Sequence[tuple[Meter, MeterCalibration | None]]
    today: date

    @property
    def taken_on(self) -> Field[date | None]:
        latest = self.today + timedelta(days=1)
        return maybe(day("taken_on", "Measured on", latest=latest, like=self.today))

    @property
    def meter(self) -> Field[str]:
        known = ((str(one.id), meter_words(one, factor)) for one, factor in self.meters)
        return choice("meter_id", "Meter", (("", "another meter"), *known))

    @property
    def setup(self) -> Field[str]:
        known = ((str(one.id), setup_words(one)) for one in self.setups)
        first = ("", "the one that hung on that day")
        return choice("setup_id", "Light it was measured under", (first, *known))

    @property
    def sensor(self) -> tuple[Field[float | None], ...]:
        tank = self.tank
        return (
            _place("sensor_x", "From the left wall", tank.length_cm),
            _place("sensor_y", "From the front wall", tank.width_cm),
            _place("sensor_depth", "Depth", tank.depth_cm),
        )

    @property
    def form(self) -> Form:
        return Form(
            self.taken_on, self.meter, self.setup, IMMERSION, CALIBRATION, LUX, NOTE, *self.sensor,
            FILE, PASTED,
        )  # fmt: skip

    @property
    def has_light(self) -> bool:
        return any(one.state == "hung" for one in self.setups)


def _place(name: str, label: str, extent_cm: float) -> Field[float | None]:
    return maybe(length(name, label, (0.0, extent_cm), like_cm=extent_cm / 2))


def setup_words(setup: Setup) -> str:
    """A setup by its name or its day."""
    since = f"since {filters.day(setup.since)}"
    return f"{setup.name}, {since}" if setup.name else f"the light {since}"


def values_of(words: SessionWords, *, in_force: float) -> dict[str, str]:
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
    }


def lengths_of(words: SessionWords) -> dict[str, float | None]:
    return {
        "sensor_x": words.sensor_x_cm,
        "sensor_y": words.sensor_y_cm,
        "sensor_depth": words.sensor_depth_cm,
    }


def read_session(known: SessionForm, form: Filled) -> SessionWords:
    """The session's words; errors stay in the form. The setup left open is the one that hung on
    that day."""
    taken_on = form[known.taken_on] or known.today
    meter, setup, immersion = form[known.meter], form[known.setup], form[IMMERSION]
    own = next((m.immersion_factor for m, _ in known.meters if str(m.id) == meter), 1.0)
    x, y, depth = (form[one] for one in known.sensor)
    return SessionWords(
        taken_on=taken_on,
        setup_id=int(setup) if setup else _hung_on(known.setups, taken_on),
        meter_id=int(meter) if meter else None,
        immersion_factor=own if immersion is None else immersion,
        calibration_factor=form[CALIBRATION],
        lux_per_ppfd=form[LUX],
        sensor_x_cm=x,
        sensor_y_cm=y,
        sensor_depth_cm=depth,
        note=form[NOTE],
    )


def _hung_on(setups: Sequence[Setup], day: date) -> int | None:
    hung = [s for s in setups if s.state == "hung" and s.since <= day]
    return max(hung, key=lambda s: (s.since, s.id)).id if hung else None


@dataclass(frozen=True)
class SentTable:
    """A file or pasted text as it came."""

    data: bytes
    file_name: str
    pasted: bool


def read_table(ask: Asked) -> SentTable | str:
    """The file or the pasted text; a sentence when there is neither, or both, or too much."""
    pasted = ask.form.get("pasted")
    words = pasted if isinstance(pasted, str) and pasted.strip() else ""
    files = [one for one in ask.form.getlist("file") if isinstance(one, UploadFile)]
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
