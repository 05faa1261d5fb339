"""Choosing a light in a form: a ready shape, one colour, a white by blend, or an own table.

Every field name may carry a suffix, so that one form can hold several lights.
"""

from collections.abc import Sequence
from typing import Any

from server.optics.broken_file import BrokenFile
from server.optics.spectrum import Spectrum
from server.optics.spectrum_record import spectrum_from, table_record
from server.optics.spectrum_shapes import PEAK_LIMITS_NM, READY, WIDTH_LIMITS_NM
from server.web.fields import choice, lines, maybe, number, sentence, tick
from server.web.forms import Field, Filled

Record = dict[str, object]
Options = Sequence[tuple[str, str]]

OWN_LIGHTS = (
    ("gaussian", "One colour, by peak and width"),
    ("phosphor_white", "White LED, by blend"),
    ("table", "A table of my own"),
)
LIGHTS = tuple((shape.key, shape.name) for shape in READY) + OWN_LIGHTS
NONE = (("", "none"),)

PEAK = number(
    "peak", "Peak of one colour", PEAK_LIMITS_NM, like="450", unit="nm",
    where="In the LED's data sheet.",
)  # fmt: skip
WIDTH = number(
    "width", "Its width at half height", WIDTH_LIMITS_NM, like="20", unit="nm",
    hint="About 20 for most single-colour LEDs.",
)  # fmt: skip
BLUE_SHARE = number(
    "blue_share", "White by blend: blue pump's part of the energy", (2, 95), like="26", unit="%",
    hint="About 26 for cool white, 10 for warm white.",
)  # fmt: skip
PHOSPHOR = maybe(
    number("phosphor", "Peak of its phosphor", (500, 650), like="558", unit="nm",
           hint="Empty means 558.")
)  # fmt: skip
PHOSPHOR_WIDTH = maybe(
    number("phosphor_width", "Width of its phosphor", (40, 200), like="156", unit="nm",
           hint="Empty means 156.")
)  # fmt: skip
TABLE = lines(
    "table", "A table of two columns", most=8000,
    hint="One line each: wavelength in nm, then power, such as 450 0.8. Decimal comma or point.",
    extra={"rows": 4, "spellcheck": False},
)  # fmt: skip
PHOTONS = tick("photons", "The second column counts photons, not energy")
_OWN = (PEAK, WIDTH, BLUE_SHARE, PHOSPHOR, PHOSPHOR_WIDTH, TABLE, PHOTONS)


def kind_of_light(suffix: str = "", *, known: Options = LIGHTS, **told: Any) -> Field[str]:
    """The list a light is chosen from."""
    return choice(f"light{suffix}", told.pop("label", "Kind of light"), known, **told)


def light_fields(
    suffix: str = "", *, known: Options = LIGHTS, **told: Any
) -> tuple[Field[Any], ...]:
    """The fields of one light; those of another kind of light than the chosen one stay unread."""
    own = (one.named(suffix).but(needed=False) for one in _OWN)
    return (kind_of_light(suffix, known=known, **told), *own)


def read_light(form: Filled, suffix: str = "", *, known: Options = LIGHTS) -> Record | None:
    """The record of one light; None where none is chosen. What is wrong stands in the form."""
    chosen = form[kind_of_light(suffix, known=known)]
    if not chosen:
        return None
    if chosen == "gaussian":
        return {
            "shape": "gaussian",
            "peak_nm": form[PEAK.named(suffix)],
            "width_nm": form[WIDTH.named(suffix)],
        }
    if chosen == "phosphor_white":
        return {
            "shape": "phosphor_white",
            "blue_share": form[BLUE_SHARE.named(suffix)] / 100,
            "phosphor_nm": form[PHOSPHOR.named(suffix)] or 558.0,
            "phosphor_width_nm": form[PHOSPHOR_WIDTH.named(suffix)] or 156.0,
        }
    if chosen == "table":
        table, photons = TABLE.named(suffix), form[PHOTONS.named(suffix)]
        return read_table(form, table, form[table], photons=photons)
    return {"shape": "ready", "key": chosen}


def read_table(form: Filled, field: Field[Any], text: str, *, photons: bool) -> Record | None:
    """A two-column table; what is wrong stands beside the field, by line."""
    if not text:
        form.wrong(field, "Paste lines of wavelength in nm and power, such as 450 0.8.")
        return None
    try:
        return table_record(text, photons=photons)
    except BrokenFile as broken:
        form.wrong(field, sentence(broken))
        return None


def mixed(form: Filled, field: Field[Any] | str, parts: Sequence[Record]) -> Spectrum:
    """Several lights by their shares. Raises Refused for what cannot be mixed."""
    form.check()
    try:
        if len(parts) == 1:
            return spectrum_from(parts[0]["spectrum"])
        return spectrum_from({"shape": "mix", "parts": list(parts)}, name="the mix")
    except ValueError as wrong:
        raise form.refuse(field, sentence(wrong)) from wrong
