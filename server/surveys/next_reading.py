"""Where to put the sensor next, and when to leave it dry.

Each place an arm can reach is judged by how much a reading there is expected to narrow what we
want to know (the light of the animals, of places asked about, or of the whole tank), and by how
much it would tell of a lamp that is out, a grown wall, lamps that hang elsewhere (`proof`). For
normal beliefs neither depends on what the reading will say (MacKay 1992, Neural Computation 4:590,
"Information-based objective functions"). Places further down are preferred to going up again.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.surveys import matern, places, verdict
from server.surveys.estimate import MeasuredMap
from server.surveys.mixture import Z80
from server.surveys.plan import Animal, points_of
from server.surveys.proof import PROVEN as PROVEN_AT
from server.surveys.proof import Proof, proof
from server.surveys.response import Answers
from server.surveys.verdict import Judged
from server.surveys.weighing import Whole
from server.surveys.worth import Worth, settled, worth

Floats = NDArray[np.float64]

CONSIDERED = 8  # combinations of story, beam and belief that take part in the choice
MOST_TARGETS = 60  # places asked about that take part in it
SURPRISE = 0.03  # log light by which any tank may depart locally, so that readings spread out
WORTH = 0.06  # least share by which a reading should narrow what is open
CLOSE_ENOUGH = 0.05  # half-width of an interval that needs no further reading
AGAIN_CM = 6.0  # a reading this near to one taken is the same reading again
BESIDE_CM = 14.0  # another reading this near tells shade from a mistake
CLEAR = 0.85  # chance at which it is clear which of the two it is
PROOF = 0.6  # what a proven suspect counts against doubt narrowed to nothing
PROVEN = 0.9  # share of the proof of every suspect that is asked for before "enough"
UNPROVABLE = 0.12  # share of a proof; a suspect to which no reading adds so much is let be
LEAST_READINGS = 6
UP = 0.35  # what going back up over the whole depth costs, as a share of a reading's use
FAR = 0.25  # what a hop over the tank's whole diagonal costs
TURNED = 0.1  # chance that any verdict given would turn, at which it is enough
LITTLE = 0.05  # verdicts expected of a reading that is no longer worth it


@dataclass(frozen=True, kw_only=True)
class NextReading:
    """The place to measure next.

    narrows: share by which the doubt about what was asked shrinks, 0–1. verdicts: how many more
    animals are expected to get a verdict by it. turned: chance that it would turn one that is
    given. proven: whether every suspect would have shown by now. worth_it: whether it pays to wet
    an arm. why: one plain sentence.
    """

    x_cm: float
    y_cm: float
    depth_cm: float
    narrows: float
    worth_it: bool
    why: str
    verdicts: float = 0.0
    turned: float = 0.0
    proven: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class _Choice:
    """The place chosen and what it would do."""

    place: Floats
    narrows: float
    doubt: float
    worth: Worth
    proof: Proof
    index: int
    use: tuple[float, float]
    matters: NDArray[np.bool_]
    beside: int | None = None

    @property
    def open_suspects(self) -> NDArray[np.bool_]:
        """Suspects that matter, have not shown, and that a reading could show."""
        could = self.proof.added.max(axis=1, initial=0.0) > UNPROVABLE * PROVEN_AT
        return np.asarray(self.matters & self.proof.must & (self.proof.share < PROVEN) & could)

    @property
    def proven(self) -> bool:
        return not bool(self.open_suspects.any())


def next_reading(
    found: MeasuredMap,
    *,
    animals: Sequence[Animal] = (),
    asked: Answers | None = None,
    judged: Sequence[Judged] | None = None,
) -> NextReading:
    """The one reading that would settle most about the animals, the places asked, or the tank.

    asked: places the engine was already asked about; used where there are no animals. judged: the
    animals' verdicts, where they are at hand.
    """
    if judged is None:
        judged = verdict.verdicts(found, animals)
    targets, weight, about = _targets(found, judged, asked)
    unsure = _unsure(found)
    tried = _candidates(found, animals) if unsure is None else _around(found, unsure)
    chosen = _best(found, tried, targets, weight, judged, unsure)
    worth_it, why = _said(found, chosen, judged, about)
    return NextReading(
        x_cm=float(chosen.place[0]),
        y_cm=float(chosen.place[1]),
        depth_cm=float(chosen.place[2]),
        narrows=chosen.narrows,
        worth_it=worth_it,
        why=why,
        verdicts=chosen.worth.verdicts,
        turned=chosen.worth.turned,
        proven=chosen.proven,
    )


def _targets(
    found: MeasuredMap, judged: Sequence[Judged], asked: Answers | None
) -> tuple[Answers, Floats, str]:
    """Places whose light is wanted, how much each counts, and what to call them."""
    if judged:
        weight = np.array([0.1 + one.doubt for one in judged])
        return _rough(found, points_of([one.animal for one in judged])), weight, "the animals"
    if asked is not None and len(asked.points):
        even = np.linspace(0, len(asked.points) - 1, min(len(asked.points), MOST_TARGETS))
        some = asked.points[np.unique(even.astype(np.intp))]
        return _rough(found, some), np.ones(len(some)), "the places you asked about"
    grid = places.even_grid(found.plan.tank, along=6, across=4, levels=3)
    return _rough(found, grid), np.ones(len(grid)), "the whole tank"


def _rough(found: MeasuredMap, points: Floats) -> Answers:
    """Places read off the lattice: what is known there is weighed, not told."""
    return found.posterior.evidence.answers.response.roughly(points)


def _candidates(found: MeasuredMap, animals: Sequence[Animal]) -> Floats:
    """Whole centimetres a sensor can reach: an even grid and the animals' own places.

    Not where a reading was taken already, unless that one is held mistaken, and not under a rock
    or into shade that is known, unless an animal lives there.
    """
    tank = found.plan.tank
    own = places.reachable(tank, points_of(animals))
    grid = places.even_grid(tank, along=7, across=5, levels=4, edge=0.0)
    lit = grid[_in_light(found.posterior, grid) & places.under_no_rock(tank, grid)]
    every = np.unique(np.round(np.concatenate([lit, own])), axis=0)
    taken = points_of([one for i, one in enumerate(found.used) if i not in found.wrong])
    if not len(taken):
        return every
    fresh = every[matern.distances(every, taken).min(axis=1) > AGAIN_CM]
    return fresh if len(fresh) else every


def _unsure(found: MeasuredMap) -> int | None:
    """A reading that is either mistaken or in shade, and has no other beside it to tell which."""
    whole = found.posterior
    if not found.used:
        return None
    wrong, shaded = whole.wrong, whole.shaded
    unclear = (wrong + shaded > 0.5) & (np.maximum(wrong, shaded) < CLEAR)
    gap = matern.distances(whole.evidence.places, whole.evidence.places)
    beside = (gap < BESIDE_CM).sum(axis=1) - 1
    alone = np.flatnonzero(unclear & (beside == 0))
    return int(alone[np.argmax((wrong + shaded)[alone])]) if alone.size else None


def _around(found: MeasuredMap, index: int) -> Floats:
    """Places a hand's breadth from a reading, below it and to its sides."""
    step = 0.7 * BESIDE_CM
    ways = step * np.array([[0, 0, 1], [1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]])
    here = points_of([found.used[index]])
    near = np.unique(np.round(places.reachable(found.plan.tank, here + ways)), axis=0)
    apart = matern.distances(near, here)[:, 0] > AGAIN_CM
    far = near[apart & places.under_no_rock(found.plan.tank, near)]
    return far if len(far) else near


def _in_light(whole: Whole, points: Floats) -> NDArray[np.bool_]:
    depth = [part.case.region.depth_of_shade(points) for part in whole.parts]
    return np.asarray(whole.share @ np.array(depth) < 0.5)


def _best(
    found: MeasuredMap,
    candidates: Floats,
    there: Answers,
    weight: Floats,
    judged: Sequence[Judged],
    beside: int | None = None,
) -> _Choice:
    """The candidate that is worth most on its way."""
    mixture = found.posterior.probable(most=CONSIDERED)
    here = there.response.roughly(candidates)
    shared = mixture.covariance(here, there) + _surprise(found, here, there)
    own = mixture.variance(here) + np.diag(_surprise(found, here, here))
    known_now = mixture.variance(there)
    open_now = known_now + np.diag(_surprise(found, there, there))
    noise = _noise(found, here) + there.response.slopes(candidates, found.beliefs.place_cm)
    told = shared**2 / (own + noise)[:, None]
    proven = proof(found.posterior, here, there)
    told_share, shown_share = told @ weight / float(weight @ open_now), PROOF * proven.gained
    best = int(np.argmax((told_share + shown_share) * _on_the_way(found, candidates)))
    left = np.maximum(open_now - told[best], 0.0)
    narrows = 1.0 - float(weight @ np.sqrt(left)) / float(weight @ np.sqrt(open_now))
    mean, _ = mixture.predict(there)
    return _Choice(
        place=candidates[best],
        narrows=narrows,
        doubt=float(np.median(np.sqrt(known_now))),
        worth=worth(judged, mixture.weight @ mean, known_now, np.maximum(known_now - told[best], 0))
        if judged
        else Worth(verdicts=0.0, turned=0.0),
        proof=proven,
        index=best,
        use=(float(told_share[best]), float(shown_share[best])),
        matters=_matters(proven, judged),
        beside=beside,
    )


def _matters(proven: Proof, judged: Sequence[Judged]) -> NDArray[np.bool_]:
    """Suspects that would turn a verdict, (suspects,); without animals every one."""
    if not judged:
        return np.ones(len(proven.suspects), dtype=bool)
    light = np.array([one.ppfd for one in judged]) * np.exp(proven.wanted)
    low, high = (np.array([getattr(j.animal, end) for j in judged]) for end in _ENDS)
    now = np.array([one.ppfd for one in judged])
    before, after = ((np.sign(e - low) + np.sign(e - high)) for e in (now, light))
    return np.asarray((before != after).any(axis=1))


_ENDS = ("low_ppfd", "high_ppfd")


def _on_the_way(found: MeasuredMap, candidates: Floats) -> Floats:
    """Share of a reading's use that is left after the way there, (n,)."""
    if not found.used:
        return 1.0 - UP * candidates[:, 2] / found.plan.tank.depth_cm
    hand = points_of(found.used[-1:])[0]
    tank = found.plan.tank
    diagonal = float(np.linalg.norm([tank.length_cm, tank.width_cm, tank.depth_cm]))
    up = np.maximum(hand[2] - candidates[:, 2], 0.0) / tank.depth_cm
    hop = np.linalg.norm(candidates - hand, axis=1) / diagonal
    return np.asarray((1.0 - UP * up) * (1.0 - FAR * hop))


def _surprise(found: MeasuredMap, one: Answers, other: Answers) -> Floats:
    """What may depart locally and no reading nearby has denied, (m, k)."""
    reach = 0.4 * min(found.plan.tank.length_cm, found.plan.tank.width_cm)

    def shape(a: Floats, b: Floats) -> Floats:
        return SURPRISE**2 * matern.correlation(matern.distances(a, b), reach)

    read = found.posterior.evidence.places
    denied = shape(read, read) + 0.05**2 * np.eye(len(read))
    known = shape(one.points, read) @ np.linalg.solve(denied, shape(read, other.points))
    return shape(one.points, other.points) - known


def _noise(found: MeasuredMap, answers: Answers) -> Floats:
    """Variance of the logarithm of one more reading, its place apart."""
    floor = found.beliefs.floor_ppfd / np.maximum(np.exp(answers.log_plan), 1.0)
    reading = found.fit.reading_error_percent / 100
    return np.asarray(reading**2 + floor**2)


def _said(
    found: MeasuredMap, chosen: _Choice, judged: Sequence[Judged], about: str
) -> tuple[bool, str]:
    """Whether it is worth it, and the reason in a sentence."""
    where = places.in_words(found.plan.tank, chosen.place)
    percent = f"{100 * chosen.narrows:.0f}\u00a0%"
    if chosen.beside is not None:
        name = found.used[chosen.beside].name or f"reading {chosen.beside + 1}"
        return True, (
            f"A reading {where}, beside {name}, would tell whether that one was mistaken or lies "
            "in shade."
        )
    go_on = len(found.used) < LEAST_READINGS or not chosen.proven
    if go_on and chosen.use[1] > chosen.use[0]:
        return True, _proving(chosen, where, percent, about)
    if judged:
        worth_it, why = _about_animals(chosen, judged, where, percent)
        return (True, _near(chosen, judged, where, percent)) if go_on else (worth_it, why)
    if go_on:
        return True, f"A reading {where} narrows the doubt about {about} by {percent}."
    if chosen.narrows < WORTH / 2 or chosen.doubt * Z80 < CLOSE_ENOUGH / 2:
        return False, (
            f"Another reading would narrow the doubt about {about} by only {percent}: "
            "no longer worth wetting an arm."
        )
    return True, f"A reading {where} narrows the doubt about {about} by {percent}."


def _proving(chosen: _Choice, where: str, percent: str, about: str) -> str:
    short = np.where(chosen.proof.share < PROVEN, chosen.proof.added[:, chosen.index], 0.0)
    what = _SUSPECTED[chosen.proof.suspects[int(np.argmax(short))]]
    return f"A reading {where} would show {what}, and narrows the doubt about {about} by {percent}."


_SUSPECTED = {
    "lamp": "whether a lamp is out or weak",
    "wall": "whether a wall is grown over",
    "lens": "whether the lens is another",
    "place": "whether the lamps hang where they are said to",
    "lean": "whether the lamps lean",
    "shade": "whether something shades that corner",
}


def _about_animals(
    chosen: _Choice, judged: Sequence[Judged], where: str, percent: str
) -> tuple[bool, str]:
    if settled(judged) and chosen.worth.turned < TURNED:
        return (
            False,
            "Every animal's verdict is settled: another reading is not worth wetting an arm.",
        )
    if chosen.worth.verdicts < LITTLE and chosen.worth.turned < TURNED:
        return False, (
            f"The best further reading would narrow the doubt by only {percent}: "
            "what is still open lies too close to the edge of its range for this meter to settle."
        )
    return True, _near(chosen, judged, where, percent)


def _near(chosen: _Choice, judged: Sequence[Judged], where: str, percent: str) -> str:
    open_ones = [one for one in judged if not settled([one])] or list(judged)
    gaps = np.linalg.norm(points_of([one.animal for one in open_ones]) - chosen.place, axis=1)
    nearest = open_ones[int(np.argmin(gaps))]
    return (
        f"A reading {where} says most about {nearest.animal.name}, whose light is least "
        f"sure, and narrows the doubt about the animals by {percent}."
    )
