"""What plan and readings together say if one story is true: a weighted set of normal beliefs.

Method. Write ln PPFD at a place as

    ln E(story with this beam) + Σ sensitivity × correction + remainder + shade,

with normal beliefs about the corrections (`priors`), a Gaussian process for the remainder, another
where shade is suspected, and normal errors of the readings, of which a meter's factor is one that
all its readings share. For one beam angle and one belief about how far tanks depart from the model
everything is normal, and the update is exact (Rasmussen & Williams 2006, sec. 2.7: explicit basis
functions). Beams and beliefs form a grid; each is weighted by how probable it makes the readings
(its marginal likelihood). Around each beam of the grid the light is straight in the beam angle.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from server.surveys import matern, shade
from server.surveys.anchored import Anchor
from server.surveys.combinations import Grid, design, field, grid_of, linear
from server.surveys.priors import Priors, Surprise
from server.surveys.response import Answers
from server.surveys.stories import METER_SIZE, Story, View, view

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True, eq=False)
class Evidence:
    """The readings as the update wants them: what they say and what each may be wrong by.

    log_read: ln of each reading, (n,). own_variance: variance of its logarithm from meter floor
    and place, (n,). if_wrong: variance of its logarithm if it is mistaken, (n,). shared: covariance
    of the readings' logarithms from the factors of their meters, (n, n). meters: their keys.
    """

    answers: Answers
    log_read: Floats
    own_variance: Floats
    if_wrong: Floats
    shared: Floats
    meters: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        return int(self.log_read.size)

    @property
    def places(self) -> Floats:
        return self.answers.points

    @cached_property
    def gap_cm(self) -> Floats:
        return matern.distances(self.places, self.places)

    @cached_property
    def _remainders(self) -> dict[bytes, Floats]:
        return {}

    def remainder(self, grid: "Grid") -> Floats:
        """`field` between the readings, kept, as many stories share their beliefs."""
        key = grid.remainder.tobytes() + grid.range_cm.tobytes()
        if key not in self._remainders:
            self._remainders[key] = field(grid, self.gap_cm)
        return self._remainders[key]

    def part(self, chosen: NDArray[np.intp]) -> "Evidence":
        return Evidence(
            answers=self.answers.part(chosen),
            log_read=self.log_read[chosen],
            own_variance=self.own_variance[chosen],
            if_wrong=self.if_wrong[chosen],
            shared=self.shared[np.ix_(chosen, chosen)],
            meters=tuple(self.meters[i] for i in chosen) if self.meters else (),
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Odd:
    """Which readings are held to be mistaken, and which to lie in shade, (n,) of bool each.

    recognised: ln by which the mistakes are likelier than any, as they look like known ones.
    """

    wrong: Flags
    shaded: Flags
    recognised: float = 0.0

    @classmethod
    def none(cls, count: int) -> "Odd":
        return cls(wrong=np.zeros(count, dtype=bool), shaded=np.zeros(count, dtype=bool))

    def with_wrong(self, index: int, value: bool = True) -> "Odd":
        wrong = self.wrong.copy()
        wrong[index] = value
        return replace(self, wrong=wrong)

    def with_shaded(self, index: int, value: bool = True) -> "Odd":
        shaded = self.shaded.copy()
        shaded[index] = value
        return replace(self, shaded=shaded)

    def log_chance(self, wrong_share: float) -> float:
        """ln of its chance before any reading was taken."""
        mistaken = int(self.wrong.sum())
        odds = np.log(wrong_share / (1 - wrong_share)) * mistaken
        return float(odds) + self.recognised + shade.log_chance(self.shaded)

    def same(self, other: "Odd") -> bool:
        return bool(
            np.array_equal(self.wrong, other.wrong) and np.array_equal(self.shaded, other.shaded)
        )


@dataclass(frozen=True, kw_only=True, eq=False)
class Case:
    """One story before its readings are weighed: how it sees them, and its grid."""

    story: Story
    evidence: Evidence
    view: View
    grid: Grid
    odd: Odd
    anchor: Anchor | None = None

    @classmethod
    def of(
        cls,
        story: Story,
        evidence: Evidence,
        priors: Priors,
        beliefs: tuple[Surprise, ...],
        anchor: Anchor | None = None,
    ) -> "Case":
        seen = _seen(story, anchor, evidence.answers)
        grid = grid_of(story, seen, evidence.answers, priors, beliefs)
        odd = Odd.none(evidence.count)
        return cls(story=story, evidence=evidence, view=seen, grid=grid, odd=odd, anchor=anchor)

    def with_odd(self, odd: Odd) -> "Case":
        return replace(self, odd=odd)

    @property
    def region(self) -> shade.Region:
        return shade.around(self.evidence.places, self.odd.shaded)

    @cached_property
    def covariance(self) -> Floats:
        """Covariance of the readings before any is known, (c, n, n)."""
        evidence, grid = self.evidence, self.grid
        found = linear(grid, self.view, self.view) + evidence.remainder(grid)
        found += evidence.shared + self.region.covariance(evidence.places, evidence.places)
        if self.story.meter is not None:
            own = np.array([key == self.story.meter for key in evidence.meters], dtype=np.float64)
            found += METER_SIZE**2 * np.outer(own, own)
        index = np.arange(evidence.count)
        noise = evidence.own_variance + evidence.if_wrong * self.odd.wrong
        found[:, index, index] += grid.reading[:, None] ** 2 + noise
        return found

    @cached_property
    def misfit(self) -> Floats:
        """The readings' distance from the story, (c, n)."""
        shifts = self.grid.shifts_deg
        expected = self.view.log_at(shifts) + self.region.mean(self.evidence.places)
        return np.asarray((self.evidence.log_read - expected)[self.grid.state])

    @cached_property
    def logs(self) -> Floats:
        """ln weight of each combination times how probable it makes the readings, (c,).

        Cholesky's factor of the covariance bordered by the misfit holds both its determinant and
        the squared distance.
        """
        count = self.evidence.count
        if not count:
            return self.grid.log_weight
        bordered = np.empty((len(self.misfit), count + 1, count + 1))
        bordered[:, :count, :count] = self.covariance
        bordered[:, :count, count] = bordered[:, count, :count] = self.misfit
        bordered[:, count, count] = BORDER
        diagonal = np.einsum("cnn->cn", np.linalg.cholesky(bordered))
        size = 2 * np.log(diagonal[:, :count]).sum(axis=1) + count * np.log(2 * np.pi)
        squared = BORDER - diagonal[:, count] ** 2
        return np.asarray(self.grid.log_weight - 0.5 * (size + squared))

    @property
    def log_evidence(self) -> float:
        return log_sum(self.logs)

    def probable(self, *, most: int, kept: float = 0.995) -> "Case":
        """Only the combinations that carry `kept` of the weight, and no more than `most`."""
        weight = _normalised(self.logs)
        order = np.argsort(-weight, kind="stable")
        enough = int(np.searchsorted(np.cumsum(weight[order]), kept)) + 1
        chosen = order[: min(enough, most)]
        return replace(self, grid=self.grid.part(chosen))


BORDER = 1e9
"""More than any squared distance of readings from a story: thousands of readings off by ln 100."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Posterior:
    """One story after the readings.

    inverse: of each combination's covariance of the readings, (c, n, n). pull: inverse times the
    readings' distance from the story, (c, n). log_weight: ln of weights that sum to 1, (c,), kept
    as logarithms because a mistaken reading can make the right combination 1e-300 probable.
    log_evidence: of them all, without the chances of story and odd readings.
    """

    case: Case
    inverse: Floats
    pull: Floats
    log_weight: Floats
    log_evidence: float

    @property
    def grid(self) -> Grid:
        return self.case.grid

    @property
    def evidence(self) -> Evidence:
        return self.case.evidence

    @cached_property
    def weight(self) -> Floats:
        """Weight of each combination, (c,)."""
        return _normalised(self.log_weight)

    def seen(self, answers: Answers) -> View:
        """Places as this story sees them."""
        return _seen(self.case.story, self.case.anchor, answers)

    def predict(self, answers: Answers) -> tuple[Floats, Floats]:
        """Mean and variance of ln PPFD at places under each combination, both (c, m)."""
        seen, region = self.seen(answers), self.case.region
        shared = self.shared(answers, seen)
        shade_there = region.mean(answers.points)
        expected = (seen.log_at(self.grid.shifts_deg) + shade_there)[self.grid.state]
        mean = expected + np.einsum("cmn,cn->cm", shared, self.pull)
        told = np.einsum("cmn,cmn->cm", shared @ self.inverse, shared)
        own = self._own(seen) + (shade.SPREAD * region.depth_of_shade(answers.points)) ** 2
        return mean, np.maximum(own - told, 1e-10)

    def corrections(self) -> tuple[tuple[str, ...], Floats, Floats]:
        """Each correction under each combination: names, mean (c, p+1), covariance (c, p+1, p+1).

        The last is the beam, counted from the plan's own angle [°].
        """
        size = self.grid.sizes[self.grid.state]
        slopes = design(self.grid, self.case.view)[self.grid.state]
        shared = size[:, :, None] ** 2 * slopes.transpose(0, 2, 1)
        mean = np.einsum("cpn,cn->cp", shared, self.pull)
        mean[:, -1] += self.grid.shifts_deg[self.grid.state]
        told = shared @ self.inverse @ shared.transpose(0, 2, 1)
        own = np.eye(size.shape[1]) * size[:, None, :] ** 2
        return (*self.case.view.names, "beam"), mean, own - told

    def shared(self, answers: Answers, seen: View | None = None) -> Floats:
        """Prior covariance between places and readings, (c, m, n)."""
        return self._prior(answers, self.evidence.answers, seen, self.case.view)

    def covariance(self, one: Answers, other: Answers) -> Floats:
        """Covariance of ln PPFD between two sets of places under each combination, (c, m, k)."""
        here, there = self.shared(one), self.shared(other)
        return self._prior(one, other) - here @ self.inverse @ there.transpose(0, 2, 1)

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

    def _prior(
        self, one: Answers, other: Answers, seen: View | None = None, there: View | None = None
    ) -> Floats:
        here = seen or self.seen(one)
        gap = matern.distances(one.points, other.points)
        region = self.case.region.covariance(one.points, other.points)
        return linear(self.grid, here, there or self.seen(other)) + field(self.grid, gap) + region

    def _own(self, seen: View) -> Floats:
        own = np.einsum("bmp,bp->bm", design(self.grid, seen) ** 2, self.grid.sizes**2)
        return np.asarray(own[self.grid.state] + self.grid.remainder[:, None] ** 2)


def _seen(story: Story, anchor: Anchor | None, answers: Answers) -> View:
    """Places as a story sees them, put right by the engine where it was asked."""
    seen = view(story, answers)
    return (
        seen if anchor is None else replace(seen, log_plan=seen.log_plan + anchor.offset(answers))
    )


def update(case: Case) -> Posterior:
    """One story after the readings, every combination of its grid kept."""
    logs = case.logs
    inverse = np.asarray(np.linalg.inv(case.covariance), dtype=np.float64)
    return Posterior(
        case=case,
        inverse=inverse,
        pull=np.einsum("cnk,ck->cn", inverse, case.misfit),
        log_weight=logs - log_sum(logs),
        log_evidence=log_sum(logs),
    )


def gain(posterior: Posterior, extra: Floats, shift: float = 0.0) -> Floats:
    """How much more probable the readings are if one of them is worse, ln ratio (n,).

    extra: variance added to each, (n,); shift: what is then expected of ln PPFD besides.
    """
    precision = np.einsum("cnn->cn", posterior.inverse)
    variance = 1.0 / precision
    away = posterior.pull * variance
    wide = variance + extra
    ratio = -0.5 * (np.log(wide / variance) + (away - shift) ** 2 / wide - away**2 / variance)
    return log_sum_columns(posterior.log_weight[:, None] + ratio)


def log_sum(logs: Floats) -> float:
    """ln Σ exp, without overflow."""
    top = float(np.max(logs))
    return top + float(np.log(np.exp(logs - top).sum()))


def log_sum_columns(logs: Floats) -> Floats:
    """ln Σ exp down each column."""
    top = logs.max(axis=0)
    return np.asarray(top + np.log(np.exp(logs - top).sum(axis=0)))


def _normalised(logs: Floats) -> Floats:
    weight = np.exp(logs - logs.max(axis=0))
    return np.asarray(weight / weight.sum(axis=0))
