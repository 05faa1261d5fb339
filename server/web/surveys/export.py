"""A session as a CSV file that any spreadsheet opens and this program reads back."""

from collections.abc import Iterator, Sequence

from server.db.surveys import clock_of
from server.models import LoggedLight, MeasurementSession, Meter, Reading, Tank
from server.surveys.table_write import csv_text, harmless, number_text
from server.web import filters

POINT_HEADER = (
    "x_cm",
    "y_cm",
    "depth_cm",
    "ppfd_as_read",
    "ppfd_corrected",
    "note",
    "shaded",
    "struck_out_because",
    "as_typed",
    "as_typed_unit",
    "line_of_file",
)
LOG_HEADER = ("time", "ppfd_as_read", "ppfd_corrected")


def description(
    session: MeasurementSession, tank: Tank, meter: Meter | None, club: str
) -> tuple[str, ...]:
    """Lines over the header: what was measured, with what, and the units."""
    return (
        f"Readings in {tank.name}, {filters.day(session.taken_on)}, {club}",
        f"Meter: {meter.name if meter else 'not stated'}",
        f"Corrected = as read × immersion factor {session.immersion_factor:g} × calibration "
        f"factor {session.calibration_factor:g}",
        "Lengths in cm: x from the left wall, y from the front wall, depth below the surface. "
        "PPFD in µmol m⁻² s⁻¹, 400–700 nm",
        *((f"Note: {session.note}",) if session.note else ()),
    )


def points_csv(words: Sequence[str], readings: Sequence[Reading]) -> str:
    """Every reading, struck-out ones with their reason."""
    return csv_text(POINT_HEADER, _point_rows(readings), description=words)


def _point_rows(readings: Sequence[Reading]) -> Iterator[Sequence[str]]:
    for one in readings:
        numbers = (one.x_cm, one.y_cm, one.depth_cm, one.raw_ppfd, one.ppfd)
        yield (
            *(number_text(value) for value in numbers),
            harmless(one.note),
            "yes" if one.shaded else "",
            harmless(one.struck_reason or ""),
            harmless(one.typed_light),
            one.light_unit,
            str(one.row or ""),
        )


def log_csv(words: Sequence[str], lines: Sequence[LoggedLight]) -> str:
    """Every line of a log."""
    rows = (
        (
            clock_of(line).isoformat(sep=" "),
            number_text(line.raw_ppfd),
            number_text(line.ppfd),
        )
        for line in lines
    )
    return csv_text(LOG_HEADER, rows, description=words)
