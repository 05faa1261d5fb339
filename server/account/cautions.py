"""What is worth a second look about a lamp as it hangs: its papers, the room above, the rim.

Hanging heights of papers and room are the keeper's own statements; that little of the light of
a lamp beside the rim falls in is common practice, no published source.
"""

from dataclasses import dataclass

from server.wording import figures


@dataclass(frozen=True, kw_only=True)
class Hanging:
    """One lamp as it hangs or would hang, and what is stated about it.

    Lengths in cm; power 0–1; fluxes [µmol s⁻¹] at full power. lengths_cm: length and width of
    the tank. estimated: whether the flux was reckoned from watts.
    """

    name: str
    kind: str
    control: str
    x_cm: float
    y_cm: float
    height_cm: float
    power: float
    sides_cm: tuple[float, float]
    least_height_cm: float | None
    most_height_cm: float | None
    headroom_cm: float | None
    estimated: bool
    low_ppf_umol_s: float
    high_ppf_umol_s: float


def cautions(of: Hanging, unit: str) -> tuple[str, ...]:
    """Every caution about one lamp, each a sentence that names it."""
    found = (_papers(of, unit), _room(of, unit), _rim(of), _dimmed(of), _estimated(of))
    return tuple(words for words in found if words)


def _papers(of: Hanging, unit: str) -> str:
    height = figures.length(of.height_cm, unit)
    if of.least_height_cm is not None and of.height_cm < of.least_height_cm:
        least = figures.length(of.least_height_cm, unit)
        return f"{of.name} hangs at {height}, lower than the {least} its papers ask for."
    if of.most_height_cm is not None and of.height_cm > of.most_height_cm:
        most = figures.length(of.most_height_cm, unit)
        return f"{of.name} hangs at {height}, higher than the {most} its papers name."
    return ""


def _room(of: Hanging, unit: str) -> str:
    if of.headroom_cm is None or of.height_cm <= of.headroom_cm:
        return ""
    height, room = (figures.length(one, unit) for one in (of.height_cm, of.headroom_cm))
    return f"{of.name} hangs at {height}, but there is only {room} of room above the water."


def _rim(of: Hanging) -> str:
    length, width = of.sides_cm
    if 0 <= of.x_cm <= length and 0 <= of.y_cm <= width:
        return ""
    return f"The middle of {of.name} is outside the rim; much of its light will miss."


def _dimmed(of: Hanging) -> str:
    halide = of.kind == "metal_halide"
    if not 0 < of.power < 1 or not (of.control == "clock_switch" or halide):
        return ""
    why = "is a halide burner" if halide else "has only a clock switch"
    return (
        f"{of.name} {why}; make sure that it can really be dimmed to "
        f"{figures.percent(of.power)}. Raising it dims it, too."
    )


def _estimated(of: Hanging) -> str:
    if not of.estimated:
        return ""
    low, high = (figures.significant(one, 2) for one in (of.low_ppf_umol_s, of.high_ppf_umol_s))
    return (
        f"The light of {of.name} is estimated from its watts: {low} to {high} µmol s⁻¹ "
        "at full power."
    )
