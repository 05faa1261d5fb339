"""What the shelf's list and the forms of lamps show."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.models import LampChannel, LampModel, Member
from server.optics.efficacy import BY_KIND, efficacy_is_plausible
from server.optics.lamp import Kind
from server.web.filters import length, number, significant
from server.web.lamps.form import (
    AS_STORED,
    CHANNEL_LAYOUTS,
    CONTROL_NAMES,
    EMPTY,
    EMPTY_CHANNEL,
    channel_values,
    values_of,
)
from server.web.light.layout_form import LAYOUTS
from server.web.light.light_form import LIGHTS
from server.web.light.watts_view import KIND_NAMES, KINDS, rough
from server.web.tanks.typed import Refused, merged

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


@dataclass(frozen=True)
class LampForm:
    """A lamp's form, new or changed."""

    title: str
    action: str
    back: str
    values: dict[str, str]
    errors: dict[str, str]
    unit: str
    used: str = ""
    kinds: tuple[tuple[str, str], ...] = KINDS
    layouts: tuple[tuple[str, str], ...] = LAYOUTS
    controls: tuple[tuple[str, str], ...] = tuple(CONTROL_NAMES.items())


@dataclass(frozen=True)
class ChannelForm:
    """A channel's form."""

    title: str
    action: str
    lamp_id: int
    lamp_name: str
    values: dict[str, str]
    errors: dict[str, str]
    unit: str
    lights: tuple[tuple[str, str], ...]
    remove: str = ""
    layouts: tuple[tuple[str, str], ...] = CHANNEL_LAYOUTS


@dataclass(frozen=True)
class LampFileForm:
    """The form for a lamp's photometric file."""

    lamp_id: int
    lamp_name: str
    errors: dict[str, str]
    stored: str


def shelf_view(rows: Sequence[LampModel], unit: str, page: int) -> ShelfView:
    pages = max(1, -(-len(rows) // PER_PAGE))
    page = min(max(page, 1), pages)
    shown = rows[(page - 1) * PER_PAGE : page * PER_PAGE]
    return ShelfView(tuple(_line(row, unit) for row in shown), len(rows), page, pages)


def lamp_form(
    who: Member, row: LampModel | None, refused: Refused | None = None, *, times: int = 0
) -> LampForm:
    values = EMPTY if row is None else values_of(row, who.length_unit)
    return LampForm(
        title="Add a lamp to the shelf" if row is None else f"Change {row.name}",
        action="/lamps/new" if row is None else f"/lamps/{row.id}/edit",
        back="/lamps" if row is None else f"/lamps/{row.id}",
        values=merged(values, refused),
        errors=dict(refused.errors) if refused else {},
        unit=who.length_unit,
        used=_used(times),
    )


def channel_form(
    who: Member, lamp: LampModel, row: LampChannel | None, refused: Refused | None = None
) -> ChannelForm:
    values = EMPTY_CHANNEL if row is None else channel_values(row, who.length_unit)
    return ChannelForm(
        title=f"Add a channel to {lamp.name}" if row is None else f"Change channel {row.name}",
        action=f"/lamps/{lamp.id}/channels/{'new' if row is None else row.id}",
        lamp_id=lamp.id,
        lamp_name=lamp.name,
        values=merged(values, refused),
        errors=dict(refused.errors) if refused else {},
        unit=who.length_unit,
        lights=LIGHTS if row is None else (*LIGHTS, AS_STORED),
        remove="" if row is None else f"/lamps/{lamp.id}/channels/{row.id}/remove",
    )


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


def _used(times: int) -> str:
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
