"""One value typed by the tank, from a plain form or from the phone's list of unsent ones."""

import math
import re
from dataclasses import dataclass
from typing import Any

from server.db.surveys import Entry
from server.models import PlannedPoint, Tank
from server.surveys.understood import MAX_PPFD
from server.web import filters
from server.web.ask import Asked
from server.web.fields import length
from server.web.forms import Field, Filled, Form, Wrong

_CLIENT_ID = re.compile(r"[A-Za-z0-9-]{8,64}")
MOST_ENTRIES = 500
Place = tuple[float, float, float]


@dataclass(frozen=True)
class Skip:
    """A planned point left out."""

    client_id: str
    point_id: int
    place: tuple[float, float, float]


@dataclass(frozen=True)
class NotTaken:
    """An entry that cannot be stored, and why; the phone keeps it and shows the reason."""

    client_id: str
    reason: str


def _value(typed: str, _: Filled | None = None) -> float:
    """The light as typed."""
    try:
        value = filters.read_number(typed)
    except filters.NotANumber as wrong:
        raise Wrong("Type the number the meter shows, such as 120.") from wrong
    if not 0 <= value <= MAX_PPFD:
        raise Wrong(f"This must lie from 0 to {MAX_PPFD:,.0f} µmol m⁻² s⁻¹.")
    return value


VALUE: Field[float] = Field(name="value", label="Reading", read=_value, otherwise=0.0, most=60)


def place_fields(tank: Tank) -> tuple[Field[float], ...]:
    """A place of the member's own choosing, inside the tank."""
    return tuple(
        length(name, label, (0.0, extent), like_cm=round(extent / 2))
        for name, label, extent in (
            ("x", "From the left wall", tank.length_cm),
            ("y", "From the front wall", tank.width_cm),
            ("depth", "Depth", tank.depth_cm),
        )
    )


def entry_form(tank: Tank) -> Form:
    return Form(VALUE, *place_fields(tank))


def read_place(form: Filled, tank: Tank) -> Place | None:
    """The place; None, with the errors in the form, where it lies nowhere in the tank."""
    x, y, depth = (form[one] for one in place_fields(tank))
    return None if form.errors else (x, y, depth)


def read_entry(ask: Asked, form: Filled, point: PlannedPoint | None, place: Place | None) -> Entry:
    """A value from the plain form, at a planned point or at a place of one's own. Raises
    Refused."""
    if place is None:
        raise form.refuse(VALUE, "Say where this was read.")
    value = form[VALUE]
    client_id = ask.text("client_id", most=64)
    if not _CLIENT_ID.fullmatch(client_id):
        form.wrong(VALUE, "This form is too old; open the page again.")
    form.check()
    return Entry(
        client_id=client_id,
        x_cm=place[0],
        y_cm=place[1],
        depth_cm=place[2],
        raw_ppfd=value,
        typed_light=form.text("value"),
        point_id=point.id if point else None,
        shaded=ask.text("shaded") == "yes",
        instead_of=ask.text("instead_of", most=64) or None,
    )


def read_sent(told: Any, tank: Tank) -> list[Entry | Skip | NotTaken] | str:
    """Entries from a phone; each is judged by itself so that one bad never holds up the rest."""
    entries = told.get("entries") if isinstance(told, dict) else None
    if not isinstance(entries, list) or len(entries) > MOST_ENTRIES:
        return f"Send a list of at most {MOST_ENTRIES} entries."
    return [_sent(one, tank) for one in entries]


def _sent(one: Any, tank: Tank) -> Entry | Skip | NotTaken:
    if not isinstance(one, dict):
        return NotTaken("", "is not an entry")
    client_id = one.get("client_id")
    if not isinstance(client_id, str) or not _CLIENT_ID.fullmatch(client_id):
        return NotTaken(str(client_id)[:64], "has no client_id")
    point_id = one.get("point_id")
    point = point_id if isinstance(point_id, int) and not isinstance(point_id, bool) else None
    place = _inside(one.get("at"), tank)
    if place is None:
        return NotTaken(client_id, "The place lies outside the tank.")
    if one.get("skip") is True:
        return Skip(client_id, point or 0, place)
    typed = one.get("value")
    try:
        value = _value(_text(typed)[:60])
    except Wrong as wrong:
        return NotTaken(client_id, str(wrong))
    instead_of = one.get("instead_of")
    return Entry(
        client_id=client_id,
        x_cm=place[0],
        y_cm=place[1],
        depth_cm=place[2],
        raw_ppfd=value,
        typed_light=str(typed)[:60],
        point_id=point,
        shaded=one.get("shaded") is True,
        instead_of=instead_of if isinstance(instead_of, str) else None,
    )


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise Wrong("The value is missing.")
    return value


def _inside(at: Any, tank: Tank) -> tuple[float, float, float] | None:
    extents = (tank.length_cm, tank.width_cm, tank.depth_cm)
    if not isinstance(at, list) or len(at) != 3:
        return None
    if any(isinstance(v, bool) or not isinstance(v, int | float) or abs(v) > 1e6 for v in at):
        return None
    place = tuple(float(v) for v in at)
    inside = all(
        math.isfinite(v) and 0 <= v <= extent for v, extent in zip(place, extents, strict=True)
    )
    return (place[0], place[1], place[2]) if inside else None
