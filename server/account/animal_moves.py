"""Animals moved to places that have a name: on the floor of the tank, clear of the others."""

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from server.account.change import Change, Kind
from server.optics.tank import Tank
from server.surveys import places, verdict
from server.surveys.estimate import Estimate, MeasuredMap
from server.surveys.plan import Animal, points_of
from server.surveys.verdict import SURE, Judged

Floats = NDArray[np.float64]

ROOM_CM = 10.0
"""Between two animals, so that neither shades or stings the other (common practice, no
published source)."""

CLEAR_CM = 3.0
"""From a rock, so that an animal can stand beside it (our judgement)."""

FLOOR_STEP_CM = 10.0
MOST_SPOTS = (13, 7)
OFTEN = 0.5


def animal_moves(
    found: MeasuredMap, animals: Sequence[Animal], now: Sequence[Judged]
) -> Iterator[tuple[Change, tuple[Judged, ...]]]:
    """Each animal that is not surely in range, at the best spot of the floor that is free."""
    spots = floor_spots(found)
    light = found.at(spots) if len(spots) else None
    for number, animal in enumerate(animals):
        if light is None or now[number].chance_in_range >= SURE:
            continue
        inside = light.chance_below(animal.high_ppfd) - light.chance_below(animal.low_ppfd)
        inside = np.where(_free(spots, animals, number), inside, -1.0)
        if inside.max() > now[number].chance_in_range:
            at = _nearest_good(spots, inside, animal)
            yield _moved(animals, now, number, spots[at], light.at(at))


def floor_spots(found: MeasuredMap) -> Floats:
    """Places on the floor in whole centimetres, (n, 3), where a sensor's height is the depth."""
    tank = found.plan.tank
    counts = [
        int(np.clip(round(side / FLOOR_STEP_CM), 2, most))
        for side, most in zip((tank.length_cm, tank.width_cm), MOST_SPOTS, strict=True)
    ]
    grid = places.even_grid(tank, along=counts[0], across=counts[1], levels=2)
    grid = np.unique(np.round(grid[:, :2]), axis=0)
    spots = np.column_stack([grid, np.full(len(grid), floor_depth_cm(tank.depth_cm))])
    return spots[~_under_rock(tank, spots)]


def _under_rock(tank: Tank, spots: Floats) -> NDArray[np.bool_]:
    """Spots with a rock on or over them, or too near one to set anything down, (n,)."""
    x, y = spots[:, 0], spots[:, 1]
    found = np.zeros(len(spots), dtype=bool)
    for rock in tank.rocks:
        beside = (x < rock.left_cm - CLEAR_CM) | (x > rock.right_cm + CLEAR_CM)
        found |= ~(beside | (y < rock.front_cm - CLEAR_CM) | (y > rock.back_cm + CLEAR_CM))
    return found


def floor_depth_cm(depth_cm: float) -> float:
    """Where an animal on the floor takes its light."""
    return depth_cm - min(places.SENSOR_CM, depth_cm / 4)


def _free(spots: Floats, animals: Sequence[Animal], but: int) -> NDArray[np.bool_]:
    others = points_of([one for n, one in enumerate(animals) if n != but])[:, :2]
    gaps = np.linalg.norm(spots[:, None, :2] - others[None], axis=2)
    return np.asarray(np.all(gaps >= ROOM_CM, axis=1))


def _nearest_good(spots: Floats, inside: Floats, animal: Animal) -> int:
    """The nearest of the spots that are as good as the best."""
    good = np.flatnonzero(inside >= inside.max() - 0.01)
    away = np.linalg.norm(spots[good] - points_of([animal]), axis=1)
    return int(good[int(np.argmin(away))])


def _moved(
    animals: Sequence[Animal], now: Sequence[Judged], number: int, spot: Floats, light: Estimate
) -> tuple[Change, tuple[Judged, ...]]:
    x, y, depth = (float(value) for value in spot)
    animal = animals[number]
    elsewhere = replace(animal, x_cm=x, y_cm=y, depth_cm=depth)
    (judged,) = verdict.judged(light, [elsewhere])
    change = Change(
        kind=Kind.ANIMAL_PLACE,
        animal=number,
        stood=(animal.x_cm, animal.y_cm, animal.depth_cm),
        place=(x, y, depth),
    )
    return change, (*now[:number], judged, *now[number + 1 :])


def cannot_share(chances: Floats) -> tuple[int, int] | None:
    """Two animals never both likelier in range than out, though each alone was; (changes, n).

    Of several such pairs the one that comes least near.
    """
    count = chances.shape[1]
    alone = chances.max(axis=0) >= OFTEN
    best: tuple[float, tuple[int, int]] | None = None
    for a in range(count):
        for b in range(a + 1, count):
            together = float(np.minimum(chances[:, a], chances[:, b]).max())
            if alone[a] and alone[b] and together < OFTEN and (best is None or together < best[0]):
                best = (together, (a, b))
    return best[1] if best is not None else None
