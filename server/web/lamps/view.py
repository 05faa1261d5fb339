"""The shelf's list, and the words of a lamp's figures."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.models import LampModel
from server.optics.efficacy import BY_KIND, efficacy_is_plausible
from server.optics.lamp import Kind
from server.web.filters import length, number, significant
from server.web.lamp_kinds import KIND_NAMES, rough

PER_PAGE = 50


@dataclass(frozen=True)
class ShelfLine:
    """One lamp of the list."""

    id: int
    name: str
    kind: str
    flux: str
    estimated: bool
    watts: str
    beam: str
    heights: str


@dataclass(frozen=True)
class ShelfView:
    """The list of the club's lamps."""

    lines: tuple[ShelfLine, ...]
    count: int
    page: int
    pages: int


def shelf_view(rows: Sequence[LampModel], unit: str, page: int) -> ShelfView:
    pages = max(1, -(-len(rows) // PER_PAGE))
    page = min(max(page, 1), pages)
    shown = rows[(page - 1) * PER_PAGE : page * PER_PAGE]
    return ShelfView(tuple(_line(row, unit) for row in shown), len(rows), page, pages)


def flux_words(row: LampModel) -> str:
    """The lamp's photon flux, stated or reckoned with its spread."""
    if row.ppf_umol_s is not None:
        return f"{significant(row.ppf_umol_s)} µmol s⁻¹"
    spread = BY_KIND[_kind(row)]
    low, high = (rough(one * row.watts) for one in (spread.low, spread.high))
    return f"about {rough(spread.typical * row.watts)} ({low} to {high}) µmol s⁻¹"


def flux_is_doubtful(row: LampModel) -> bool:
    """Whether the stated flux lies far from what lamps of its kind were measured at."""
    return row.ppf_umol_s is not None and not efficacy_is_plausible(
        _kind(row), row.ppf_umol_s, row.watts
    )


def watts_words(watts: float) -> str:
    return f"{number(watts, 0 if watts == int(watts) else 1)} W"


def heights_words(row: LampModel, unit: str) -> str:
    low, high = row.min_height_cm, row.max_height_cm
    if low is not None and high is not None:
        return f"{length(low, unit)} to {length(high, unit)}"
    if low is not None:
        return f"from {length(low, unit)}"
    return f"up to {length(high, unit)}" if high is not None else "not stated"


def beam_words(row: LampModel) -> str:
    if row.intensity_file:
        return "measured table"
    return f"{number(row.beam_deg)}°"


def _line(row: LampModel, unit: str) -> ShelfLine:
    return ShelfLine(
        id=row.id,
        name=row.name,
        kind=KIND_NAMES[row.kind],
        flux=flux_words(row),
        estimated=row.ppf_umol_s is None,
        watts=watts_words(row.watts),
        beam=beam_words(row),
        heights=heights_words(row, unit),
    )


def used_words(times: int) -> str:
    """What hangs on a change of a lamp that is in use."""
    if not times:
        return ""
    setups = "one setup" if times == 1 else f"{times} setups"
    return (
        f"This lamp hangs in {setups}. Their planned light follows what you change here; "
        "readings stay as they are."
    )


def _kind(row: LampModel) -> Kind:
    found: Kind = next(kind for kind in BY_KIND if kind == row.kind)
    return found
