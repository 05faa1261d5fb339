"""What would help where no height and power meet a target: changes that are tried, not guessed.

Each change is worked out over the same heights with a coarser grid, and told with the share of
cells it would bring into range.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.optics.emitters import LIMITS, Emitter
from server.optics.mounting import MountingAdvice, Target, best_power, full_power
from server.optics.tank import Tank, Water

ENOUGH = 0.95
"""A target counts as met where so many of its cells are in range."""

WORTH = 0.03
"""A change is told where it brings at least so many more of the cells into range."""

_MOST_CELLS = 300
_HEIGHTS = 5


@dataclass(frozen=True, kw_only=True)
class Remedy:
    """One change: `change` its short name, `words` a sentence, and the share it would give."""

    change: str
    words: str
    share_in_range: float


@dataclass(frozen=True, kw_only=True)
class Remedies:
    """What of the target cannot be met, in words (empty where all is), and what would help."""

    not_met: str
    tried: tuple[Remedy, ...]


def remedies(
    tank: Tank,
    water: Water,
    emitters: Sequence[Emitter],
    advice: MountingAdvice,
    *,
    target: Target,
    height_range_cm: tuple[float, float],
    power_range: tuple[float, float],
    cell_cm: float,
) -> Remedies:
    """Changes that would bring clearly more cells into range than the advice does.

    emitters: as given to `mounting_height`. Tried are narrower and wider lenses, twice the light,
    a second set of lights, dimming further, and hanging lower or higher than allowed.
    """
    best = advice.best
    if best.share_in_range >= ENOUGH:
        return Remedies(not_met="", tried=())
    cell = max(cell_cm, (tank.length_cm * tank.width_cm / _MOST_CELLS) ** 0.5)

    def share(
        lights: Sequence[Emitter],
        heights: tuple[float, float] = height_range_cm,
        powers: tuple[float, float] = power_range,
    ) -> float:
        tried = (
            best_power(
                full_power(tank, water, lights, target=target, height_cm=height, cell_cm=cell),
                height_cm=height, target=target, power_range=powers,
            ).share_in_range
            for height in (best.height_cm, *np.geomspace(heights[0], heights[1], _HEIGHTS).tolist())
        )  # fmt: skip
        return max(tried)

    now = share(emitters)
    low, high = height_range_cm
    higher = min(1.5 * high, LIMITS["height_cm"][1])
    trials = [
        ("narrower lens", "A lens two thirds as wide", _beams(emitters, 2 / 3), {}),
        ("wider lens", "A lens half again as wide", _beams(emitters, 1.5), {}),
        ("second lamp", "A second set of the same lamps", _second(tank, emitters), {}),
        ("more light", "Twice the light from the same places", _brighter(emitters, 2.0), {}),
        ("higher", "Room to hang half again as high", emitters, {"heights": (low, higher)}),
        ("lower", "Hanging down to half as high", emitters, {"heights": (max(low / 2, 1.0), high)}),
        ("dimming", "Dimming further than the lamp is said to", emitters,
         {"powers": (0.0, power_range[1])}),
    ]  # fmt: skip
    tried = []
    for change, words, lights, ranges in trials:
        gain = share(lights, **ranges) - now
        if gain >= WORTH:
            reached = min(1.0, best.share_in_range + gain)
            tried.append(Remedy(change=change, words=words, share_in_range=reached))
    tried.sort(key=lambda one: -one.share_in_range)
    return Remedies(not_met=_not_met(advice, target, power_range), tried=tuple(tried))


def _not_met(advice: MountingAdvice, target: Target, power_range: tuple[float, float]) -> str:
    """Which side of the range is missed, and whether the lamp or the evenness is the reason."""
    best = advice.best
    if best.share_below > 0.0 and best.share_above > 0.0:
        return (
            "At every height some places get too little while others get too much: "
            "the light is too uneven for this range."
        )
    if best.share_below > 0.0:
        if best.power >= power_range[1] - 1e-9:
            return f"Even at full power some places stay below {target.low_ppfd:g}."
        return (
            f"Some places stay below {target.low_ppfd:g}; with more power others would "
            f"pass {target.high_ppfd:g}."
        )
    if best.power <= power_range[0] + 1e-9:
        return f"Even dimmed as far as it goes some places get more than {target.high_ppfd:g}."
    return (
        f"Some places get more than {target.high_ppfd:g}; with less power others would fall "
        f"below {target.low_ppfd:g}."
    )


def _beams(emitters: Sequence[Emitter], factor: float) -> list[Emitter]:
    """The same lights under other lenses, within 20–150°; measured tables stay as they are."""
    return [
        one
        if one.beam_deg is None
        else replace(one, beam_deg=min(150.0, max(20.0, one.beam_deg * factor)))
        for one in emitters
    ]


def _brighter(emitters: Sequence[Emitter], factor: float) -> list[Emitter]:
    return [replace(one, ppf_umol_s=one.ppf_umol_s * factor) for one in emitters]


def _second(tank: Tank, emitters: Sequence[Emitter]) -> list[Emitter]:
    """The lights twice along the tank's longer side, each half filled by one set."""
    if tank.length_cm >= tank.width_cm:
        return [
            replace(one, x_cm=(one.x_cm + half * tank.length_cm) / 2.0)
            for one in emitters
            for half in (0, 1)
        ]
    return [
        replace(one, y_cm=(one.y_cm + half * tank.width_cm) / 2.0)
        for one in emitters
        for half in (0, 1)
    ]
