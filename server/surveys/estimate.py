"""The measured map: plan and readings made into one account of the light, with its doubt.

The method stands in `posterior`, the beliefs in `priors`, the light itself comes from the engine.
Here the readings are made ready, mistaken ones are looked for, and the answers are put into a
member's terms. A reading held to be mistaken is not dropped: it counts for little, the map stays
open to its being right, and it is named (`MeasuredMap.wrong`).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.surveys import changed, mixture, posterior, priors, response
from server.surveys.plan import Plan, Reading, points_of
from server.surveys.posterior import Evidence, Posterior

Floats = NDArray[np.float64]

LOW, HIGH = 0.1, 0.9
"""Ends of the 80 % interval."""

MOST_WRONG = 24
FEW = 60  # readings up to which every belief is tried on all of them


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
    used: tuple[Reading, ...]
    set_aside: tuple[Reading, ...]
    wrong: tuple[int, ...]
    posterior: Posterior
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

    @property
    def corrected(self) -> Plan:
        """The plan with its numbers put right (the remainder is not in it)."""
        return self.corrected_as(self.plan)

    def corrected_as(self, plan: Plan) -> Plan:
        """Any plan of the same lamps and water with what was learnt put into its numbers."""
        fit, stated = self.fit, self.plan
        plan = changed.with_output(plan, tuple(factor.value for factor in fit.lamp_factors))
        if fit.beam_deg is not None and stated.beam_deg is not None:
            plan = changed.with_beam(plan, fit.beam_deg.value - stated.beam_deg)
        plan = changed.with_height(plan, fit.height_error_cm.value)
        return changed.with_absorption(plan, fit.absorption_per_m.value - stated.absorption_per_m)


def estimate(
    plan: Plan,
    readings: Sequence[Reading],
    *,
    beliefs: priors.Priors | None = None,
) -> MeasuredMap:
    """Plan and readings made into one map.

    Works from no readings on. Raises ValueError for a reading that is not a finite number ≥ 0 or
    lies outside the tank.
    """
    beliefs = beliefs or priors.Priors()
    grid_beliefs = beliefs.surprises or priors.surprises(_width(plan))
    used = tuple(reading for reading in readings if not reading.set_aside)
    for reading in readings:
        _check(plan, reading)
    evidence = _evidence(plan, used, beliefs)
    grid = posterior.grid_of(evidence.answers, beliefs, grid_beliefs)
    found, best, wrong = _weigh(grid, evidence, beliefs)
    left_out = _left_out(best, wrong, beliefs)
    return MeasuredMap(
        plan=plan,
        beliefs=beliefs,
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


def _evidence(plan: Plan, used: Sequence[Reading], beliefs: priors.Priors) -> Evidence:
    """Readings as logarithms, with what meter floor and place add to their variance.

    A reading of zero is taken as the meter's floor: the least it could have shown.
    """
    points = points_of(used)
    answers, place = response.of(plan).with_place(points, beliefs.place_cm)
    read = np.array([reading.ppfd for reading in used], dtype=np.float64)
    light = np.maximum(read, np.exp(answers.log_plan))
    floor = beliefs.floor_ppfd / np.maximum(light, beliefs.floor_ppfd)
    log_read = np.log(np.maximum(read, beliefs.floor_ppfd))
    return Evidence(
        answers=answers,
        log_read=log_read,
        own_variance=floor**2 + place,
        if_wrong=np.maximum(beliefs.wrong**2, (log_read - answers.log_plan) ** 2),
        wrong=np.zeros(read.size, dtype=bool),
    )


def _weigh(
    grid: posterior.Grid, evidence: Evidence, beliefs: priors.Priors
) -> tuple[Posterior, Posterior, tuple[int, ...]]:
    """The mixture over beams, beliefs, and which readings are mistaken; and its likeliest part."""
    if evidence.count > FEW:
        grid = _learnt_on_few(grid, evidence, beliefs)
    best, wrong = _most_probable(grid, evidence, beliefs)
    if evidence.count == 0:
        return posterior.probable(best, most=_most(0)), best, ()
    odds = np.log(beliefs.wrong_share / (1 - beliefs.wrong_share))
    parts = [(best, best.log_evidence + odds * len(wrong))]
    for other in _alternatives(best, wrong, beliefs, odds):
        found = _holding(best, wrong, other, beliefs)
        parts.append((found, found.log_evidence + odds * len(other)))
    whole = posterior.together(parts)
    return posterior.probable(whole, most=_most(evidence.count)), best, wrong


def _most(count: int) -> int:
    """How many combinations to keep: fewer where each costs more."""
    return 60 if count <= FEW else 12


def _learnt_on_few(
    grid: posterior.Grid, evidence: Evidence, beliefs: priors.Priors
) -> posterior.Grid:
    """The beliefs that stand a chance, learnt from an even choice of many readings."""
    chosen = np.unique(np.linspace(0, evidence.count - 1, FEW // 2).astype(np.intp))
    tried, _ = _most_probable(grid, evidence.part(chosen), beliefs)
    return posterior.probable(tried, most=_most(evidence.count)).grid


def _most_probable(
    grid: posterior.Grid, evidence: Evidence, beliefs: priors.Priors
) -> tuple[Posterior, tuple[int, ...]]:
    """Readings held mistaken one after another as long as that makes the rest more probable."""
    odds = np.log(beliefs.wrong_share / (1 - beliefs.wrong_share))
    wrong: list[int] = []
    best = posterior.update(grid, evidence)
    while evidence.count and len(wrong) < _most_wrong(evidence.count):
        gain = posterior.if_wrong(best) + odds
        gain[wrong] = -np.inf
        worst = int(np.argmax(gain))
        if gain[worst] < 0:
            break
        wrong.append(worst)
        best = posterior.holding(best, worst, wrong=True)
    return best, tuple(sorted(wrong))


def _most_wrong(count: int) -> int:
    return min(max(1, count // 3), MOST_WRONG)


def _holding(
    best: Posterior, wrong: tuple[int, ...], other: tuple[int, ...], beliefs: priors.Priors
) -> Posterior:
    """The posterior with another choice of mistaken readings."""
    for index in set(other) - set(wrong):
        best = posterior.holding(best, index, wrong=True)
    for index in set(wrong) - set(other):
        best = posterior.holding(best, index, wrong=False)
    return best


def _alternatives(
    best: Posterior, wrong: tuple[int, ...], beliefs: priors.Priors, odds: float
) -> list[tuple[int, ...]]:
    """Other choices of mistaken readings worth keeping in mind, at most six."""
    found: list[tuple[int, ...]] = [tuple(i for i in wrong if i != out) for out in wrong]
    gain = posterior.if_wrong(best) + odds
    gain[list(wrong)] = -np.inf
    for index in np.argsort(-gain)[:3]:
        if gain[index] > -3.0:
            found.append((*wrong, int(index)))
    for out in wrong:
        rest = tuple(i for i in wrong if i != out)
        twin = _nearest(best.evidence, out)
        if twin is not None and twin not in wrong:
            found.append((*rest, twin))
    return found[:6]


def _nearest(evidence: Evidence, index: int) -> int | None:
    """The reading closest to one, if it was taken at the same place."""
    gap = np.linalg.norm(evidence.answers.points - evidence.answers.points[index], axis=1)
    gap[index] = np.inf
    twin = int(np.argmin(gap)) if gap.size > 1 else index
    return twin if gap.size > 1 and gap[twin] < 3.0 else None


def _left_out(best: Posterior, wrong: tuple[int, ...], beliefs: priors.Priors) -> LeftOut:
    """Leave-one-out over the likeliest part, in µmol m⁻² s⁻¹ and in percent."""
    evidence = best.evidence
    if evidence.count == 0:
        none = np.zeros(0)
        return LeftOut(ppfd=none, low=none, high=none, off_percent=none, score=none)
    mean, variance, weight = best.left_out()
    variance[:, list(wrong)] -= evidence.if_wrong[list(wrong)]  # what a mistake was allowed
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


def _fit(plan: Plan, found: Posterior, left_out: LeftOut) -> Fit:
    names = (*found.evidence.answers.response.names, "beam")
    mean, covariance = found.corrections()

    lamps = [name for name in names if name.startswith("lamp ")]
    walls = [name for name in names if name.startswith("wall ")]
    wanted: list[tuple[str, ...]] = [("beam",), ("absorption",), ("height",)]
    wanted += [(wall,) for wall in walls] + [("output", lamp) for lamp in lamps]
    rows = [np.array([float(name in chosen) for name in names]) for chosen in wanted]
    told = _known(mean, covariance, found.weight, np.array([_common(plan, names), *rows]))
    output, beam, water, height = told[:4]
    typical = float(np.median(np.abs(left_out.off_percent))) if left_out.score.size > 1 else None
    return Fit(
        output_factor=_factor(output),
        lamp_factors=tuple(_factor(one) for one in (told[4 + len(walls) :] or (output,))),
        beam_deg=None if plan.beam_deg is None else _moved(beam, plan.beam_deg, 5.0, 170.0),
        absorption_per_m=_moved(water, plan.absorption_per_m, 0.0, 100.0),
        height_error_cm=height,
        wall_loss={
            wall.removeprefix("wall "): one for wall, one in zip(walls, told[4:], strict=False)
        },
        reading_error_percent=100 * float(found.weight @ found.grid.reading),
        remainder_percent=100 * float(found.weight @ found.grid.remainder),
        typical_error_percent=typical,
    )


def _known(
    mean: Floats, covariance: Floats, weight: Floats, directions: Floats
) -> tuple[Known, ...]:
    """Sums of corrections, one per row of `directions` (k, p+1), with their intervals."""
    middle = mean @ directions.T
    variance = np.einsum("kp,cpq,kq->ck", directions, covariance, directions)
    sd = np.sqrt(np.maximum(variance, 1e-12))
    ends = [mixture.quantile(share, middle, sd, weight) for share in (0.5, LOW, HIGH)]
    return tuple(
        Known(value=float(value), low=float(low), high=float(high))
        for value, low, high in zip(*ends, strict=True)
    )


def _common(plan: Plan, names: tuple[str, ...]) -> Floats:
    """The direction that is the output of all lamps together: each by its share of the flux."""
    flux = np.array([sum(e.ppf_umol_s for e in lamp.emitters) for lamp in plan.lamps])
    share = flux / max(float(flux.sum()), 1e-12)
    direction = np.zeros(len(names))
    direction[names.index("output")] = 1.0
    for number, part in enumerate(share):
        if f"lamp {number}" in names:
            direction[names.index(f"lamp {number}")] = part
    return direction


def _factor(log: Known) -> Known:
    return Known(
        value=float(np.exp(log.value)), low=float(np.exp(log.low)), high=float(np.exp(log.high))
    )


def _moved(shift: Known, start: float, least: float, most: float) -> Known:
    """A number from its shift, held within what it can be."""
    ends = (start + shift.value, start + shift.low, start + shift.high)
    value, low, high = (float(np.clip(end, least, most)) for end in ends)
    return Known(value=value, low=low, high=high)
