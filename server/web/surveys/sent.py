"""Reading the fields of a table that a script sends; every wrong one is named at once."""

from datetime import date, timedelta
from typing import Any, Literal

from sqlmodel import Session
from starlette.datastructures import FormData, UploadFile

from server.db import meters, tanks
from server.models import Meter, Tank
from server.surveys.readings import FACTOR_LIMITS, LUX_LIMITS
from server.surveys.table_numbers import DecimalMark
from server.surveys.table_text import MAX_BYTES
from server.web import filters
from server.web.problem import Refusal
from server.web.surveys.form import file_name

LengthUnit = Literal["cm", "mm", "m", "in"]
LENGTHS: tuple[LengthUnit, ...] = ("cm", "mm", "m", "in")

FIELDS: dict[str, Any] = {
    "file": {"type": "string", "format": "binary", "description": "A table of readings."},
    "taken_on": {"type": "string", "format": "date", "description": "Today when left out."},
    "meter_id": {"type": "integer", "description": "Brings the meter's immersion factor."},
    "note": {"type": "string", "maxLength": 2000},
    "accept_partial": {
        "type": "boolean",
        "description": "Store the good rows although others were refused.",
    },
    "immersion_factor": {"type": "number"},
    "calibration_factor": {
        "type": "number",
        "description": "When left out: the one in force on that day, from the meter's book.",
    },
    "lux_per_ppfd": {"type": "number", "description": "For columns of lux."},
    "x_cm": {"type": "number", "description": "For a file without such a column."},
    "y_cm": {"type": "number"},
    "depth_cm": {"type": "number"},
    "decimal": {"type": "string", "enum": [".", ","]},
    "length_unit": {"type": "string", "enum": ["cm", "mm", "m", "in"]},
}


class Sent:
    """The fields of the request, read one by one; every wrong one is named at once."""

    def __init__(self, form: FormData, db: Session, tank: Tank, today: date) -> None:
        self.form = form
        self.errors: list[tuple[str, str]] = []
        self.errors += [
            (name, "is not known here; check its spelling or leave it out")
            for name in dict.fromkeys(form.keys())
            if name not in FIELDS
        ]
        self.taken_on = self._day(today)
        self.dated = bool(self._text("taken_on", 40))
        self.meter = self._meter(db)
        self.note = self._text("note", 2000)
        self.accept_partial = self._yes("accept_partial")
        own = self.meter.immersion_factor if self.meter else 1.0
        self.immersion = self._number("immersion_factor", FACTOR_LIMITS) or own
        self.calibration = self._number("calibration_factor", FACTOR_LIMITS)
        self.lux = self._number("lux_per_ppfd", LUX_LIMITS)
        self.x_cm = self._number("x_cm", (0.0, tank.length_cm))
        self.y_cm = self._number("y_cm", (0.0, tank.width_cm))
        self.depth_cm = self._number("depth_cm", (0.0, tank.depth_cm))
        self.decimal: DecimalMark | None = self._one_of("decimal", (".", ","))
        self.length_unit: LengthUnit = self._one_of("length_unit", LENGTHS) or "cm"
        self.data, self.file_name = self._file()
        setup = tanks.setup_on(db, tank.id, self.taken_on)
        self.setup_id = setup.id if setup else None
        if self.errors:
            raise Refusal(
                422, "Some fields could not be taken.", errors=self.errors, extra={"refused": []}
            )

    def _file(self) -> tuple[bytes, str]:
        sent = self.form.getlist("file")
        if len(sent) != 1 or not isinstance(sent[0], UploadFile):
            self.errors.append(("file", "is needed, once: send a table of readings"))
            return b"", ""
        data = sent[0].file.read(MAX_BYTES + 1)
        if len(data) > MAX_BYTES:
            raise Refusal(
                413,
                "The file is too large.",
                detail=f"At most {MAX_BYTES // 2**20} MiB can be sent at once.",
                errors=[("file", f"must be at most {MAX_BYTES // 2**20} MiB")],
            )
        return data, file_name(sent[0].filename)

    def _text(self, name: str, most: int) -> str:
        values = self.form.getlist(name)
        if not values:
            return ""
        if len(values) > 1 or not isinstance(values[0], str) or len(values[0]) > most:
            self.errors.append((name, f"must be one text of at most {most} characters"))
            return ""
        if "\x00" in values[0]:
            self.errors.append((name, "must not hold NUL characters"))
            return ""
        return values[0].strip()

    def _day(self, today: date) -> date:
        typed = self._text("taken_on", 40)
        if not typed:
            return today
        try:
            day = date.fromisoformat(typed)
        except ValueError:
            self.errors.append(("taken_on", "must be a date such as 2026-11-25"))
            return today
        if not date(1990, 1, 1) <= day <= today + timedelta(days=1):
            self.errors.append(("taken_on", f"must lie between 1990-01-01 and {today}"))
        return day

    def _meter(self, db: Session) -> Meter | None:
        typed = self._text("meter_id", 20)
        if not typed:
            return None
        number = int(typed) if typed.isascii() and typed.isdigit() else 0
        meter = meters.meter(db, number) if 0 < number < 2**31 else None
        if meter is None:
            self.errors.append(("meter_id", "must be the id of one of the club's meters"))
        return meter

    def _yes(self, name: str) -> bool:
        typed = self._text(name, 10).lower()
        if typed not in ("", "true", "false"):
            self.errors.append((name, "must be true or false"))
        return typed == "true"

    def _number(self, name: str, limits: tuple[float, float]) -> float | None:
        typed = self._text(name, 60)
        if not typed:
            return None
        try:
            value = filters.read_number(typed)
        except filters.NotANumber:
            self.errors.append((name, "must be one finite number"))
            return None
        if not limits[0] <= value <= limits[1]:
            self.errors.append((name, f"must lie between {limits[0]:g} and {limits[1]:g}"))
            return None
        return value

    def _one_of(self, name: str, known: tuple[str, ...]) -> Any:
        typed = self._text(name, 10)
        if typed and typed not in known:
            self.errors.append((name, f"must be one of {', '.join(known)}"))
            return None
        return typed or None
