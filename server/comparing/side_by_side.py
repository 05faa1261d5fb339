"""The figures of one setup that setups are compared by, and what cannot be compared fairly."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.dose.cost import Load, running_cost
from server.dose.day import Course, dli, full_hours, lit_hours
from server.optics.emitters import Emitter
from server.optics.field import planes, share_into_water
from server.optics.shimmer import Ripple, shimmer
from server.optics.spectrum import Spectrum, blend
from server.optics.tank import Tank, Water

Floats = NDArray[np.float64]
Widths = Callable[[Floats], Floats]
"""Points (n, 3) to the half-width of the 80 % interval over the value, (n,)."""

RIPPLE = Ripple(length_cm=8.0, height_cm=0.4)
"""The ripple shimmer is compared under: what a return pump makes; our choice."""
DIRECTIONS = 4
"""Ways the ripples run; four tell lamps apart as well as more do, at a third of the time."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Hanging:
    """One lamp as it hangs: what it is, its colours, its photons at the power set."""

    name: str
    kind: str
    spectrum: Spectrum
    ppf_umol_s: float
    height_cm: float
    power: float
    beam_deg: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Run:
    """Emitters that share one day, as planned. `watts` and the emitters hold at the power set;
    `course` is the day in percent of that."""

    emitters: tuple[Emitter, ...]
    watts: float
    course: Course


@dataclass(frozen=True, kw_only=True, eq=False)
class Side:
    """One setup to be compared.

    emitters: what the light is worked out from, put right where the setup was measured; runs:
    the same as planned, by the day they share. half_width: None for a plan nobody measured.
    """

    tank: Tank
    water: Water
    emitters: tuple[Emitter, ...]
    runs: tuple[Run, ...]
    lamps: tuple[Hanging, ...]
    half_width: Widths | None
    days_unchanged: int | None

    @property
    def measured(self) -> bool:
        return self.half_width is not None


@dataclass(frozen=True, kw_only=True)
class AtDepth:
    """The light at one depth: mean PPFD with the half-width of its interval as a share (None:
    not measured), uniformity (least over mean), share of cells in the range asked for, and the
    dose of the mean."""

    depth_cm: float
    mean_ppfd: float
    half_width: float | None
    uniformity: float
    share_in_range: float
    dli_mol_m2_d: float


@dataclass(frozen=True, kw_only=True)
class Figures:
    """What the table of a comparison shows of one setup. `at` is None where there is no water
    that deep; per-joule and per-year figures are None without lamps."""

    at: tuple[AtDepth | None, ...]
    lit_hours: float
    full_hours: float
    watts: float
    share_into_water: float
    umol_per_joule_into_water: float | None
    kwh_per_year: float
    money_per_year: float
    shimmer: float | None
    blue_share: float
    green_share: float
    red_share: float


def figures(
    side: Side,
    *,
    depths_cm: Sequence[float],
    low_ppfd: float,
    high_ppfd: float,
    price_per_kwh: float,
) -> Figures:
    """All figures of one setup. Light of the setup's own tank, glass and water."""
    passed = share_into_water(side.tank, side.water, side.emitters)
    watts = sum(run.watts for run in side.runs)
    flux = sum(emitter.ppf_umol_s for emitter in side.emitters)
    cost = running_cost(tuple(_load(run, passed) for run in side.runs), price_per_kwh=price_per_kwh)
    blue, green, red = _bands(side)
    return Figures(
        at=tuple(_at(side, depth, low_ppfd, high_ppfd) for depth in depths_cm),
        lit_hours=max((lit_hours(run.course) for run in side.runs), default=0.0),
        full_hours=max((full_hours(run.course) for run in side.runs), default=0.0),
        watts=watts,
        share_into_water=passed,
        umol_per_joule_into_water=passed * flux / watts if watts > 0 else None,
        kwh_per_year=cost.kwh_per_year,
        money_per_year=cost.money_per_year,
        shimmer=shimmer_left(side.tank, side.water, side.emitters),
        blue_share=blue,
        green_share=green,
        red_share=red,
    )


def unfair(sides: Sequence[Side], depths_cm: Sequence[float]) -> tuple[str, ...]:
    """What these setups cannot fairly be compared in, in words."""
    told = []
    if len({side.measured for side in sides}) > 1:
        told.append(
            "Some are measured and some only planned: a plan can be off by a third, so compare "
            "its shape rather than its height."
        )
    if any(depth > side.tank.depth_cm for side in sides for depth in depths_cm):
        told.append(
            "Not every tank is as deep as the depths chosen; empty cells mean no water there."
        )
    if len({side.tank.walls for side in sides}) > 1:
        told.append(
            "The walls differ: clear glass gives back light that dark walls swallow, up to half "
            "of it low down in a tank."
        )
    if len({(side.tank.length_cm, side.tank.width_cm) for side in sides}) > 1:
        told.append("The tanks differ in size: the same lamp spreads over more or less water.")
    if len({side.tank.cover for side in sides}) > 1:
        told.append("One has a cover pane, which takes about a tenth of the light.")
    kinds = {lamp.kind for side in sides for lamp in side.lamps}
    if len(kinds) > 1:
        told.append("Watts say little across kinds of lamp; photons into the water per joule do.")
    return tuple(told)


def _at(side: Side, depth_cm: float, low: float, high: float) -> AtDepth | None:
    if depth_cm > side.tank.depth_cm:
        return None
    cell = max(2.0, side.tank.length_cm / 40)
    (plane,) = planes(side.tank, side.water, side.emitters, depths_cm=(depth_cm,), cell_cm=cell)
    return AtDepth(
        depth_cm=depth_cm,
        mean_ppfd=plane.mean,
        half_width=_half_width(side, depth_cm),
        uniformity=plane.uniformity,
        share_in_range=float(np.mean((plane.in_water >= low) & (plane.in_water <= high))),
        dli_mol_m2_d=_dose(side, depth_cm, cell, plane.mean),
    )


def _dose(side: Side, depth_cm: float, cell_cm: float, mean_ppfd: float) -> float:
    """Dose of the mean light: each run's planned share of it through its own day."""
    means = [
        planes(side.tank, side.water, run.emitters, depths_cm=(depth_cm,), cell_cm=cell_cm)[0].mean
        for run in side.runs
        if run.emitters
    ]
    days = [dli(run.course) / 100 for run in side.runs if run.emitters]
    planned = sum(means)
    if planned <= 0:
        return 0.0
    return mean_ppfd / planned * sum(m * d for m, d in zip(means, days, strict=True))


def _half_width(side: Side, depth_cm: float) -> float | None:
    """The usual half-width over the depth: the median of a few spread places."""
    if side.half_width is None:
        return None
    x = side.tank.length_cm * (np.arange(4) + 0.5) / 4
    y = side.tank.width_cm * (np.arange(3) + 0.5) / 3
    grid = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    points = np.column_stack([grid, np.full(len(grid), depth_cm)])
    return float(np.median(side.half_width(points)))


def _load(run: Run, passed: float) -> Load:
    return Load(
        levels=run.course,
        watts=run.watts,
        ppf_umol_s=sum(emitter.ppf_umol_s for emitter in run.emitters),
        share_into_water=passed,
    )


def shimmer_left(tank: Tank, water: Water, emitters: Sequence[Emitter]) -> float | None:
    """What survives of a small lamp's dance in the middle of the tank, halfway down, 0–1."""
    if not emitters:
        return None
    try:
        found = shimmer(
            emitters,
            x_cm=tank.length_cm / 2,
            y_cm=tank.width_cm / 2,
            depth_cm=tank.depth_cm / 2,
            ripple=RIPPLE,
            refractive_index=water.refractive_index,
            directions=DIRECTIONS,
        )
    except ValueError:  # no light reaches the middle
        return None
    return found.survives


def _bands(side: Side) -> tuple[float, float, float]:
    """Shares of the photons in 400–500, 500–600 and 600–700 nm, at the lamps."""
    parts = [(lamp.spectrum, lamp.ppf_umol_s) for lamp in side.lamps]
    if not parts or sum(flux for _, flux in parts) <= 0:
        return 0.0, 0.0, 0.0
    return blend(parts).third_shares
