"""Readings on the verdict page: against plan and neighbours, misfits, and those not used."""

from dataclasses import dataclass

import numpy as np

from server.account.sentences import place_words
from server.db.measured import Measured
from server.surveys import misfit
from server.web import filters


@dataclass(frozen=True, kw_only=True)
class MisfitRow:
    """A reading that does not fit, and the form that sets it aside."""

    words: str
    perhaps: str
    session_id: int
    reading_id: int
    number: str


@dataclass(frozen=True, kw_only=True)
class ReadingRow:
    """A reading against plan and neighbours, as the table shows it."""

    name: str
    where: str
    measured: str
    planned: str
    others: str
    off: str
    misfit: bool


def misfits(found: Measured, unit: str) -> tuple[MisfitRow, ...]:
    rows = []
    for one in misfit.misfits(found.map):
        row = found.row_of(one.reading.key)
        if row is None:
            continue
        rows.append(
            MisfitRow(
                words=one.words,
                perhaps=_perhaps(one, unit),
                session_id=row.session_id,
                reading_id=row.id,
                number=one.reading.name or f"Reading {one.number}",
            )
        )
    return tuple(rows)


def _perhaps(one: misfit.Misfit, unit: str) -> str:
    expected = (
        f"It says {filters.ppfd(one.reading.ppfd)}, and {filters.ppfd(one.expected_ppfd)} "
        "was to be expected."
    )
    if one.perhaps is None:
        return expected
    if one.cause is misfit.Cause.DEPTH:
        return f"{expected} It would fit {filters.length(one.perhaps, unit)} deep."
    return f"{expected} {filters.ppfd(one.perhaps)} would fit."


def not_used(found: Measured) -> str:
    shaded = len(found.map.set_aside)
    if not shaded:
        return ""
    return (
        f"{filters.count(shaded, 'reading')} marked as shaded by rock: "
        "they tell of one place, not of the lamps, and take no part in the map."
    )


def readings(found: Measured, unit: str) -> tuple[ReadingRow, ...]:
    used, told = found.map.used, found.map.left_out
    planned = np.exp(found.map.posterior.evidence.answers.log_plan)
    alone = len(used) < 2
    return tuple(
        ReadingRow(
            name=one.name or f"Reading {n + 1}",
            where=place_words((one.x_cm, one.y_cm, one.depth_cm), unit),
            measured=filters.ppfd(one.ppfd),
            planned=filters.ppfd(float(planned[n])),
            others="–" if alone else filters.ppfd(float(told.ppfd[n])),
            off="–" if alone else f"{filters.number(float(told.off_percent[n]))} %",
            misfit=n in found.map.wrong,
        )
        for n, one in enumerate(used)
    )


def typical(found: Measured) -> str:
    error = found.map.fit.typical_error_percent
    if error is None:
        return ""
    return (
        f"Left out one at a time, a reading is foretold by all the others to within "
        f"{filters.number(error, 1)} % (the middle one of all these errors)."
    )


def replaced(found: Measured) -> str:
    if not found.replaced:
        return ""
    days = " and ".join(filters.day(one.session.taken_on) for one in found.replaced)
    return f"The readings of {days} no longer hold and are left out of this map."
