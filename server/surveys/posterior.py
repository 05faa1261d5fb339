"""What plan and readings together say: a weighted set of normal beliefs.

Method. Write ln PPFD at a place as

    ln E(plan with this beam) + Σ sensitivity × correction + remainder,

with normal beliefs about the corrections (`priors`), a Gaussian process for the remainder and
normal errors of the readings. For one beam angle and one belief about how far tanks depart from
the model everything is normal, and the update is exact (Rasmussen & Williams 2006, sec. 2.7:
explicit basis functions). Beams and beliefs form a grid; each is weighted by how probable it
makes the readings (its marginal likelihood), and answers are read from the weighted mixture.
Around each beam of the grid the light is taken as straight in the beam angle.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from server.surveys import matern
from server.surveys.priors import Priors, Surprise
from server.surveys.response import Answers

Floats = NDArray[np.float64]

BEAM_STEP_DEG = 7.0
BEAM_SPREAD_DEG = 6.0
BEAM_STEPS = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """The readings as the update wants them: what they say and what each may be wrong by.

    log_read: ln of each reading, (n,). own_variance: variance of its logarithm from meter floor
    and place, (n,). if_wrong: variance of its logarithm if it is mistaken, (n,). wrong: which
    readings are held to be so, (n,) of bool.
    """

    answers: Answers
    log_read: Floats
    own_variance: Floats
    if_wrong: Floats
    wrong: NDArray[np.bool_]

    @property
    def count(self) -> int:
        return int(self.log_read.size)

    def part(self, chosen: NDArray[np.intp]) -> "Evidence":
        return Evidence(
            answers=self.answers.part(chosen),
            log_read=self.log_read[chosen],
            own_variance=self.own_variance[chosen],
            if_wrong=self.if_wrong[chosen],
            wrong=self.wrong[chosen],
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Grid:
    """Combinations of beam and belief: shift_deg (c,), size (c, p+1), log_weight (c,).

    size: standard deviation of each correction, the beam's own spread last. remainder, range_cm,
    reading: of each combination's belief, (c,).
    """

    shift_deg: Floats
    size: Floats
    remainder: Floats
    range_cm: Floats
    reading: Floats
    log_weight: Floats

    def part(self, chosen: NDArray[np.intp]) -> "Grid":
        return Grid(
            shift_deg=self.shift_deg[chosen],
            size=self.size[chosen],
            remainder=self.remainder[chosen],
            range_cm=self.range_cm[chosen],
            reading=self.reading[chosen],
            log_weight=self.log_weight[chosen],
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Posterior:
    """The mixture after the readings.

    inverse: of each combination's covariance of the readings, (c, n, n). pull: inverse times the
    readings' distance from the plan, (c, n). log_weight: ln of weights that sum to 1, (c,), kept as
    logarithms because a mistaken reading can make the right combination 1e-300 probable.
    log_evidence: of them all.
    """

    grid: Grid
    evidence: Evidence
    inverse: Floats
    pull: Floats
    log_weight: Floats
    log_evidence: float

    @cached_property
    def weight(self) -> Floats:
        """Weight of each combination, (c,)."""
        return _normalised(self.log_weight)

    def predict(self, answers: Answers) -> tuple[Floats, Floats]:
        """Mean and variance of ln PPFD at places under each combination, both (c, m)."""
        shared, own = self._shared(answers), self._own(answers)
        mean = self._plan(answers) + np.einsum("cmn,cn->cm", shared, self.pull)
        told = np.einsum("cmn,cmn->cm", shared @ self.inverse, shared)
        return mean, np.maximum(own - told, 1e-10)

    def remainder_at(self, answers: Answers) -> Floats:
        """Mean remainder at places over the mixture, (m,)."""
        near = self._near(answers)
        return np.asarray(self.weight @ np.einsum("cmn,cn->cm", near, self.pull))

    def corrections(self) -> tuple[Floats, Floats]:
        """Each correction under each combination: mean (c, p+1) and covariance (c, p+1, p+1).

        The last is the beam, counted from the plan's own angle [°].
        """
        design = _design(self.grid, self.evidence.answers)
        shared = self.grid.size[:, :, None] ** 2 * design.transpose(0, 2, 1)
        mean = np.einsum("cpn,cn->cp", shared, self.pull)
        mean[:, -1] += self.grid.shift_deg
        told = shared @ self.inverse @ shared.transpose(0, 2, 1)
        own = np.eye(mean.shape[1]) * self.grid.size[:, None, :] ** 2
        return mean, own - told

    def covariance(self, one: Answers, other: Answers) -> Floats:
        """Covariance of ln PPFD between two sets of places over the whole mixture, (m, k)."""
        here, there = self._shared(one), self._shared(other)
        prior = self._prior(one, other)
        inside = prior - here @ self.inverse @ there.transpose(0, 2, 1)
        means = (self.predict(one)[0], self.predict(other)[0])
        away = [mean - self.weight @ mean for mean in means]
        between = np.einsum("c,cm,ck->mk", self.weight, away[0], away[1])
        return np.asarray(np.einsum("c,cmk->mk", self.weight, inside) + between)

    def variance(self, answers: Answers) -> Floats:
        """Variance of ln PPFD at places over the whole mixture, (m,)."""
        mean, inside = self.predict(answers)
        return np.asarray(self.weight @ (inside + (mean - self.weight @ mean) ** 2))

    def left_out(self) -> tuple[Floats, Floats, Floats]:
        """Each reading foretold from all others: mean, variance, weight, all (c, n).

        Closed form of leave-one-out (Rasmussen & Williams 2006, eq. 5.12); the weights of the
        combinations are freed of the reading that is left out.
        """
        precision = np.einsum("cnn->cn", self.inverse)
        mean = self.evidence.log_read - self.pull / precision
        variance = 1.0 / precision
        told = -0.5 * (np.log(variance) + self.pull**2 / precision)
        return mean, variance, _normalised(self.log_weight[:, None] - told)

    def _plan(self, answers: Answers) -> Floats:
        shifts, back = np.unique(self.grid.shift_deg, return_inverse=True)
        return answers.log_at(shifts)[back]

    def _near(self, answers: Answers) -> Floats:
        gap = matern.distances(answers.points, self.evidence.answers.points)
        return _field(self.grid, gap)

    def _shared(self, answers: Answers) -> Floats:
        """Prior covariance between places and readings, (c, m, n)."""
        return self._prior(answers, self.evidence.answers)

    def _prior(self, one: Answers, other: Answers) -> Floats:
        gap = matern.distances(one.points, other.points)
        return _linear(self.grid, one, other) + _field(self.grid, gap)

    def _own(self, answers: Answers) -> Floats:
        design = _design(self.grid, answers)
        linear = np.einsum("cmp,cp->cm", design**2, self.grid.size**2)
        return np.asarray(linear + self.grid.remainder[:, None] ** 2)


def grid_of(answers: Answers, priors: Priors, beliefs: tuple[Surprise, ...]) -> Grid:
    """Every beam of the grid with every belief."""
    plan = answers.response.plan
    shifts, weights, spread = _beams(priors, movable=plan.beam_deg is not None)
    rows = [
        [_size(name, belief, priors, plan.absorption_per_m) for name in answers.response.names]
        for belief in beliefs
    ]
    size = np.column_stack([np.array(rows), np.full(len(beliefs), spread)])
    weight = np.outer(weights, [belief.weight for belief in beliefs])

    def spread_out(values: list[float]) -> Floats:
        return np.tile(np.array(values), shifts.size)

    return Grid(
        shift_deg=np.repeat(shifts, len(beliefs)),
        size=np.tile(size, (shifts.size, 1)),
        remainder=spread_out([belief.remainder for belief in beliefs]),
        range_cm=spread_out([belief.range_cm for belief in beliefs]),
        reading=spread_out([belief.reading for belief in beliefs]),
        log_weight=np.log(weight.ravel() / weight.sum()),
    )


def update(grid: Grid, evidence: Evidence) -> Posterior:
    """The mixture after the readings, every combination kept."""
    answers = evidence.answers
    gap = matern.distances(answers.points, answers.points)
    covariance = _linear(grid, answers, answers) + _field(grid, gap)
    noise = grid.reading[:, None] ** 2 + evidence.own_variance
    noise = noise + evidence.if_wrong * evidence.wrong
    index = np.arange(evidence.count)
    covariance[:, index, index] += noise
    shifts, back = np.unique(grid.shift_deg, return_inverse=True)
    misfit = evidence.log_read - answers.log_at(shifts)[back]
    inverse = np.asarray(np.linalg.inv(covariance), dtype=np.float64)
    pull = np.einsum("cnk,ck->cn", inverse, misfit)
    size = np.linalg.slogdet(covariance)[1] + evidence.count * np.log(2 * np.pi)
    log_weight = grid.log_weight - 0.5 * (size + (pull * misfit).sum(axis=1))
    return Posterior(
        grid=grid,
        evidence=evidence,
        inverse=inverse,
        pull=pull,
        log_weight=log_weight - log_sum(log_weight),
        log_evidence=log_sum(log_weight),
    )


def if_wrong(posterior: Posterior) -> Floats:
    """How much more probable the readings are if one of them is mistaken, ln ratio (n,)."""
    every = np.arange(posterior.evidence.count)
    gain = _gain(posterior, posterior.evidence.if_wrong, every)
    return log_sum_columns(posterior.log_weight[:, None] + gain)


def holding(posterior: Posterior, index: int, *, wrong: bool) -> Posterior:
    """The posterior with one more reading held to be mistaken, or one held so believed again.

    One variance changes, so the inverses change by one outer product (Sherman & Morrison 1950).
    """
    extra = float(posterior.evidence.if_wrong[index]) * (1 if wrong else -1)
    row = posterior.inverse[:, index, :]
    scale = extra / (1 + extra * row[:, index])
    log_weight = posterior.log_weight + _gain(posterior, extra, index)
    flags = posterior.evidence.wrong.copy()
    flags[index] = wrong
    outer = row[:, :, None] * row[:, None, :]
    return Posterior(
        grid=posterior.grid,
        evidence=replace(posterior.evidence, wrong=flags),
        inverse=posterior.inverse - scale[:, None, None] * outer,
        pull=posterior.pull - (scale * posterior.pull[:, index])[:, None] * row,
        log_weight=log_weight - log_sum(log_weight),
        log_evidence=posterior.log_evidence + log_sum(log_weight),
    )


def _gain(posterior: Posterior, extra: Floats | float, which: NDArray[np.intp] | int) -> Floats:
    """ln-probability gained by so much extra variance of a reading or several, (c, …)."""
    variance = 1.0 / posterior.inverse[:, which, which]
    away = posterior.pull[:, which] * variance
    wide = variance + extra
    gain = -0.5 * (np.log(wide / variance) + away**2 / wide - away**2 / variance)
    return np.asarray(gain, dtype=np.float64)


def together(parts: list[tuple[Posterior, float]]) -> Posterior:
    """Several posteriors of the same readings, each with a ln weight, as one mixture."""
    logs = np.array([log_weight for _, log_weight in parts])
    share = logs - log_sum(logs)
    grids = [posterior.grid for posterior, _ in parts]
    first = parts[0][0]
    return Posterior(
        grid=Grid(
            shift_deg=np.concatenate([g.shift_deg for g in grids]),
            size=np.concatenate([g.size for g in grids]),
            remainder=np.concatenate([g.remainder for g in grids]),
            range_cm=np.concatenate([g.range_cm for g in grids]),
            reading=np.concatenate([g.reading for g in grids]),
            log_weight=np.concatenate([g.log_weight for g in grids]),
        ),
        evidence=first.evidence,
        inverse=np.concatenate([posterior.inverse for posterior, _ in parts]),
        pull=np.concatenate([posterior.pull for posterior, _ in parts]),
        log_weight=np.concatenate(
            [p.log_weight + s for (p, _), s in zip(parts, share, strict=True)]
        ),
        log_evidence=log_sum(logs),
    )


def probable(posterior: Posterior, *, most: int, kept: float = 0.995) -> Posterior:
    """Only the combinations that carry `kept` of the weight, and no more than `most`."""
    order = np.argsort(-posterior.weight, kind="stable")
    enough = int(np.searchsorted(np.cumsum(posterior.weight[order]), kept)) + 1
    chosen = order[: min(enough, most)]
    log_weight = posterior.log_weight[chosen]
    return replace(
        posterior,
        grid=posterior.grid.part(chosen),
        inverse=posterior.inverse[chosen],
        pull=posterior.pull[chosen],
        log_weight=log_weight - log_sum(log_weight),
    )


def log_sum(logs: Floats) -> float:
    """ln Σ exp, without overflow."""
    top = float(np.max(logs))
    return top + float(np.log(np.exp(logs - top).sum()))


def log_sum_columns(logs: Floats) -> Floats:
    """ln Σ exp down each column."""
    top = logs.max(axis=0)
    return np.asarray(top + np.log(np.exp(logs - top).sum(axis=0)))


def _beams(priors: Priors, *, movable: bool) -> tuple[Floats, Floats, float]:
    """Shifts of the grid, their weights, and the spread about each [°].

    Normals of one spread on an even grid, weighted by a normal, add up to the wider normal that
    is believed.
    """
    if not movable:
        return np.zeros(1), np.ones(1), 1e-3
    shifts = BEAM_STEP_DEG * np.arange(-BEAM_STEPS, BEAM_STEPS + 1, dtype=np.float64)
    wide = max(priors.beam_deg**2 - BEAM_SPREAD_DEG**2, 1.0)
    weights = np.exp(-0.5 * shifts**2 / wide)
    return shifts, weights / weights.sum(), BEAM_SPREAD_DEG


def _size(name: str, belief: Surprise, priors: Priors, absorption_per_m: float) -> float:
    """Standard deviation believed of one correction, by its name."""
    kind = name.split()[0]
    sizes = {
        "output": priors.output,
        "lamp": belief.lamp,
        "absorption": priors.absorption_per_m(absorption_per_m),
        "height": priors.height_cm,
        "wall": belief.wall,
    }
    return sizes[kind]


def _design(grid: Grid, answers: Answers) -> Floats:
    """Sensitivities under each combination, the beam's last, (c, m, p+1)."""
    shifts, back = np.unique(grid.shift_deg, return_inverse=True)
    slope = answers.beam_slope(shifts)[back]
    fixed = np.broadcast_to(answers.per_unit, (back.size, *answers.per_unit.shape))
    return np.concatenate([fixed, slope[:, :, None]], axis=2)


def _linear(grid: Grid, one: Answers, other: Answers) -> Floats:
    left = _design(grid, one) * grid.size[:, None, :] ** 2
    return np.asarray(left @ _design(grid, other).transpose(0, 2, 1))


def _field(grid: Grid, gap_cm: Floats) -> Floats:
    ranges, back = np.unique(grid.range_cm, return_inverse=True)
    shapes = np.array([matern.correlation(gap_cm, float(r)) for r in ranges])
    return np.asarray(grid.remainder[:, None, None] ** 2 * shapes[back])


def _normalised(logs: Floats) -> Floats:
    weight = np.exp(logs - logs.max(axis=0))
    return np.asarray(weight / weight.sum(axis=0))
