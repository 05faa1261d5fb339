"""What is believed about a plan and a meter before anything is measured.

Every number is a standard deviation of a normal belief about a logarithm or a length unless it
says otherwise. Where no published figure exists the words "common practice" or "our judgement"
say so; the readings overrule all of them.
"""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Surprise:
    """One belief about how far the tank departs from the model, with its weight."""

    remainder: float  # log light left over once every known number is put right
    range_cm: float  # how far such a departure reaches
    reading: float  # relative error of one reading
    lamp: float  # log output of one lamp against its neighbours
    wall: float  # share of a wall's returned light that dirt or film takes
    weight: float


@dataclass(frozen=True, kw_only=True)
class Priors:
    """The beliefs in one place, so that a test or a doubting member can change them."""

    # Output is printed, estimated from watts, or dimmed on an unknown curve: ±30 % (our judgement).
    output: float = 0.30
    # Stated lens angles are rounded, and hoods widen or cut them (our judgement).
    beam_deg: float = 11.0
    # Clean to yellowed water differs by about this much over PAR, per metre of path (our
    # judgement from the pure-water curve of Pope & Fry 1997 and the coloured-water examples).
    absorption_floor_per_m: float = 0.08
    absorption_share: float = 0.5
    # A lamp hung by hand over a moving water level (common practice, no published source).
    height_cm: float = 1.0
    # A sensor held on a wand by hand (common practice, no published source).
    place_cm: float = 1.0
    # The least step and zero error of a club's meter (our judgement).
    floor_ppfd: float = 1.0
    # How often a reading is simply wrong, and how wrong it then is.
    wrong_share: float = 0.03
    wrong: float = 0.7
    surprises: tuple[Surprise, ...] = ()

    def absorption_per_m(self, stated_per_m: float) -> float:
        """Uncertainty of the stated absorption [m⁻¹]."""
        return float(
            (self.absorption_floor_per_m**2 + (self.absorption_share * stated_per_m) ** 2) ** 0.5
        )


def surprises(width_cm: float) -> tuple[Surprise, ...]:
    """The grid of beliefs about departure: size × reach × reading error × lamps and walls.

    width_cm: the tank's shorter side, which sets how far a departure can reach.
    """
    found = []
    for remainder, w_remainder in ((0.004, 0.35), (0.015, 0.35), (0.04, 0.2), (0.10, 0.1)):
        ranges = (
            ((width_cm * 0.5, 1.0),)
            if remainder < 0.01
            else ((width_cm * 0.3, 0.5), (width_cm * 0.8, 0.5))
        )
        for range_cm, w_range in ranges:
            for reading, w_reading in ((0.025, 0.3), (0.05, 0.5), (0.09, 0.19), (0.25, 0.01)):
                for lamp, wall, w_defects in ((0.02, 0.04, 0.6), (0.08, 0.30, 0.4)):
                    found.append(
                        Surprise(
                            remainder=remainder,
                            range_cm=range_cm,
                            reading=reading,
                            lamp=lamp,
                            wall=wall,
                            weight=w_remainder * w_range * w_reading * w_defects,
                        )
                    )
    return tuple(found)
