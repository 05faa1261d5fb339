"""What a member types about a lamp and about one of its channels."""

import json
from collections.abc import Mapping

from starlette.datastructures import FormData

from server.db.lamps import ChannelWords, LampWords
from server.models import LampChannel, LampModel, Member
from server.models.lamp import CONTROLS, LAMP_KINDS
from server.optics.broken_file import BrokenFile
from server.optics.lamp import LIMITS
from server.optics.spectrum_record import spectrum_from, table_record
from server.optics.spectrum_shapes import READY_BY_KEY
from server.web import filters
from server.web.light.layout_form import FIELDS as LAYOUT_FIELDS
from server.web.light.layout_form import LAYOUTS, layout_values, read_layout
from server.web.light.light_form import LIGHTS, light_fields, read_light
from server.web.tanks.typed import Refused, TypedIn, shown_length, stored_length

CONTROL_NAMES = {
    "by_hand": "by hand: plugged in and out",
    "clock_switch": "clock switch: on and off at set times",
    "programs": "built-in programs",
    "full": "full control of times and levels",
}
CHANNEL_LAYOUTS = (("", "the same places as the lamp's"), *LAYOUTS)
AS_STORED = ("stored", "As it is stored now")
MOST_SPECTRUM = 20_000

EMPTY: dict[str, str] = {
    "name": "",
    "kind": "led_panel",
    "watts": "",
    "ppf": "",
    "ppf_source": "",
    "beam": "",
    **dict.fromkeys(LAYOUT_FIELDS, ""),
    "layout": "grid",
    "min_height": "",
    "max_height": "",
    "control": "full",
    "price": "",
    "note": "",
}
EMPTY_CHANNEL: dict[str, str] = {
    "name": "",
    "share": "",
    **light_fields(),
    "light": "royal_blue",
    "beam": "",
    **dict.fromkeys(LAYOUT_FIELDS, ""),
}


def values_of(row: LampModel, unit: str) -> dict[str, str]:
    """A stored lamp as its form shows it."""
    return {
        "name": row.name,
        "kind": row.kind,
        "watts": _plain(row.watts),
        "ppf": _plain(row.ppf_umol_s),
        "ppf_source": row.ppf_source,
        "beam": _plain(row.beam_deg),
        **layout_values(row, unit),
        "min_height": "" if row.min_height_cm is None else shown_length(row.min_height_cm, unit),
        "max_height": "" if row.max_height_cm is None else shown_length(row.max_height_cm, unit),
        "control": row.control,
        "price": _plain(row.price),
        "note": row.note,
    }


def read_lamp(form: FormData, who: Member, *, was: LampModel | None = None) -> LampWords | Refused:
    """A new lamp, or a stored one changed."""
    typed = TypedIn(form, who.length_unit)
    name = typed.words("name", most=80, missing="Give the lamp the name members know it by.")
    kind = typed.choice("kind", LAMP_KINDS, otherwise="led_panel")
    watts = _number(typed, "watts", "watts", like="150", unit="W")
    ppf = _number(typed, "ppf", "ppf_umol_s", like="250", unit="µmol s⁻¹", needed=False)
    source = typed.words("ppf_source", most=300)
    beam = _number(typed, "beam", "beam_deg", like="90", unit="degrees")
    layout = read_layout(typed, was=was)
    lowest = _height(typed, "min_height", was)
    highest = _height(typed, "max_height", was)
    if lowest is not None and highest is not None and lowest > highest and not typed.errors:
        typed.errors["max_height"] = "The greatest height must not lie below the least."
    control = typed.choice("control", CONTROLS, otherwise="full")
    price = _number(typed, "price", "price", like="300", needed=False)
    note = typed.words("note", most=2000)
    if typed.errors or layout is None or watts is None or beam is None:
        return typed.refused()
    return LampWords(
        name=name,
        kind=kind,
        beam_deg=beam,
        watts=watts,
        ppf_umol_s=ppf,
        ppf_source=source,
        layout=layout,
        min_height_cm=lowest,
        max_height_cm=highest,
        control=control,
        price=price,
        note=note,
    )


def channel_values(row: LampChannel, unit: str) -> dict[str, str]:
    """A stored channel as its form shows it."""
    places = layout_values(row, unit) if row.count_x is not None else {}
    return {
        **EMPTY_CHANNEL,
        "name": row.name,
        "share": filters.significant(100 * row.share, 4),
        **_light_values(row.spectrum),
        "beam": _plain(row.beam_deg),
        **places,
    }


def read_channel(
    form: FormData, who: Member, *, file: bytes, was: LampChannel | None = None
) -> ChannelWords | Refused:
    """A channel; a sent file of two columns takes the place of the chosen light."""
    typed = TypedIn(form, who.length_unit)
    name = typed.words("name", most=40, missing="Give the channel a name, such as blue.")
    share = typed.number("share", low=0.01, high=100, like="60", unit="%")
    beam = _number(typed, "beam", "beam_deg", like="60", unit="degrees", needed=False)
    layout = None
    if typed.choice("layout", [key for key, _ in CHANNEL_LAYOUTS], otherwise=""):
        layout = read_layout(typed, was=was)
    spectrum = _spectrum(typed, file, was)
    if typed.errors or share is None or spectrum is None:
        return typed.refused()
    return ChannelWords(
        name=name, share=share / 100, spectrum=spectrum, beam_deg=beam, layout=layout
    )


def _spectrum(typed: TypedIn, file: bytes, was: LampChannel | None) -> str | None:
    """The record as stored; None where it was refused."""
    if file:
        return _from_file(typed, file)
    known = (*LIGHTS, AS_STORED) if was is not None else LIGHTS
    if was is not None and typed.form.get("light") == "stored":
        for field in light_fields():
            typed.words(field, most=MOST_SPECTRUM)
        return was.spectrum
    record = read_light(typed, known=known)
    if record is None:
        return None
    try:
        spectrum_from(record)
    except ValueError as wrong:
        typed.errors["light"] = f"{str(wrong)[:1].upper()}{str(wrong)[1:]}."
        return None
    return _kept(typed, "light", record)


def _from_file(typed: TypedIn, file: bytes) -> str | None:
    for field in light_fields():
        typed.words(field, most=MOST_SPECTRUM)
    try:
        text = file.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = file.decode("latin-1")
    try:
        record = table_record(text, photons=typed.values["photons"] == "yes")
    except BrokenFile as broken:
        typed.errors["spectrum_file"] = f"{str(broken)[:1].upper()}{str(broken)[1:]}."
        return None
    return _kept(typed, "spectrum_file", record)


def _kept(typed: TypedIn, field: str, record: Mapping[str, object]) -> str | None:
    words = json.dumps(record, separators=(",", ":"))
    if len(words) > MOST_SPECTRUM:
        typed.errors[field] = "This table is too fine to keep; give it a row every nanometre."
        return None
    return words


def _light_values(spectrum: str) -> dict[str, str]:
    """A stored record as the light's fields show it; what they cannot show stays as stored."""
    record = json.loads(spectrum) if spectrum else {}
    shape = record.get("shape")
    if shape == "ready" and record.get("key") in READY_BY_KEY:
        return {"light": record["key"]}
    if shape == "gaussian":
        return {
            "light": "gaussian",
            "peak": _plain(record["peak_nm"]),
            "width": _plain(record["width_nm"]),
        }
    if shape == "phosphor_white":
        return {
            "light": "phosphor_white",
            "blue_share": _plain(round(100 * record["blue_share"], 3)),
            "phosphor": _plain(record.get("phosphor_nm")),
            "phosphor_width": _plain(record.get("phosphor_width_nm")),
        }
    return {"light": "stored"}


def _number(
    typed: TypedIn, name: str, limit: str, *, like: str, unit: str = "", needed: bool = True
) -> float | None:
    low, high = LIMITS[limit]
    return typed.number(name, low=low, high=high, like=like, unit=unit, needed=needed)


def _height(typed: TypedIn, name: str, was: LampModel | None) -> float | None:
    low, high = LIMITS["height_cm"]
    return typed.length(
        name,
        low_cm=low,
        high_cm=high,
        like_cm=30,
        needed=False,
        was_cm=None if was is None else _stored(was, f"{name}_cm"),
    )


def _stored(row: LampModel, column: str) -> float | None:
    return None if getattr(row, column) is None else stored_length(row, column)


def _plain(value: float | None) -> str:
    return "" if value is None else f"{value:.10g}"
