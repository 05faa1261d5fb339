"""What is believed about a plan and a meter before anything is measured.

Every number is a standard deviation of a normal belief about a logarithm or a length unless it
says otherwise. Where no published figure exists the words "common practice" or "our judgement"
say so; the readings overrule all of them. What may be broken is told in `stories` and `shade`;
here is only what is usual in a tank that is as planned.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, kw_only=True)
class Surprise:
    """One belief about how far the tank departs from the model, with its weight."""

    remainder: float  # log light left over once every known number is put right
    range_cm: float  # how far such a departure reaches
    reading: float  # relative error of one reading
    weight: float


@dataclass(frozen=True, kw_only=True)
class Priors:
    """The beliefs in one place, so that a test or a doubting member can change them."""

    # Half of all plans are told with care: a lens angle from a data sheet, the water's tint known,
    # heights measured. The others are rough (our judgement; the readings tell which).
    careful: float = 0.5
    careful_beam_deg: float = 2.0
    careful_share: float = 0.2  # of the rough sizes below, but for the output
    # Output is printed, estimated from watts, or dimmed on an unknown curve: ±30 % (our judgement).
    output: float = 0.30
    # Lamps of one model beside each other: bins of chips, hours run (our judgement).
    lamp: float = 0.04
    # Light a cleaned pane fails to return (our judgement); a grown one is a story of its own.
    wall: float = 0.06
    # Stated lens angles are rounded, and hoods widen or cut them (our judgement).
    beam_deg: float = 11.0
    # The angle of two wings about the middle of what such lenses have (our judgement).
    wing_deg: float = 9.0
    # Clean to yellowed water differs by about this much over PAR, per metre of path (our
    # judgement from the pure-water curve of Pope & Fry 1997 and the coloured-water examples).
    absorption_floor_per_m: float = 0.08
    absorption_share: float = 0.5
    # A lamp hung by hand over a moving water level (common practice, no published source).
    height_cm: float = 1.0
    # A sensor held on a wand by hand (common practice, no published source).
    place_cm: float = 0.8
    # The least step and zero error of a club's meter (our judgement).
    floor_ppfd: float = 1.0
    # How often a reading is simply wrong (a slipped digit, another depth), and how wrong then.
    wrong_share: float = 0.02
    wrong: float = 0.7
    surprises: tuple[Surprise, ...] = ()

    def absorption_per_m(self, stated_per_m: float) -> float:
        """Uncertainty of the stated absorption [m⁻¹]."""
        return float(
            (self.absorption_floor_per_m**2 + (self.absorption_share * stated_per_m) ** 2) ** 0.5
        )

    def size(self, column: str, stated_per_m: float, *, careful: bool = False) -> float:
        """Standard deviation of one correction by the name of its column; 0 if it is no suspect."""
        care = self.careful_share if careful else 1.0
        sizes = {
            "output": self.output,
            "lamp": care * self.lamp,
            "absorption": care * self.absorption_per_m(stated_per_m),
            "rise": care * self.height_cm,
            "wall": care * self.wall,
        }
        return sizes.get(column.split()[0], 0.0)


MOST_FACTOR_DOUBT = 1.0
"""A meter whose factor is in doubt by more than itself tells nothing."""


@dataclass(frozen=True, kw_only=True)
class Meters:
    """Relative standard uncertainty of the whole factor of every meter, by its key.

    Everything that scales all readings of a meter alike: calibration, immersion, spectral
    response. Meters that are not named get `unnamed`.
    """

    unnamed: float = 0.0
    named: Mapping[str, float] = field(default_factory=dict)

    @property
    def any(self) -> bool:
        """Whether any factor is in doubt."""
        return self.unnamed > 0 or any(doubt > 0 for doubt in self.named.values())

    def of(self, key: str) -> float:
        return self.named.get(key, self.unnamed)


def surprises(width_cm: float) -> tuple[Surprise, ...]:
    """The grid of beliefs about departure: size × reach × reading error.

    width_cm: the tank's shorter side, which sets how far a departure can reach.
    """
    found = []
    for remainder, w_remainder in ((0.004, 0.78), (0.015, 0.16), (0.04, 0.045), (0.10, 0.015)):
        ranges = (
            ((width_cm * 0.5, 1.0),)
            if remainder < 0.01
            else ((width_cm * 0.3, 0.5), (width_cm * 0.8, 0.5))
        )
        for range_cm, w_range in ranges:
            for reading, w_reading in ((0.025, 0.3), (0.045, 0.5), (0.08, 0.2)):
                found.append(
                    Surprise(
                        remainder=remainder,
                        range_cm=range_cm,
                        reading=reading,
                        weight=w_remainder * w_range * w_reading,
                    )
                )
    return tuple(found)


def few_surprises(width_cm: float) -> tuple[Surprise, ...]:
    """Three of them, for a first look at many suspects."""
    rough = ((0.004, 0.5, 0.035, 0.5), (0.015, 0.8, 0.05, 0.35), (0.06, 0.4, 0.05, 0.15))
    return tuple(
        Surprise(remainder=size, range_cm=width_cm * reach, reading=reading, weight=weight)
        for size, reach, reading, weight in rough
    )
