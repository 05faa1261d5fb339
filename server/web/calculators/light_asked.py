"""A light as JSON addresses take it."""

from typing import Annotated

from pydantic import Field

from server.optics.spectrum import Spectrum
from server.optics.spectrum_record import spectrum_from
from server.web.problem import Refusal

NOT_TAKEN = "Some fields could not be taken."
SpectrumAsked = Annotated[
    dict[str, object],
    Field(
        description=(
            'The light: {"shape": "ready", "key": "royal_blue"}, {"shape": "gaussian", "peak_nm", '
            '"width_nm"}, {"shape": "phosphor_white", "blue_share", "phosphor_nm", '
            '"phosphor_width_nm"}, {"shape": "table", "wavelength_nm": […], "power": […]} or '
            '{"shape": "mix", "parts": [{"share", "spectrum"}]}'
        ),
        examples=[{"shape": "ready", "key": "royal_blue"}],
    ),
]


def light_of(record: dict[str, object]) -> Spectrum:
    """The light of a record. Raises Refusal."""
    try:
        return spectrum_from(record)
    except ValueError as wrong:
        raise Refusal(422, NOT_TAKEN, errors=[("spectrum", str(wrong))]) from wrong
