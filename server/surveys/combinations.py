"""Every combination of a state of the plan and a belief about departures, and its covariances.

A plan is told with care or roughly, and a rough one may have any beam of an even grid; a belief
says how far tanks depart from the model and what a reading is worth (`priors`). In each
combination everything is normal.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.surveys import matern
from server.surveys.priors import Priors, Surprise
from server.surveys.response import Answers
from server.surveys.stories import Story, View

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

BEAM_STEP_DEG = 7.0
BEAM_SPREAD_DEG = 6.0
BEAM_STEPS = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class Grid:
    """Combinations of a state of the plan and a belief.

    state, remainder, range_cm, reading, log_weight: of each combination, (c,). shifts_deg: the
    beam of each state, (b,); sizes: the standard deviation of each correction in each state, the
    beam's own spread last, (b, p+1).
    """

    state: NDArray[np.intp]
    remainder: Floats
    range_cm: Floats
    reading: Floats
    log_weight: Floats
    shifts_deg: Floats
    sizes: Floats

    def part(self, chosen: NDArray[np.intp]) -> "Grid":
        return replace(
            self,
            state=self.state[chosen],
            remainder=self.remainder[chosen],
            range_cm=self.range_cm[chosen],
            reading=self.reading[chosen],
            log_weight=self.log_weight[chosen],
        )


def grid_of(
    story: Story, seen: View, answers: Answers, priors: Priors, beliefs: tuple[Surprise, ...]
) -> Grid:
    """Every state of the plan with every belief."""
    plan = answers.response.plan
    movable = bool(story.wings) or plan.beam_deg is not None
    frame, careful = _frame(priors, bool(story.wings), movable, beliefs, story.rough)
    stated = plan.absorption_per_m
    by_care = [
        [story.sizes.get(n, priors.size(n, stated, careful=care)) for n in seen.names]
        for care in (False, True)
    ]
    sizes = np.array(by_care)[careful.astype(np.intp)]
    return replace(frame, sizes=np.concatenate([sizes, frame.sizes], axis=1))


@lru_cache(maxsize=64)
def _frame(
    priors: Priors, wings: bool, movable: bool, beliefs: tuple[Surprise, ...], rough: float
) -> tuple[Grid, Flags]:
    """All of a grid but the sizes of the plan's own numbers, and which states are careful."""
    wide_deg = priors.wing_deg if wings else priors.beam_deg
    states = _states(priors, wide_deg, movable=movable)
    if wings:  # no care in telling a plan says anything about the angle of its wings
        states = tuple(one for one in states if not one.careful)
    fitting = tuple(belief for belief in beliefs if belief.remainder >= rough) or beliefs
    weight = np.outer([one.weight for one in states], [one.weight for one in fitting])

    def spread_out(name: str) -> Floats:
        return np.tile([float(getattr(one, name)) for one in fitting], len(states))

    frame = Grid(
        state=np.repeat(np.arange(len(states)), len(fitting)),
        remainder=spread_out("remainder"),
        range_cm=spread_out("range_cm"),
        reading=spread_out("reading"),
        log_weight=np.log(weight.ravel() / weight.sum()),
        shifts_deg=np.array([one.shift_deg for one in states]),
        sizes=np.array([[one.spread_deg] for one in states]),
    )
    return frame, np.array([one.careful for one in states])


def linear(grid: Grid, one: View, other: View) -> Floats:
    """Covariance from the corrections between two sets of places, (c, m, k)."""
    here = design(grid, one) * grid.sizes[:, None, :] ** 2
    there = design(grid, other)
    return np.asarray((here @ there.transpose(0, 2, 1))[grid.state])


def field(grid: Grid, gap_cm: Floats) -> Floats:
    """Covariance of the remainder at these distances, (c, m, k)."""
    ranges, back = np.unique(grid.range_cm, return_inverse=True)
    shapes = np.array([matern.correlation(gap_cm, float(r)) for r in ranges])
    return np.asarray(grid.remainder[:, None, None] ** 2 * shapes[back])


@dataclass(frozen=True, kw_only=True)
class _State:
    """A beam, how far it may be off, and whether the plan's other numbers were told with care."""

    shift_deg: float
    spread_deg: float
    careful: bool
    weight: float


def _states(priors: Priors, wide_deg: float, *, movable: bool) -> tuple[_State, ...]:
    """The plan told with care, and the plan told roughly with every beam of an even grid.

    Normals of one spread on that grid, weighted by a normal, add up to the wider normal that is
    believed of a rough plan.
    """
    spread = priors.careful_beam_deg if movable else 1e-3
    careful = _State(shift_deg=0.0, spread_deg=spread, careful=True, weight=priors.careful)
    if not movable:
        rough = _State(shift_deg=0.0, spread_deg=1e-3, careful=False, weight=1 - priors.careful)
        return careful, rough
    shifts = BEAM_STEP_DEG * np.arange(-BEAM_STEPS, BEAM_STEPS + 1, dtype=np.float64)
    wide = max(wide_deg**2 - BEAM_SPREAD_DEG**2, 1.0)
    weights = np.exp(-0.5 * shifts**2 / wide)
    weights *= (1 - priors.careful) / weights.sum()
    rough_ones = (
        _State(shift_deg=float(s), spread_deg=BEAM_SPREAD_DEG, careful=False, weight=float(w))
        for s, w in zip(shifts, weights, strict=True)
    )
    return careful, *rough_ones


def design(grid: Grid, seen: View) -> Floats:
    """Sensitivities in each state, the beam's last, (b, m, p+1)."""
    slope = seen.beam_slope(grid.shifts_deg)
    fixed = np.broadcast_to(seen.per_unit, (len(slope), *seen.per_unit.shape))
    return np.concatenate([fixed, slope[:, :, None]], axis=2)
