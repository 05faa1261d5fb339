"""Every story of a tank against every other: what the readings leave of each.

A first look weighs all suspects with a few beliefs; those that stand a chance are then given their
mistaken and shaded readings and the whole grid of beliefs. What comes out is one weighted set of
normal beliefs over all that is still possible, so the map doubts as much as the stories disagree.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from server.surveys import oddities, priors, stories
from server.surveys.anchored import anchor_at
from server.surveys.posterior import Case, Evidence, Odd, Posterior, log_sum, update
from server.surveys.priors import Priors, Surprise
from server.surveys.response import Answers
from server.surveys.stories import MOVES, Kind

Floats = NDArray[np.float64]

FEW = 60  # readings up to which every belief is tried on all of them
IN_REACH = 7.0  # ln odds behind the best at which a suspect is let go
MOST_STORIES = 6
MOST_COMBINATIONS = 48
LEAST = 2e-3  # share of a case after the first look below which it is let go
MOST_ASKED = 2  # suspects the engine is asked about
ASK = 0.1  # share of a suspect from which on the engine is asked about it
WORTH_A_CLOSER_LOOK = 4.5  # ln odds behind the best at which lamps are still taken elsewhere
ROUNDS = 2  # of taking lamps where they seem to hang, and looking again


@dataclass(frozen=True, kw_only=True, eq=False)
class Whole:
    """All that is still possible: parts, each one story, and the share of each, (parts,)."""

    parts: tuple[Posterior, ...]
    share: Floats
    priors: Priors

    @property
    def evidence(self) -> Evidence:
        return self.parts[0].evidence

    @property
    def best(self) -> Posterior:
        """The likeliest part."""
        return self.parts[int(np.argmax(self.share))]

    @cached_property
    def weight(self) -> Floats:
        """Weight of every combination of every part, (c,)."""
        return np.concatenate([s * p.weight for s, p in zip(self.share, self.parts, strict=True)])

    def predict(self, answers: Answers) -> tuple[Floats, Floats]:
        """Mean and variance of ln PPFD under each combination, both (c, m)."""
        found = [part.predict(answers) for part in self.parts]
        return np.concatenate([f[0] for f in found]), np.concatenate([f[1] for f in found])

    def left_out(self) -> tuple[Floats, Floats, Floats]:
        """Each reading foretold from all others: mean, variance, weight, all (c, n)."""
        found = [part.left_out() for part in self.parts]
        weight = [s * f[2] for s, f in zip(self.share, found, strict=True)]
        return (
            np.concatenate([f[0] for f in found]),
            np.concatenate([f[1] for f in found]),
            np.concatenate(weight),
        )

    def covariance(self, one: Answers, other: Answers) -> Floats:
        """Covariance of ln PPFD between two sets of places over everything possible, (m, k)."""
        inside = [
            s * np.einsum("c,cmk->mk", p.weight, p.covariance(one, other))
            for s, p in zip(self.share, self.parts, strict=True)
        ]
        means = (self.predict(one)[0], self.predict(other)[0])
        away = [mean - self.weight @ mean for mean in means]
        between = np.einsum("c,cm,ck->mk", self.weight, away[0], away[1])
        return np.asarray(np.sum(inside, axis=0) + between)

    def variance(self, answers: Answers) -> Floats:
        """Variance of ln PPFD at places over everything possible, (m,)."""
        mean, inside = self.predict(answers)
        return np.asarray(self.weight @ (inside + (mean - self.weight @ mean) ** 2))

    def probable(self, *, most: int) -> "Whole":
        """Only the combinations that count most."""
        order = np.argsort(-self.weight, kind="stable")[:most]
        kept = np.zeros(self.weight.size, dtype=bool)
        kept[order] = True
        return _pruned(self, kept)

    def chance(self, subject: tuple[Kind, int | None, str | None]) -> float:
        """Probability of all parts that are about one suspect."""
        told = [subject in part.case.story.subjects for part in self.parts]
        return min(float(self.share @ np.array(told, dtype=np.float64)), 1.0)

    @property
    def wrong(self) -> Floats:
        """Probability of each reading to be mistaken, (n,)."""
        return self._odd("wrong")

    @property
    def shaded(self) -> Floats:
        """Probability of each reading to lie in shade, (n,)."""
        return self._odd("shaded")

    def _odd(self, which: str) -> Floats:
        flags = np.array([getattr(part.case.odd, which) for part in self.parts], dtype=np.float64)
        return np.minimum(self.share @ flags, 1.0)


def weigh(evidence: Evidence, beliefs: Priors, *, width_cm: float) -> Whole:
    """All stories of the plan after the readings.

    width_cm: the tank's shorter side, which sets how far departures reach.
    """
    if evidence.count > FEW:
        return _weigh_many(evidence, beliefs, width_cm)
    return _mixed(_tried(evidence, beliefs, width_cm), beliefs, width_cm)


def _mixed(cases: Sequence[Case], beliefs: Priors, width_cm: float) -> Whole:
    """Cases on the whole grid, weighed against each other."""
    grid = beliefs.surprises or priors.surprises(width_cm)
    full = [_on(case, beliefs, grid) for case in cases]
    logs = np.array([_log_weight(case, beliefs) for case in full])
    share = np.exp(logs - log_sum(logs))
    kept = np.flatnonzero(share > 1e-3)
    each = max(MOST_COMBINATIONS // len(kept), 8)
    parts = tuple(update(full[i].probable(most=each)) for i in kept)
    return _lean(Whole(parts=parts, share=share[kept] / share[kept].sum(), priors=beliefs))


def _on(case: Case, beliefs: Priors, grid: tuple[Surprise, ...]) -> Case:
    return Case.of(case.story, case.evidence, beliefs, grid, case.anchor).with_odd(case.odd)


def _log_weight(case: Case, beliefs: Priors) -> float:
    return float(np.log(case.story.prior)) + oddities.worth(case, beliefs)


def _lean(whole: Whole, kept: float = 0.99) -> Whole:
    """Without the combinations that carry next to nothing."""
    order = np.argsort(-whole.weight, kind="stable")
    enough = int(np.searchsorted(np.cumsum(whole.weight[order]), kept)) + 1
    flags = np.zeros(order.size, dtype=bool)
    flags[order[: min(enough, MOST_COMBINATIONS)]] = True
    return _pruned(whole, flags)


def _pruned(whole: Whole, kept: NDArray[np.bool_]) -> Whole:
    """The combinations flagged, of every part; parts left with none go."""
    parts, share, start = [], [], 0
    for own, part in zip(whole.share, whole.parts, strict=True):
        chosen = np.flatnonzero(kept[start : start + part.weight.size])
        start += part.weight.size
        if chosen.size:
            parts.append(_of_part(part, chosen))
            share.append(float(own * part.weight[chosen].sum()))
    return Whole(parts=tuple(parts), share=np.array(share) / sum(share), priors=whole.priors)


def _of_part(part: Posterior, chosen: NDArray[np.intp]) -> Posterior:
    logs = part.log_weight[chosen]
    return Posterior(
        case=replace(part.case, grid=part.grid.part(chosen)),
        inverse=part.inverse[chosen],
        pull=part.pull[chosen],
        log_weight=logs - log_sum(logs),
        log_evidence=part.log_evidence,
    )


def _tried(evidence: Evidence, beliefs: Priors, width_cm: float) -> list[Case]:
    """The cases that stand a chance, each with its mistaken and its shaded readings."""
    few = priors.few_surprises(width_cm)
    told = stories.stories(evidence.answers.response.plan)
    told += stories.of_meters(evidence.meters)
    planned = Case.of(told[0], evidence, beliefs, few)
    if not evidence.count:
        return [planned]
    odd = [case.odd for case in oddities.explained(planned, beliefs)]
    looked = [(planned, np.inf)]
    best = _score(planned, odd, beliefs)
    for story in told[1:]:
        case = Case.of(story, evidence, beliefs, few)
        score = _score(case, odd, beliefs)
        if story.who and score > best - WORTH_A_CLOSER_LOOK:
            case = _looked_at(case, odd, beliefs, few)
            score = _score(case, odd, beliefs)
        best = max(best, score)
        looked.append((case, score))
    looked = _with_pairs(looked, odd, evidence, beliefs, few)
    top = max(max(score for _, score in looked[1:]), _score(planned, odd, beliefs))
    chosen = sorted((one for one in looked if one[1] > top - IN_REACH), key=lambda one: -one[1])
    found = [one for case, _ in chosen[:MOST_STORIES] for one in oddities.explained(case, beliefs)]
    return _asked(found, beliefs, few)


def _asked(cases: Sequence[Case], beliefs: Priors, few: tuple[Surprise, ...]) -> list[Case]:
    """The likely suspects among the cases with the engine asked about them; the unlikely go."""
    logs = np.array([_log_weight(case, beliefs) for case in cases])
    share = np.exp(logs - log_sum(logs))
    suspects = [n for n, c in enumerate(cases) if c.story.kind not in (Kind.PLANNED, Kind.SENSOR)]
    asked = sorted((n for n in suspects if share[n] > ASK), key=lambda n: -share[n])[:MOST_ASKED]
    return [
        _anchored(case, beliefs, few) if n in asked else case
        for n, case in enumerate(cases)
        if share[n] > LEAST
    ]


def _anchored(case: Case, beliefs: Priors, few: tuple[Surprise, ...]) -> Case:
    """A case taken at the numbers it finds, where the engine says the light itself."""
    for _ in range(ROUNDS if case.story.wings else 1):
        found = update(case)
        names, mean, _covariance = found.corrections()
        middle = dict(zip(names, (float(v) for v in found.weight @ mean), strict=True))
        within = {n: _within(middle.get(n, 0.0), case.story.sizes.get(n, 0.0)) for n in MOVES}
        story, anchor = anchor_at(case.story, middle | within)
        asked = Case.of(story, case.evidence, beliefs, few, anchor).with_odd(case.odd)
        if case.anchor is not None and _log_weight(asked, beliefs) < _log_weight(case, beliefs):
            break
        case = asked
    return case


def _score(case: Case, odd: Sequence[Odd], beliefs: Priors) -> float:
    """ln weight at a first look, with the best of the oddities that the plan itself would need."""
    none = Odd.none(case.evidence.count)
    ways = [case.with_odd(one) for one in (none, *(o for o in odd if not o.same(none)))]
    return max(_log_weight(way, beliefs) for way in ways)


def _looked_at(case: Case, odd: Sequence[Odd], beliefs: Priors, few: tuple[Surprise, ...]) -> Case:
    """Lamps that hang elsewhere are taken where they seem to hang, and looked at again."""
    for _ in range(ROUNDS):
        way = max((case.with_odd(o) for o in odd), key=lambda w: _log_weight(w, beliefs))
        names, mean, _covariance = update(way).corrections()
        weight = np.exp(way.logs - log_sum(way.logs))
        middle = dict(zip(names, weight @ mean, strict=True))
        aside = tuple(_within(middle.get(n, 0.0), case.story.sizes.get(n, 0.0)) for n in MOVES)
        story = replace(case.story, aside=aside)
        case = Case.of(story, case.evidence, beliefs, few)
    return case


def _within(value: float, size: float) -> float:
    """No further than two and a half times what is believed, where the parabola still holds."""
    return float(np.clip(value, -2.5 * size, 2.5 * size))


def _with_pairs(
    looked: list[tuple[Case, float]],
    odd: Sequence[Odd],
    evidence: Evidence,
    beliefs: Priors,
    few: tuple[Surprise, ...],
) -> list[tuple[Case, float]]:
    """Where one suspect is likelier than the plan, the others beside it too."""
    planned = _score(looked[0][0], odd, beliefs)
    best, score = max(looked[1:], key=lambda one: one[1])
    if score < planned + 1.0:
        return looked
    found = list(looked)
    for other, _ in looked[1:]:
        if other.story.subject != best.story.subject:
            case = Case.of(best.story.and_(other.story), evidence, beliefs, few)
            found.append((case, _score(case, odd, beliefs)))
    return found


def _weigh_many(evidence: Evidence, beliefs: Priors, width_cm: float) -> Whole:
    """Many readings: stories and beliefs are learnt on some, then told by all."""
    chosen = np.unique(np.linspace(0, evidence.count - 1, FEW // 2).astype(np.intp))
    whole = _mixed(_tried(evidence.part(chosen), beliefs, width_cm), beliefs, width_cm)
    best = whole.probable(most=12)
    cases: list[Case] = []
    for part in best.parts[:3]:
        grid = replace(part.grid, log_weight=part.log_weight)
        few = priors.few_surprises(width_cm)
        seen = Case.of(part.case.story, evidence, beliefs, few, part.case.anchor)
        cases += oddities.explained(replace(seen, grid=grid), beliefs)
    logs = np.array([_log_weight(case, beliefs) for case in cases])
    share = np.exp(logs - log_sum(logs))
    kept = np.flatnonzero(share > 1e-3)
    parts = tuple(update(cases[i]) for i in kept)
    return Whole(parts=parts, share=share[kept] / share[kept].sum(), priors=beliefs)
