"""What is told about shimmer: on its calculator page and on a lamp's page."""

from server.optics.emitters import Emitter
from server.optics.lamp import LampModel, Layout, lamp_emitters
from server.optics.shimmer import Ripple, Shimmer
from server.web.filters import length, percent

SURE = (
    "Worked out for one ripple at a time and for light straight from the lamp. Real surfaces carry "
    "many ripples, and light returned by walls and sand thins the contrast further. The words "
    "strong, soft and washed out are ours: 60 % and 25 % left."
)


def answer(found: Shimmer) -> str:
    return f"{percent(found.survives)} of a small lamp's shimmer is left: {found.word}."


def layout_emitters(layout: Layout, beam_deg: float, height_cm: float) -> tuple[Emitter, ...]:
    """A lamp of that layout over the origin; its flux does not matter to shimmer."""
    lamp = LampModel(kind="led_panel", beam_deg=beam_deg, ppf_umol_s=100.0, layout=layout)
    return lamp_emitters(lamp, x_cm=0.0, y_cm=0.0, height_cm=height_cm, power=1.0)


def facts(found: Shimmer, ripple: Ripple, layout: Layout, unit: str) -> tuple[tuple[str, str], ...]:
    along, across = layout.extent_cm
    return (
        ("Shimmer left", f"{percent(found.survives)} of what one small lamp would give here"),
        (
            "Contrast",
            f"{percent(found.contrast)} (standard deviation over mean) under ripples "
            f"{length(ripple.height_cm, unit, 2)} high",
        ),
        ("Lamp's size", f"{length(along, unit)} × {length(across, unit)}"),
        ("Ripple", f"{length(ripple.length_cm, unit)} from crest to crest"),
    )


def direction_rows(found: Shimmer) -> tuple[tuple[str, ...], ...]:
    return tuple(
        (_direction(one.direction_deg), percent(one.survives), percent(one.contrast))
        for one in found.by_direction
        if one.direction_deg % 45 == 0
    )


def _direction(degrees: float) -> str:
    if degrees == 0:
        return "along the lamp"
    return "across the lamp" if degrees == 90 else f"{degrees:g}° from along"
