"""Choosing a light in a form: a ready shape, one colour, a white by blend, or an own table.

Every field name may carry a suffix, so that one form can hold several lights.
"""

from collections.abc import Sequence

from starlette.datastructures import FormData, QueryParams

from server.models import Member
from server.optics.broken_file import BrokenFile
from server.optics.spectrum_record import table_record
from server.optics.spectrum_shapes import PEAK_LIMITS_NM, READY, WIDTH_LIMITS_NM
from server.web.tanks.typed import TypedIn

Record = dict[str, object]

OWN_LIGHTS = (
    ("gaussian", "One colour, by peak and width"),
    ("phosphor_white", "White LED, by blend"),
    ("table", "A table of my own"),
)
LIGHTS = tuple((shape.key, shape.name) for shape in READY) + OWN_LIGHTS
FIELDS = ("light", "peak", "width", "blue_share", "phosphor", "phosphor_width", "table", "photons")
MOST_TABLE = 8000


def typed_in(query: QueryParams, who: Member | None, defaults: dict[str, str]) -> TypedIn:
    """An address being read; an empty one shows the worked example."""
    known = {name: query[name] for name in defaults if name in query}
    start = {} if known else defaults
    values = {**dict.fromkeys(defaults, ""), **start, **known}
    return TypedIn(FormData(list(values.items())), who.length_unit if who else "cm")


def light_fields(suffix: str = "") -> dict[str, str]:
    """Empty values of one light's fields."""
    return {f"{name}{suffix}": "" for name in FIELDS}


def read_light(
    typed: TypedIn,
    suffix: str = "",
    *,
    needed: bool = True,
    known: Sequence[tuple[str, str]] = LIGHTS,
) -> Record | None:
    """The record of one light; None where none is chosen, or where it was refused."""
    for name in FIELDS[1:-2]:  # kept as typed, also where another light is chosen
        typed.words(f"{name}{suffix}", most=20)
    table = typed.words(f"table{suffix}", most=MOST_TABLE)
    photons = typed.yes(f"photons{suffix}")
    keys = [key for key, _ in known]
    chosen = typed.choice(f"light{suffix}", keys, otherwise=keys[0] if needed else "")
    if not chosen:
        return None
    if chosen == "gaussian":
        return _gaussian(typed, suffix)
    if chosen == "phosphor_white":
        return _white(typed, suffix)
    if chosen == "table":
        return read_table(typed, f"table{suffix}", table, photons=photons)
    return {"shape": "ready", "key": chosen}


def read_table(typed: TypedIn, field: str, text: str, *, photons: bool) -> Record | None:
    """A two-column table; what is wrong stands beside the field, by line."""
    if not text:
        typed.errors[field] = "Paste lines of wavelength in nm and power, such as 450 0.8."
        return None
    try:
        return table_record(text, photons=photons)
    except BrokenFile as broken:
        typed.errors[field] = f"{str(broken)[:1].upper()}{str(broken)[1:]}."
        return None


def _gaussian(typed: TypedIn, suffix: str) -> Record:
    low, high = PEAK_LIMITS_NM
    narrow, wide = WIDTH_LIMITS_NM
    peak = typed.number(f"peak{suffix}", low=low, high=high, like="450", unit="nm")
    width = typed.number(f"width{suffix}", low=narrow, high=wide, like="20", unit="nm")
    return {"shape": "gaussian", "peak_nm": peak, "width_nm": width}


def _white(typed: TypedIn, suffix: str) -> Record:
    blue = typed.number(f"blue_share{suffix}", low=2, high=95, like="26", unit="%")
    hump = typed.number(f"phosphor{suffix}", low=500, high=650, like="558", unit="nm", needed=False)
    width = typed.number(
        f"phosphor_width{suffix}", low=40, high=200, like="156", unit="nm", needed=False
    )
    return {
        "shape": "phosphor_white",
        "blue_share": (blue or 26.0) / 100,
        "phosphor_nm": hump or 558.0,
        "phosphor_width_nm": width or 156.0,
    }
