"""The measured map: plan and readings made into one account of the light, with its doubt.

The method stands in `posterior` and `weighing`, the beliefs in `priors`, `stories` and `shade`; the
light itself comes from the engine. Here the readings are made ready and the answers are put into a
member's terms. A reading held to be mistaken is not dropped: it counts for little, the map stays
open to its being right, and it is named (`MeasuredMap.wrong`).
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from server.surveys import changed, mixture, priors, response, weighing
from server.surveys.anchored import lamps_as_told
from server.surveys.plan import Plan, Reading, points_of
from server.surveys.posterior import Evidence, Posterior
from server.surveys.weighing import Whole

Floats = NDArray[np.float64]

LOW, HIGH = 0.1, 0.9
"""Ends of the 80 % interval."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Estimate:
    """PPFD at places with its 80 % interval [µmol m⁻² s⁻¹], each shape (n,).

    log_mean, log_sd: of ln PPFD under each combination of beam and belief, (c, n); weight (c,).
    """

    ppfd: Floats
    low: Floats
    high: Floats
    log_mean: Floats
    log_sd: Floats
    weight: Floats

    @property
    def half_width(self) -> Floats:
        """Half of the interval over the value, (n,)."""
        return (self.high - self.low) / (2 * self.ppfd)

    def at(self, index: int) -> "Estimate":
        """The same at one of the places."""
        one = slice(index, index + 1)
        return Estimate(
            ppfd=self.ppfd[one],
            low=self.low[one],
            high=self.high[one],
            log_mean=self.log_mean[:, one],
            log_sd=self.log_sd[:, one],
            weight=self.weight,
        )

    def chance_below(self, ppfd: Floats | float) -> Floats:
        """Probability that the light is below so much, (n,)."""
        level = np.log(np.maximum(np.broadcast_to(ppfd, self.ppfd.shape), 1e-9))
        return mixture.chance_below(level, self.log_mean, self.log_sd, self.weight)


@dataclass(frozen=True, kw_only=True)
class Known:
    """A number with its 80 % interval."""

    value: float
    low: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Fit:
    """What the readings made of the plan's numbers.

    typical_error_percent: median distance of a reading from what all others foretell, None below
    two readings. lamp_factors: output of each lamp against the plan. wall_loss: share of each
    bright wall's light that is lost. beam_deg: None where lamps have measured tables.
    """

    output_factor: Known
    lamp_factors: tuple[Known, ...]
    beam_deg: Known | None
    absorption_per_m: Known
    height_error_cm: Known
    wall_loss: dict[str, Known]
    reading_error_percent: float
    remainder_percent: float
    typical_error_percent: float | None


@dataclass(frozen=True, kw_only=True, eq=False)
class LeftOut:
    """Each used reading against what all the others foretell, arrays (n,).

    score: distance over its own standard deviation.
    """

    ppfd: Floats
    low: Floats
    high: Floats
    off_percent: Floats
    score: Floats


@dataclass(frozen=True, kw_only=True, eq=False)
class MeasuredMap:
    """Light anywhere in the tank, and what was learnt about plan and readings.

    used: the readings that count, in order; wrong: indexes into `used` of those that do not fit;
    set_aside: readings a member put aside.
    """

    plan: Plan
    beliefs: priors.Priors
    meters: priors.Meters
    used: tuple[Reading, ...]
    set_aside: tuple[Reading, ...]
    wrong: tuple[int, ...]
    posterior: Whole
    fit: Fit
    left_out: LeftOut

    def at(self, points: Floats) -> Estimate:
        """The light at points of shape (n, 3)."""
        return self.read(self.answers(points))

    def answers(self, points: Floats) -> response.Answers:
        """The plan's light and its sensitivities at points (n, 3)."""
        return response.of(self.plan).at(np.asarray(points, dtype=np.float64).reshape(-1, 3))

    def read(self, answers: response.Answers) -> Estimate:
        """The light where the engine was already asked."""
        mean, variance = self.posterior.predict(answers)
        sd, weight = np.sqrt(variance), self.posterior.weight
        low, middle, high = (
            np.exp(mixture.quantile(share, mean, sd, weight)) for share in (LOW, 0.5, HIGH)
        )
        return Estimate(ppfd=middle, low=low, high=high, log_mean=mean, log_sd=sd, weight=weight)

    @cached_property
    def relative(self) -> "MeasuredMap":
        """The same in the meter's own terms, for questions its factor does not matter to.

        Before against after and this corner against that are asked of it; how much light there
        is, is not.
        """
        every = (*self.used, *self.set_aside)
        return estimate(self.plan, every, beliefs=self.beliefs) if self.meters.any else self

    @property
    def corrected(self) -> Plan:
        """The plan with its numbers put right (remainder, growth and shade are not in it)."""
        return self.corrected_as(self.plan)

    def corrected_as(self, plan: Plan) -> Plan:
        """Any plan of the same lamps and water with what was learnt put into its numbers."""
        fit, stated, best = self.fit, self.plan, self.posterior.best.case
        up_cm = fit.height_error_cm.value
        if best.anchor is not None:
            plan = lamps_as_told(plan, best.anchor)
            up_cm -= best.story.aside[2] if len(best.story.who) == len(stated.lamps) else 0.0
        plan = changed.with_output(plan, tuple(factor.value for factor in fit.lamp_factors))
        if fit.beam_deg is not None and stated.beam_deg is not None:
            plan = changed.with_beam(plan, fit.beam_deg.value - stated.beam_deg)
        plan = changed.with_height(plan, up_cm)
        return changed.with_absorption(plan, fit.absorption_per_m.value - stated.absorption_per_m)


def estimate(
    plan: Plan,
    readings: Sequence[Reading],
    *,
    beliefs: priors.Priors | None = None,
    meters: priors.Meters | None = None,
) -> MeasuredMap:
    """Plan and readings made into one map.

    meters: how well the factor of each meter is known; unnamed ones are taken at their word.
    Works from no readings on. Raises ValueError for a reading that is not a finite number ≥ 0 or
    lies outside the tank.
    """
    beliefs = beliefs or priors.Priors()
    meters = meters or priors.Meters()
    used = tuple(reading for reading in readings if not reading.set_aside)
    for reading in readings:
        _check(plan, reading)
    evidence = _evidence(plan, used, beliefs, meters)
    found = weighing.weigh(evidence, beliefs, width_cm=_width(plan))
    odd = found.wrong + found.shaded > 0.5
    wrong = tuple(int(i) for i in np.flatnonzero(odd & (found.shaded < 0.5)))
    left_out = _left_out(found.best)
    return MeasuredMap(
        plan=plan,
        beliefs=beliefs,
        meters=meters,
        used=used,
        set_aside=tuple(reading for reading in readings if reading.set_aside),
        wrong=wrong,
        posterior=found,
        fit=_fit(plan, found, left_out),
        left_out=left_out,
    )


def _check(plan: Plan, reading: Reading) -> None:
    tank = plan.tank
    values = (reading.x_cm, reading.y_cm, reading.depth_cm, reading.ppfd)
    if not np.all(np.isfinite(values)) or reading.ppfd < 0:
        raise ValueError("a reading needs a place and a light that are finite and not negative")
    sides = (tank.length_cm, tank.width_cm, tank.depth_cm)
    if any(not 0 <= v <= side for v, side in zip(values[:3], sides, strict=True)):
        raise ValueError("a reading must lie inside the tank")


def _width(plan: Plan) -> float:
    return float(min(plan.tank.length_cm, plan.tank.width_cm))


def _evidence(
    plan: Plan, used: Sequence[Reading], beliefs: priors.Priors, meters: priors.Meters
) -> Evidence:
    """Readings as logarithms, with what meter floor and place add to their variance.

    A reading of zero is taken as the meter's floor: the least it could have shown.
    """
    points = points_of(used)
    answers, place = response.of(plan).with_place(points, beliefs.place_cm)
    read = np.array([reading.ppfd for reading in used], dtype=np.float64)
    floor = beliefs.floor_ppfd / np.maximum(read, beliefs.floor_ppfd)
    log_read = np.log(np.maximum(read, beliefs.floor_ppfd))
    return Evidence(
        answers=answers,
        log_read=log_read,
        own_variance=floor**2 + place,
        if_wrong=np.maximum(beliefs.wrong**2, (log_read - answers.log_plan) ** 2),
        shared=_shared(used, meters),
        meters=tuple(reading.meter for reading in used),
    )


def _shared(used: Sequence[Reading], meters: priors.Meters) -> Floats:
    """Covariance of ln readings from their meters' factors: shared by those of one meter."""
    keys = np.array([reading.meter for reading in used], dtype=str)
    factor = np.array([meters.of(reading.meter) for reading in used], dtype=np.float64)
    return np.asarray((keys[:, None] == keys[None, :]) * np.outer(factor, factor))


def _left_out(best: Posterior) -> LeftOut:
    """Leave-one-out over the likeliest part, in µmol m⁻² s⁻¹ and in percent."""
    evidence = best.evidence
    if evidence.count == 0:
        none = np.zeros(0)
        return LeftOut(ppfd=none, low=none, high=none, off_percent=none, score=none)
    mean, variance, weight = best.left_out()
    variance = variance - evidence.if_wrong * best.case.odd.wrong  # what a mistake was allowed
    middle = (weight * mean).sum(axis=0)
    spread = np.sqrt((weight * (variance + (mean - middle) ** 2)).sum(axis=0))
    away = evidence.log_read - middle
    return LeftOut(
        ppfd=np.exp(middle),
        low=np.exp(middle - mixture.Z80 * spread),
        high=np.exp(middle + mixture.Z80 * spread),
        off_percent=100 * np.expm1(away),
        score=away / spread,
    )


def _fit(plan: Plan, found: Whole, left_out: LeftOut) -> Fit:
    told = _known(found, _wanted(plan, found))
    lamps = [told[f"lamp {n}"] for n in range(len(plan.lamps))]
    typical = float(np.median(np.abs(left_out.off_percent))) if left_out.score.size > 1 else None
    reading, remainder = (
        100 * sum(float(s * (p.weight @ getattr(p.grid, name))) for s, p in _shares(found))
        for name in ("reading", "remainder")
    )
    return Fit(
        output_factor=_factor(told["output"]),
        lamp_factors=tuple(_factor(one) for one in lamps),
        beam_deg=None if plan.beam_deg is None else _moved(told["beam"], plan.beam_deg, 5.0, 170.0),
        absorption_per_m=_moved(told["absorption"], plan.absorption_per_m, 0.0, 100.0),
        height_error_cm=told["height"],
        wall_loss={
            side: _moved(told[f"wall {side}"], 0.0, 0.0, 1.0)
            for side in found.evidence.answers.response.sides
        },
        reading_error_percent=reading,
        remainder_percent=remainder,
        typical_error_percent=typical,
    )


def _shares(found: Whole) -> list[tuple[float, Posterior]]:
    return list(zip((float(s) for s in found.share), found.parts, strict=True))


Rows = list[tuple[Floats, Floats]]
"""A number under every combination of every part: mean (c,) and variance (c,)."""


def _wanted(plan: Plan, found: Whole) -> dict[str, Rows]:
    """The plan's numbers under every story."""
    rows: dict[str, Rows] = {}
    for part in found.parts:
        names, mean, covariance = part.corrections()
        for name, (start, direction) in _directions(plan, part, names).items():
            middle = start + mean @ direction
            variance = np.einsum("p,cpq,q->c", direction, covariance, direction)
            rows.setdefault(name, []).append((middle, np.maximum(variance, 1e-12)))
    return rows


def _directions(
    plan: Plan, part: Posterior, names: tuple[str, ...]
) -> dict[str, tuple[float, Floats]]:
    """Each number of the plan as what the story says and a sum of corrections."""
    story = part.case.story
    output = np.array(story.log_output or np.zeros(len(plan.lamps)))

    def along(**wanted: float) -> Floats:
        return np.array([wanted.get(name.replace(" ", "_"), 0.0) for name in names])

    lamps = [along(**{"output": 1.0, f"lamp_{n}": 1.0}) for n in range(len(plan.lamps))]
    flux = np.array([sum(e.ppf_umol_s for e in lamp.emitters) for lamp in plan.lamps])
    share = flux * np.exp(output)
    share = share / max(float(share.sum()), 1e-12)
    common = float(np.log(max(flux @ np.exp(output), 1e-12) / max(float(flux.sum()), 1e-12)))
    up = {"height": 1.0} if len(story.who) == len(plan.lamps) else {}
    found = {
        "output": (common, np.sum([s * row for s, row in zip(share, lamps, strict=True)], axis=0)),
        "beam": (0.0, np.zeros(len(names)) if story.wings else along(beam=1.0)),
        "absorption": (0.0, along(absorption=1.0)),
        "height": (0.0, along(rise=1.0, **up)),
    }
    found |= {f"lamp {n}": (float(output[n]), row) for n, row in enumerate(lamps)}
    for side in part.evidence.answers.response.sides:
        found[f"wall {side}"] = (story.lost.get(side, 0.0), along(**{f"wall_{side}": 1.0}))
    return found


def _known(found: Whole, wanted: dict[str, Rows]) -> dict[str, Known]:
    """Numbers with their intervals over the whole mixture."""
    columns = [np.concatenate([np.stack(row) for row in rows], axis=1) for rows in wanted.values()]
    middle, variance = np.stack(columns, axis=2)
    sd = np.sqrt(variance)
    ends = [mixture.quantile(share, middle, sd, found.weight) for share in (0.5, LOW, HIGH)]
    return {
        name: Known(value=float(value), low=float(low), high=float(high))
        for name, value, low, high in zip(wanted, *ends, strict=True)
    }


def _factor(log: Known) -> Known:
    return Known(
        value=float(np.exp(log.value)), low=float(np.exp(log.low)), high=float(np.exp(log.high))
    )


def _moved(shift: Known, start: float, least: float, most: float) -> Known:
    """A number from its shift, held within what it can be."""
    ends = (start + shift.value, start + shift.low, start + shift.high)
    value, low, high = (float(np.clip(end, least, most)) for end in ends)
    return Known(value=value, low=low, high=high)
