"""Where to put the sensor next, and when to leave it dry.

Each candidate place is judged by how much a reading there is expected to narrow what we want to
know: the light of the animals (those whose verdict is open count most), of places asked about, or
of the whole tank. For normal beliefs the expected narrowing does not depend on what the reading
will say (MacKay 1992, Neural Computation 4:590, "Information-based objective functions").
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.surveys import matern, places, posterior, verdict
from server.surveys.estimate import MeasuredMap
from server.surveys.mixture import Z80
from server.surveys.plan import Animal, points_of
from server.surveys.response import Answers

Floats = NDArray[np.float64]

CONSIDERED = 12  # combinations of beam and belief that take part in the choice
SURPRISE = 0.03  # log light by which any tank may depart locally, so that readings spread out
WORTH = 0.06  # least share by which a reading should narrow what is open
CLOSE_ENOUGH = 0.05  # half-width of an interval that needs no further reading


@dataclass(frozen=True, kw_only=True)
class NextReading:
    """The place to measure next.

    narrows: share by which the doubt about what was asked shrinks, 0–1. worth_it: whether it pays
    to wet an arm. why: one plain sentence.
    """

    x_cm: float
    y_cm: float
    depth_cm: float
    narrows: float
    worth_it: bool
    why: str


def next_reading(
    found: MeasuredMap, *, animals: Sequence[Animal] = (), asked: Answers | None = None
) -> NextReading:
    """The one reading that would settle most about the animals, the places asked, or the tank.

    asked: places the engine was already asked about; used where there are no animals.
    """
    targets, weight, about = _targets(found, animals, asked)
    candidates = _candidates(found, animals)
    place, narrows, doubt = _best(found, candidates, targets, weight)
    worth, why = _verdict(found, place, narrows, doubt, animals, about)
    return NextReading(
        x_cm=float(place[0]),
        y_cm=float(place[1]),
        depth_cm=float(place[2]),
        narrows=narrows,
        worth_it=worth,
        why=why,
    )


def _targets(
    found: MeasuredMap, animals: Sequence[Animal], asked: Answers | None
) -> tuple[Answers, Floats, str]:
    """Places whose light is wanted, how much each counts, and what to call them."""
    if animals:
        known = verdict.verdicts(found, animals)
        weight = np.array([0.1 + judged.doubt for judged in known])
        return found.answers(points_of(animals)), weight, "the animals"
    if asked is not None and len(asked.points):
        return asked, np.ones(len(asked.points)), "the places you asked about"
    grid = places.even_grid(found.plan.tank, along=6, across=4, levels=3)
    return found.answers(grid), np.ones(len(grid)), "the whole tank"


def _candidates(found: MeasuredMap, animals: Sequence[Animal]) -> Floats:
    """Whole centimetres a sensor can reach: an even grid and the animals' own places."""
    grid = places.even_grid(found.plan.tank, along=7, across=5, levels=4, edge=0.08)
    own = places.reachable(found.plan.tank, points_of(animals))
    return np.unique(np.round(np.concatenate([grid, own])), axis=0)


def _best(
    found: MeasuredMap, candidates: Floats, there: Answers, weight: Floats
) -> tuple[Floats, float, float]:
    """The candidate that narrows most, the share by which it does, and the doubt now (ln)."""
    mixture = posterior.probable(found.posterior, most=CONSIDERED)
    here, place = there.response.with_place(candidates, found.beliefs.place_cm)
    shared = mixture.covariance(here, there) + _surprise(found, here, there)
    own = mixture.variance(here) + np.diag(_surprise(found, here, here))
    known_now = mixture.variance(there)
    open_now = known_now + np.diag(_surprise(found, there, there))
    told = shared**2 / (own + place + _noise(found, here))[:, None]
    best = int(np.argmax(told @ weight))
    left = np.sqrt(np.maximum(open_now - told[best], 0.0))
    narrows = 1.0 - float(weight @ left) / float(weight @ np.sqrt(open_now))
    return candidates[best], narrows, float(np.median(np.sqrt(known_now)))


def _surprise(found: MeasuredMap, one: Answers, other: Answers) -> Floats:
    """What may depart locally and no reading nearby has denied, (m, k)."""
    reach = 0.4 * min(found.plan.tank.length_cm, found.plan.tank.width_cm)

    def shape(a: Floats, b: Floats) -> Floats:
        return SURPRISE**2 * matern.correlation(matern.distances(a, b), reach)

    read = found.posterior.evidence.answers.points
    denied = shape(read, read) + 0.05**2 * np.eye(len(read))
    known = shape(one.points, read) @ np.linalg.solve(denied, shape(read, other.points))
    return shape(one.points, other.points) - known


def _noise(found: MeasuredMap, answers: Answers) -> Floats:
    """Variance of the logarithm of one more reading, its place apart."""
    floor = found.beliefs.floor_ppfd / np.maximum(np.exp(answers.log_plan), 1.0)
    reading = found.fit.reading_error_percent / 100
    return np.asarray(reading**2 + floor**2)


def _verdict(
    found: MeasuredMap,
    place: Floats,
    narrows: float,
    doubt: float,
    animals: Sequence[Animal],
    about: str,
) -> tuple[bool, str]:
    """Whether it is worth it, and the reason in a sentence."""
    where = places.in_words(found.plan.tank, place)
    percent = f"{100 * narrows:.0f}\u00a0%"
    if animals:
        return _about_animals(found, place, narrows, animals, where, percent)
    if found.used and (narrows < WORTH / 2 or doubt * Z80 < CLOSE_ENOUGH / 2):
        return False, (
            f"Another reading would narrow the doubt about {about} by only {percent}: "
            "no longer worth wetting an arm."
        )
    return (
        True,
        f"A reading {where} narrows the doubt about {about} by {percent}, more than anywhere else.",
    )


def _about_animals(
    found: MeasuredMap,
    place: Floats,
    narrows: float,
    animals: Sequence[Animal],
    where: str,
    percent: str,
) -> tuple[bool, str]:
    judged = verdict.verdicts(found, animals)
    undecided = [v for v in judged if v.verdict is verdict.Verdict.NOT_KNOWN]
    if not undecided:
        return (
            False,
            "Every animal's verdict is settled: another reading is not worth wetting an arm.",
        )
    if narrows < WORTH and found.used:
        return False, (
            f"The best further reading would narrow the doubt by only {percent}: "
            "what is still open lies too close to the edge of its range for this meter to settle."
        )
    nearest = min(undecided, key=lambda v: float(np.linalg.norm(points_of([v.animal])[0] - place)))
    return True, (
        f"A reading {where} says most about {nearest.animal.name}, whose light is not known "
        f"well enough, and narrows the doubt about the animals by {percent}."
    )
