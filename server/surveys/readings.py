"""Readings: the sensor's factors, several readings at one point, values that surprise.

A raw value is what the meter showed, turned to µmol m⁻² s⁻¹. The corrected value is the raw one
times immersion factor times calibration factor, and this module is the only place where the
two are multiplied.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from server.surveys.table_numbers import EXACT

# What one reading is worth before the file itself says anything: five percent, as if seen in
# four repeats. Common practice for a hand-held sensor, no published source; repeats take over.
PRIOR_RELATIVE_ERROR = 0.05
PRIOR_REPEATS = 4
FLOOR_PPFD = 1.0  # the last digit of a hand-held meter
ONE_POINT_CM = 1.5  # readings nearer than this are readings of one point

FACTOR_LIMITS = (0.2, 5.0)
LUX_LIMITS = (5.0, 500.0)  # lux per µmol m⁻² s⁻¹: deep violet to lime green


@dataclass(frozen=True, kw_only=True)
class SensorFactors:
    """What the raw value is multiplied by. Both are 1 when the meter applies them itself.

    `immersion`: a sensor calibrated in air reads low under water, because light leaves its
    diffuser more easily; makers print a factor of about 1.1 to 1.4. `calibration`: from a
    comparison with a sensor one trusts.
    """

    immersion: float = 1.0
    calibration: float = 1.0

    def __post_init__(self) -> None:
        low, high = FACTOR_LIMITS
        for name in ("immersion", "calibration"):
            if not low <= getattr(self, name) <= high:
                raise ValueError(f"{name} factor must lie between {low} and {high}")

    def corrected(self, raw_ppfd: float) -> float:
        """The value the plan is compared with. Exact products, so 100 × 1.1 is 110."""
        product = EXACT.multiply(Decimal(repr(self.immersion)), Decimal(repr(self.calibration)))
        return float(EXACT.multiply(Decimal(repr(float(raw_ppfd))), product))


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One corrected value at one place. `number` is the reader's own key (a row, an id)."""

    x_cm: float
    y_cm: float
    depth_cm: float
    ppfd: float
    number: int = 0


@dataclass(frozen=True, kw_only=True)
class Sounding:
    """All readings of one point in one number: their mean, how many, and its standard error."""

    x_cm: float
    y_cm: float
    depth_cm: float
    ppfd: float
    error_ppfd: float
    numbers: tuple[int, ...]

    @property
    def count(self) -> int:
        """How many readings are in it."""
        return len(self.numbers)


def combined(
    readings: Sequence[Reading], *, within_cm: float = ONE_POINT_CM
) -> tuple[Sounding, ...]:
    """Readings of the same point put together, in the order the points were first read.

    The error of one reading is learnt from the scatter of the repeats: a scaled inverse
    chi-square prior of 5 % (weight of four repeats) updated by each point's own relative
    deviations and those of all repeated points (Gelman et al., Bayesian Data Analysis, 3rd
    ed., section 3.2; from memory). The error of a mean of n readings is that over √n, never
    below the meter's last digit over √n.
    """
    groups = _points(readings, within_cm)
    pooled = _pooled_relative_error(groups)
    return tuple(_sounding(group, pooled) for group in groups)


def _points(readings: Sequence[Reading], within_cm: float) -> list[list[Reading]]:
    """Greedy by order: a reading joins the first point whose first reading is near enough."""
    groups: list[list[Reading]] = []
    cells: dict[tuple[int, int, int], list[int]] = {}
    size = max(within_cm, 1e-9)
    for reading in readings:
        home = tuple(math.floor(c / size) for c in _place(reading))
        near = [
            g
            for dx in (-1, 0, 1)
            for dy in (-1, 0, 1)
            for dz in (-1, 0, 1)
            for g in cells.get((home[0] + dx, home[1] + dy, home[2] + dz), ())
            if math.dist(_place(groups[g][0]), _place(reading)) <= within_cm
        ]
        if near:
            groups[min(near)].append(reading)
        else:
            cells.setdefault((home[0], home[1], home[2]), []).append(len(groups))
            groups.append([reading])
    return groups


def _place(reading: Reading) -> tuple[float, float, float]:
    return reading.x_cm, reading.y_cm, reading.depth_cm


def _mean(group: Sequence[Reading]) -> float:
    return sum(reading.ppfd for reading in group) / len(group)


def _squares(group: Sequence[Reading]) -> float:
    """Sum of squared relative deviations from the point's mean."""
    mean = _mean(group)
    if len(group) < 2 or mean <= 0:
        return 0.0
    return sum((reading.ppfd / mean - 1) ** 2 for reading in group)


def _pooled_relative_error(groups: Sequence[Sequence[Reading]]) -> float:
    repeats = sum(len(group) - 1 for group in groups)
    squares = sum(_squares(group) for group in groups)
    weight = PRIOR_REPEATS + repeats
    return math.sqrt((PRIOR_REPEATS * PRIOR_RELATIVE_ERROR**2 + squares) / weight)


def _sounding(group: Sequence[Reading], pooled: float) -> Sounding:
    n = len(group)
    own = (PRIOR_REPEATS * pooled**2 + _squares(group)) / (PRIOR_REPEATS + n - 1)
    mean = _mean(group)
    one = max(math.sqrt(own) * mean, FLOOR_PPFD)
    return Sounding(
        x_cm=sum(r.x_cm for r in group) / n,
        y_cm=sum(r.y_cm for r in group) / n,
        depth_cm=sum(r.depth_cm for r in group) / n,
        ppfd=mean,
        error_ppfd=one / math.sqrt(n),
        numbers=tuple(r.number for r in group),
    )


# --- values that surprise -----------------------------------------------------------------

NEIGHBOURS = 4
NEAR_CM = 45.0
ASK_BEYOND = 3.0  # light doubles within a hand's breadth; three times is worth a question


@dataclass(frozen=True, kw_only=True)
class Surprise:
    """A value worth asking about. `perhaps_ppfd` is what was meant if one digit slipped."""

    ratio: float
    usual_ppfd: float
    perhaps_ppfd: float | None
    against: str


def usual_nearby(place: Reading, others: Sequence[Reading]) -> float | None:
    """What the nearest readings say about a place: their mean in log light, weighted by
    1/(distance² + 5² cm²). None when nothing was read nearby."""
    near = sorted(
        (math.dist(_place(place), _place(other)), other.ppfd) for other in others if other.ppfd > 0
    )[:NEIGHBOURS]
    near = [(distance, ppfd) for distance, ppfd in near if distance <= NEAR_CM]
    if not near:
        return None
    weights = [1 / (distance**2 + 25) for distance, _ in near]
    logs = [w * math.log(ppfd) for w, (_, ppfd) in zip(weights, near, strict=True)]
    return math.exp(sum(logs) / sum(weights))


def surprise(
    reading: Reading, others: Sequence[Reading], *, expected_ppfd: float | None = None
) -> Surprise | None:
    """Whether a value is worth asking about on the spot; it is never refused.

    Neighbours are asked first, and the plan where there are none. A value that either of the
    two finds usual is no surprise.
    """
    nearby = usual_nearby(reading, others)
    views = [
        (name, usual)
        for name, usual in (("its neighbours", nearby), ("the plan", expected_ppfd))
        if usual is not None and usual > FLOOR_PPFD
    ]
    if not views or reading.ppfd < 0:
        return None
    value = max(reading.ppfd, 0.1)
    if any(1 / ASK_BEYOND <= value / usual <= ASK_BEYOND for _, usual in views):
        return None
    against, usual = views[0]
    return Surprise(
        ratio=value / usual,
        usual_ppfd=usual,
        perhaps_ppfd=_slipped_digit(reading.ppfd, usual),
        against=against,
    )


def _slipped_digit(value: float, usual: float) -> float | None:
    """The value with its decimal mark one or two places off, when that fits."""
    for factor in (0.1, 10.0, 0.01, 100.0):
        if value > 0 and 0.5 <= value * factor / usual <= 2:
            return round(value * factor, 6)
    return None


def surprises(
    readings: Sequence[Reading], *, most: int = 5
) -> tuple[tuple[Reading, Surprise], ...]:
    """The readings of a table that their neighbours would not have led one to expect.

    A neighbour that is itself the odd one out makes its own neighbours look odd, so the most
    surprising is named first and then no longer asked for its opinion.
    """
    left = list(readings)
    found: list[tuple[Reading, Surprise]] = []
    while len(found) < most and len(left) > NEIGHBOURS:
        asked = [(one, surprise(one, [o for o in left if o is not one])) for one in left]
        odd = [(one, asking) for one, asking in asked if asking is not None]
        if not odd:
            break
        worst = max(odd, key=lambda pair: abs(math.log(pair[1].ratio)))
        found.append(worst)
        left.remove(worst[0])
    return tuple(found)
