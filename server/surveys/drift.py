"""Has the light changed since the last readings, and what is behind it?

The first session's map foretells the second session's readings, each with its doubt. What the
second shows beyond that is tried against what changes in a tank: the lamps' output (ageing, dust
or salt on the lens), the water's tint, the walls. Each story is weighed by how probable it makes
the second readings; "nothing but noise" is one of the stories.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from server.surveys import mixture, places, posterior
from server.surveys.estimate import Known, MeasuredMap, estimate
from server.surveys.plan import Reading
from server.surveys.response import Answers

Floats = NDArray[np.float64]

# One round of readings against another with the same meter: warm-up, cleaning of the sensor,
# height of the water (our judgement). A second meter adds its own calibration.
SESSION = 0.02
OTHER_METER = 0.05
REAL = 0.9


class Story(StrEnum):
    """What may have changed between two sessions."""

    NOTHING = "nothing but the usual scatter of readings"
    OUTPUT = "the lamps give a different light: ageing, or dust or salt on the lens"
    WATER = "the water's tint has changed: yellowing, or fresh carbon"
    WALLS = "the walls return a different light: algae or salt on the glass"


# ln-light per unit of each story and how likely it is before any reading (our judgement).
_SIZES = {Story.OUTPUT: 0.15, Story.WATER: 0.25, Story.WALLS: 0.30}
_PRIOR = {Story.NOTHING: 0.4, Story.OUTPUT: 0.3, Story.WATER: 0.2, Story.WALLS: 0.1}


@dataclass(frozen=True, kw_only=True)
class Drift:
    """Change between two sessions on one setup.

    change_percent: of the mean light over the tank, with its 80 % interval. chance_real: that
    anything but scatter is behind it. stories: every story with its probability, likeliest first.
    amount: how much the likeliest story changed, in its own unit (share of output, m⁻¹, share of
    the walls' light).
    """

    change_percent: Known
    chance_real: float
    stories: tuple[tuple[Story, float], ...]
    amount: Known | None

    @property
    def real(self) -> bool:
        return self.chance_real >= REAL

    @property
    def likeliest(self) -> Story:
        return self.stories[0][0]


def drift(
    before: MeasuredMap, later: Sequence[Reading], *, same_meter: bool = True
) -> Drift | None:
    """What the later readings show against the earlier map; None where one side has none."""
    if same_meter:
        before = before.relative  # its factor, whatever it is, changes nothing
    own = estimate(before.plan, later, beliefs=before.beliefs)
    sound = [r for i, r in enumerate(own.used) if i not in own.wrong]
    if not sound or not before.used:
        return None
    now = estimate(before.plan, sound, beliefs=before.beliefs)
    evidence = now.posterior.evidence
    answers = evidence.answers
    old = before.posterior.probable(most=12)
    mean = old.weight @ old.predict(answers)[0]
    session = SESSION**2 + (0.0 if same_meter else OTHER_METER**2)
    noise = evidence.own_variance + (_reading_error(before, now) / 100) ** 2
    covariance = old.covariance(answers, answers) + session + np.diag(noise)
    away = evidence.log_read - mean
    tank_wide = before.answers(places.even_grid(before.plan.tank, along=5, across=3, levels=3))
    told = {story: _told(before, story, answers) for story in Story}
    shown = {story: _told(before, story, tank_wide) for story in Story}
    return _weighed(away, covariance, told, shown)


def _reading_error(before: MeasuredMap, now: MeasuredMap) -> float:
    return max(before.fit.reading_error_percent, now.fit.reading_error_percent)


def _told(before: MeasuredMap, story: Story, answers: Answers) -> Floats:
    """What one standard size of the story does to ln PPFD at places, (m, k), k its numbers."""
    seen = before.posterior.best.seen(answers)
    starts = {Story.OUTPUT: "output", Story.WATER: "absorption", Story.WALLS: "wall"}
    if story is Story.NOTHING:
        return np.zeros((len(seen.log_plan), 0))
    columns = [i for i, name in enumerate(seen.names) if name.split()[0] == starts[story]]
    return np.asarray(seen.per_unit[:, columns] * _SIZES[story], dtype=np.float64)


def _weighed(
    away: Floats, covariance: Floats, told: dict[Story, Floats], shown: dict[Story, Floats]
) -> Drift:
    logs, changes, variances = [], [], []
    amounts: dict[Story, tuple[float, float]] = {}
    for story in Story:
        effect = told[story]
        whole = covariance + effect @ effect.T
        inverse = np.asarray(np.linalg.inv(whole), dtype=np.float64)
        logs.append(_log_probable(away, whole, inverse) + np.log(_PRIOR[story]))
        number = effect.T @ inverse @ away
        spread = np.eye(effect.shape[1]) - effect.T @ inverse @ effect
        over_tank = shown[story].mean(axis=0)
        changes.append(float(over_tank @ number))
        variances.append(float(over_tank @ spread @ over_tank))
        if effect.shape[1]:
            share = np.full(effect.shape[1], 1 / effect.shape[1])
            amounts[story] = (float(share @ number), float(share @ spread @ share))
    weight = np.exp(np.array(logs) - posterior.log_sum(np.array(logs)))
    order = np.argsort(-weight)
    stories = tuple((list(Story)[i], float(weight[i])) for i in order)
    return Drift(
        change_percent=_change(np.array(changes), np.array(variances), weight),
        chance_real=1.0 - float(weight[0]),
        stories=stories,
        amount=_amount(stories[0][0], amounts),
    )


def _log_probable(away: Floats, covariance: Floats, inverse: Floats) -> float:
    return float(-0.5 * (np.linalg.slogdet(covariance)[1] + away @ inverse @ away))


def _change(mean: Floats, variance: Floats, weight: Floats) -> Known:
    sd = np.sqrt(np.maximum(variance, 1e-10))[:, None]
    ends = [mixture.quantile(share, mean[:, None], sd, weight) for share in (0.5, 0.1, 0.9)]
    value, low, high = (100 * float(np.expm1(end[0])) for end in ends)
    return Known(value=value, low=low, high=high)


def _amount(story: Story, amounts: dict[Story, tuple[float, float]]) -> Known | None:
    if story not in amounts:
        return None
    mean, variance = amounts[story]
    size = _SIZES[story]
    reach = mixture.Z80 * float(np.sqrt(max(variance, 0.0)))
    return Known(
        value=size * float(mean), low=size * float(mean - reach), high=size * float(mean + reach)
    )
