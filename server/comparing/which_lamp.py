"""Which lamps of a shelf can light this tank, how many, how high and how strong.

For every model, one or several are hung evenly along the tank at rising heights. Light adds up,
so each height is worked out once at full power: an animal that gets e is in its range for every
power between low/e and high/e, and the best power lies where most of these stretches overlap.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.comparing.side_by_side import shimmer_left
from server.optics.emitters import Emitter
from server.optics.field import at_points, planes, share_into_water
from server.optics.tank import Tank, Water

Floats = NDArray[np.float64]
MOST_OF_ONE = 6
HEIGHTS = 7
LEAST_POWER = 0.1  # dimmed further, many lamps change colour or flicker; common practice
MUCH_TOO_BIG = 0.25  # in range already below this power: half as many photons would do


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """A place and the PPFD it should get."""

    x_cm: float
    y_cm: float
    depth_cm: float
    low_ppfd: float
    high_ppfd: float


@dataclass(frozen=True, kw_only=True)
class Offered:
    """A lamp of the shelf: `hang` gives its emitters at full power at (x, y, height)."""

    key: int
    name: str
    watts: float
    price: float | None
    min_height_cm: float
    max_height_cm: float
    ppf_umol_s: float
    hang: Callable[[float, float, float], Sequence[Emitter]]
    long_cm: float = 0.0
    """Length of the lamp's long side where it emits."""


@dataclass(frozen=True, kw_only=True)
class Budget:
    """What may be spent; None where it does not matter."""

    watts: float | None = None
    money: float | None = None


@dataclass(frozen=True, kw_only=True)
class Fitting:
    """So many of one lamp at the best height and power.

    in_range of the wanted places get their range there; mean_ppfd and uniformity over the depth
    in the middle of the wanted ones; missed_share of the photons never enter the water; shimmer
    is what is left of a small lamp's dance in the middle of the tank.
    `why_not` is empty when every wanted place can be served.
    """

    key: int
    name: str
    count: int
    height_cm: float
    power: float
    in_range: int
    wanted: int
    too_dim: int
    too_bright: int
    mean_ppfd: float
    uniformity: float
    missed_share: float
    shimmer: float
    watts_at_power: float
    price: float | None
    why_not: str = ""
    note: str = ""

    @property
    def share_in_range(self) -> float:
        return self.in_range / self.wanted


def likeliest(
    tank: Tank, wanted: Sequence[Wanted], shelf: Sequence[Offered], budget: Budget
) -> tuple[Offered, ...]:
    """The shelf, those first whose photons come nearest to what the tank wants.

    Half of a lamp's photons are reckoned to arrive; only the order rests on it.
    """
    middle = float(np.mean([(place.low_ppfd + place.high_ppfd) / 2 for place in wanted]))
    need = middle * tank.length_cm * tank.width_cm * 1e-4 / 0.5

    def distance(lamp: Offered) -> float:
        counts = range(1, max(1, min(MOST_OF_ONE, _affordable(lamp, budget))) + 1)
        enough = [math.log(count * lamp.ppf_umol_s / need) for count in counts]
        return min(e if e >= 0 else -3 * e for e in enough)

    return tuple(sorted(shelf, key=distance))


def places_along(tank: Tank, count: int) -> tuple[tuple[float, float], ...]:
    """Middles of `count` lamps spaced evenly along the tank's longer side."""
    along_x = tank.length_cm >= tank.width_cm
    long, short = (tank.length_cm, tank.width_cm) if along_x else (tank.width_cm, tank.length_cm)
    spots = [(long * (k + 0.5) / count, short / 2) for k in range(count)]
    return tuple(spots if along_x else [(b, a) for a, b in spots])


def fittings(
    tank: Tank,
    water: Water,
    wanted: Sequence[Wanted],
    shelf: Sequence[Offered],
    *,
    budget: Budget,
    headroom_cm: float | None = None,
) -> tuple[Fitting, ...]:
    """The best count of each lamp; those that can first, by fewest watts, then those that cannot.

    Raises ValueError when nothing is wanted.
    """
    if not wanted:
        raise ValueError("name at least one place and its range")
    found = [
        _best_of(tank, water, wanted, lamp, budget=budget, headroom_cm=headroom_cm)
        for lamp in shelf
    ]
    return tuple(sorted(found, key=lambda fit: (bool(fit.why_not), -fit.in_range, _cost(fit))))


def _cost(fit: Fitting) -> tuple[float, float]:
    return (round(fit.watts_at_power, 1), fit.price if fit.price is not None else math.inf)


def _best_of(
    tank: Tank,
    water: Water,
    wanted: Sequence[Wanted],
    lamp: Offered,
    *,
    budget: Budget,
    headroom_cm: float | None,
) -> Fitting:
    """The smallest count that serves everybody, or the one that serves most."""
    heights = heights_of(lamp, headroom_cm)
    most = _affordable(lamp, budget)
    if not heights:
        return _refusal(lamp, wanted, f"It needs {lamp.min_height_cm:g} cm above the water.")
    if most == 0:
        return _refusal(lamp, wanted, _too_dear(lamp, budget))
    best: Fitting | None = None
    for count in range(1, min(most, MOST_OF_ONE) + 1):
        if count > 1 and count * lamp.long_cm > max(tank.length_cm, tank.width_cm):
            break
        fit = _fit(tank, water, wanted, lamp, count, heights)
        if best is None or fit.in_range > best.in_range:
            best = fit
        if best.in_range == len(wanted) or fit.too_dim == 0:
            break
    assert best is not None
    return _with_words(best, most)


def heights_of(lamp: Offered, headroom_cm: float | None) -> tuple[float, ...]:
    """Heights to try, spaced evenly in ratio; none where the room above is too low."""
    top = lamp.max_height_cm if headroom_cm is None else min(lamp.max_height_cm, headroom_cm)
    if top < lamp.min_height_cm:
        return ()
    tried = np.geomspace(lamp.min_height_cm, top, HEIGHTS)
    return tuple(dict.fromkeys(round(float(height), 1) for height in tried))


@dataclass(frozen=True, kw_only=True)
class Height:
    """The best height of several for lamps that hang level, and the power to run them at."""

    height_cm: float
    power: float
    in_range: int
    too_dim: int
    too_bright: int


def best_height(
    tank: Tank,
    water: Water,
    wanted: Sequence[Wanted],
    hang: Callable[[float], Sequence[Emitter]],
    heights_cm: Sequence[float],
) -> Height:
    """Most places in range; of equals the least power. `hang` gives the lamps at full power."""
    low = np.array([place.low_ppfd for place in wanted])
    high = np.array([place.high_ppfd for place in wanted])
    tried = []
    for height_cm in heights_cm:
        full = _at(tank, water, wanted, hang(height_cm))
        power = best_power(full, low, high)
        dim, bright = int((power * full < low).sum()), int((power * full > high).sum())
        tried.append((len(wanted) - dim - bright, -power, height_cm, dim, bright))
    in_range, minus_power, height_cm, dim, bright = max(tried)
    return Height(
        height_cm=height_cm,
        power=-minus_power,
        in_range=in_range,
        too_dim=dim,
        too_bright=bright,
    )


def _fit(
    tank: Tank,
    water: Water,
    wanted: Sequence[Wanted],
    lamp: Offered,
    count: int,
    heights: Sequence[float],
) -> Fitting:
    best = best_height(
        tank, water, wanted, lambda height_cm: _hung(tank, lamp, count, height_cm), heights
    )
    emitters = _hung(tank, lamp, count, best.height_cm)
    depth = float(np.median([place.depth_cm for place in wanted]))
    (plane,) = planes(tank, water, emitters, depths_cm=(depth,), cell_cm=_cell(tank))
    return Fitting(
        key=lamp.key,
        name=lamp.name,
        count=count,
        height_cm=best.height_cm,
        power=best.power,
        in_range=best.in_range,
        wanted=len(wanted),
        too_dim=best.too_dim,
        too_bright=best.too_bright,
        mean_ppfd=best.power * plane.mean,
        uniformity=plane.uniformity,
        missed_share=1.0 - share_into_water(tank, water, emitters),
        shimmer=shimmer_left(tank, water, emitters) or 0.0,
        watts_at_power=best.power * count * lamp.watts,
        price=None if lamp.price is None else count * lamp.price,
    )


def best_power(full: Floats, low: Floats, high: Floats) -> float:
    """The least power in LEAST_POWER–1 that puts most places in their range.

    full, low, high: shape (n,), PPFD at full power and the ends of each place's range.
    """
    lit = np.maximum(full, 1e-9)
    opens = np.maximum(low / lit, LEAST_POWER)
    closes = high / lit
    tried = np.append(opens[opens <= 1.0], (LEAST_POWER, 1.0)) * (1 + 1e-9)
    tried = np.minimum(tried, 1.0)
    inside = ((tried[:, None] >= opens * (1 - 1e-9)) & (tried[:, None] <= closes)).sum(axis=1)
    if inside.max() == 0:
        return LEAST_POWER if np.median(low / lit) < LEAST_POWER else 1.0
    return float(tried[inside == inside.max()].min())


def _hung(tank: Tank, lamp: Offered, count: int, height_cm: float) -> list[Emitter]:
    return [
        emitter
        for x_cm, y_cm in places_along(tank, count)
        for emitter in lamp.hang(x_cm, y_cm, height_cm)
    ]


def _at(tank: Tank, water: Water, wanted: Sequence[Wanted], emitters: Sequence[Emitter]) -> Floats:
    return at_points(
        tank,
        water,
        emitters,
        x_cm=[place.x_cm for place in wanted],
        y_cm=[place.y_cm for place in wanted],
        depth_cm=[place.depth_cm for place in wanted],
    )


def _cell(tank: Tank) -> float:
    return max(2.0, math.sqrt(tank.length_cm * tank.width_cm / 600))


def _affordable(lamp: Offered, budget: Budget) -> int:
    """How many the budget allows when all run at the least power worth hanging them for."""
    most = MOST_OF_ONE
    if budget.watts is not None:
        most = min(most, int(budget.watts // lamp.watts))
    if budget.money is not None and lamp.price is not None:
        most = min(most, int(budget.money // lamp.price) if lamp.price > 0 else most)
    return most


def _too_dear(lamp: Offered, budget: Budget) -> str:
    if budget.watts is not None and lamp.watts > budget.watts:
        return f"One alone takes {lamp.watts:g} W, more than the {budget.watts:g} W allowed."
    return "One alone costs more than the budget."


def _refusal(lamp: Offered, wanted: Sequence[Wanted], why_not: str) -> Fitting:
    return Fitting(
        key=lamp.key,
        name=lamp.name,
        count=1,
        height_cm=lamp.min_height_cm,
        power=0.0,
        in_range=0,
        wanted=len(wanted),
        too_dim=len(wanted),
        too_bright=0,
        mean_ppfd=0.0,
        uniformity=0.0,
        missed_share=1.0,
        shimmer=0.0,
        watts_at_power=0.0,
        price=lamp.price,
        why_not=why_not,
    )


def _with_words(fit: Fitting, most: int) -> Fitting:
    why_not = note = ""
    if fit.in_range < fit.wanted:
        why_not = _shortfall(fit, limited=most < MOST_OF_ONE and fit.count == most)
    elif fit.power <= MUCH_TOO_BIG:
        note = f"Bigger than needed: {100 * fit.power:.0f} % of its power is enough."
    return replace(fit, why_not=why_not, note=note)


def _shortfall(fit: Fitting, *, limited: bool) -> str:
    """Why not everybody can be served, in words."""
    places = f"{fit.wanted - fit.in_range} of {fit.wanted}"
    if fit.too_bright and not fit.too_dim and fit.power <= LEAST_POWER * 1.01:
        return f"Too strong even dimmed to {100 * fit.power:.0f} %: {places} too bright."
    if fit.too_dim and not fit.too_bright and fit.power >= 0.995:
        more = " within the budget" if limited else ""
        return f"Not enough light{more}: {places} stay too dim at full power."
    return f"Too uneven: whatever its power, at its best {places} are out of range."
