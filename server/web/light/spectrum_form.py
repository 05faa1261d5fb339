"""What a visitor types into the spectrum calculator; the address carries it."""

from dataclasses import dataclass

from starlette.datastructures import QueryParams

from server.models import Member
from server.optics.spectrum import Spectrum
from server.optics.spectrum_record import spectrum_from
from server.optics.tint import TINTS, YELLOW_LIMITS_PER_M, Tint
from server.web.light.light_form import Record, light_fields, read_light, typed_in
from server.web.tanks.typed import Refused

LIGHT_COUNT = 3
DEPTH_LIMITS_CM = (1.0, 1000.0)
DEFAULTS: dict[str, str] = {
    **{name: "" for k in range(1, LIGHT_COUNT + 1) for name in light_fields(str(k))},
    "light1": "royal_blue",
    "share1": "60",
    "light2": "white_cool",
    "share2": "40",
    "share3": "",
    "water": "usual",
    "yellow": "",
    "depth": "30",
}


@dataclass(frozen=True)
class SpectrumTyped:
    """A light and the water it goes through."""

    spectrum: Spectrum
    tint: Tint
    depth_cm: float
    values: dict[str, str]
    unit: str


def read_spectrum(query: QueryParams, who: Member | None) -> SpectrumTyped | Refused:
    """The spectrum calculator's address."""
    typed = typed_in(query, who, DEFAULTS)
    parts: list[dict[str, object]] = []
    for k in range(1, LIGHT_COUNT + 1):
        record = read_light(typed, str(k), needed=k == 1)
        share = typed.number(
            f"share{k}", low=0, high=100, like="40", unit="%", needed=record is not None and k > 1
        )
        if record is not None:
            parts.append({"share": 100.0 if share is None else share, "spectrum": record})
    water = typed.choice("water", TINTS, otherwise="usual")
    yellow = typed.number(
        "yellow", low=0, high=YELLOW_LIMITS_PER_M[1], like="0.1", unit="per metre", needed=False
    )
    depth = typed.length("depth", low_cm=DEPTH_LIMITS_CM[0], high_cm=500, like_cm=30)
    spectrum = None if typed.errors else mixed(typed.errors, "light1", parts)
    if typed.errors or spectrum is None or depth is None:
        return typed.refused()
    tint = TINTS[water] if yellow is None else Tint(yellow_440_per_m=yellow)
    return SpectrumTyped(spectrum, tint, depth, typed.values, typed.unit)


def mixed(errors: dict[str, str], field: str, parts: list[Record]) -> Spectrum | None:
    """Several lights by their shares; what cannot be mixed stands beside the field."""
    try:
        if len(parts) == 1:
            return spectrum_from(parts[0]["spectrum"])
        return spectrum_from({"shape": "mix", "parts": parts}, name="the mix")
    except ValueError as wrong:
        errors[field] = f"{str(wrong)[:1].upper()}{str(wrong)[1:]}."
        return None
