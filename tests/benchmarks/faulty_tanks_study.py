"""The measured map on tanks with one hidden fault: prints its tables.

    python -m tests.benchmarks.faulty_tanks_study [sessions] [seed] [processes]

First table, by fault: error at unseen places, how often the 80 % interval holds, its half-width,
the worst session's median error outside any shade, how often the fault is named and how often
something else is. For the tool's own places (12 and 24) and a grid of 4 × 2 × 3. Second: meters
whose factor is off by 8 % (one standard error), stated and not. Third: verdicts when the tool says
that it is enough, beside the nearest reading by eye.
"""

import sys
from collections import defaultdict
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.surveys.estimate import MeasuredMap, estimate
from server.surveys.findings import findings
from server.surveys.next_reading import next_reading
from server.surveys.plan import Animal
from server.surveys.priors import Meters
from server.surveys.verdict import Verdict, verdicts
from tests.benchmarks.faulty_tanks import FaultyTank, Visit, grid, tanks, visit

Floats = NDArray[np.float64]

UNSEEN = 200
ANIMALS = 8
MOST_READINGS = 24
METER = 0.08
NAME = {
    "clean": "",
    "dead": "lamp",
    "dim": "lamp",
    "film": "wall",
    "lens": "lens",
    "moved": "place",
    "rock": "shade",
    "tilt": "lean",
}
"""The kind of finding that names each fault."""


@dataclass(frozen=True)
class Session:
    """One session at unseen places: error [%], whether intervals held, half-width [%]; the median
    error where nothing shades; whether the fault was named, and whether something else was."""

    kind: str
    way: str
    error: Floats
    held: NDArray[np.bool_]
    half_width: Floats
    elsewhere: float
    named: bool
    other: bool


@dataclass(frozen=True)
class Verdicts:
    """One session with animals up to "enough": readings taken, verdicts given and wrong ones, and
    the same for judging every animal by the reading nearest to it."""

    kind: str
    readings: int
    given: int
    wrong: int
    by_eye_wrong: int
    animals: int


@dataclass(frozen=True)
class Row:
    """Many sessions put together; all but `sessions` in percent."""

    sessions: int
    median: float
    p90: float
    held: float
    half_width: float
    worst_elsewhere: float
    named: float
    other: float


def scored(one: Visit, found: MeasuredMap, way: str, unseen: Sequence[NDArray]) -> Session:
    places, real, shaded = unseen
    light = found.at(places)
    error = 100 * np.abs(light.ppfd / real - 1)
    kinds = {finding.kind for finding in findings(found)}
    wanted = NAME[one.truth.kind]
    return Session(
        kind=one.truth.kind,
        way=way,
        error=error,
        held=(light.low <= real) & (real <= light.high),
        half_width=100 * light.half_width,
        elsewhere=float(np.median(error[~shaded])),
        named=wanted in kinds,
        other=bool(kinds - {wanted}),
    )


def take_chosen(
    one: Visit, count: int, *, meters: Meters | None = None, animals: Sequence[Animal] = ()
) -> MeasuredMap:
    """Readings where the tool says, until there are so many; the map of them."""
    found = estimate(one.told, one.readings, meters=meters)
    while len(one.readings) < count:
        following = next_reading(found, animals=animals)
        one.take(np.array([following.x_cm, following.y_cm, following.depth_cm]))
        found = estimate(one.told, one.readings, meters=meters)
    return found


def by_fault(task: tuple[int, int, tuple[int, ...]]) -> list[Session]:
    """One tank and seed: the tool's places at the counts asked for, and the grid."""
    number, seed, counts = task
    truth = tanks()[number]
    one = visit(truth, (seed, number))
    unseen = one.unseen(UNSEEN)
    found = [
        scored(one, take_chosen(one, count), f"tool {count}", unseen) for count in sorted(counts)
    ]
    other = visit(truth, (seed, number, 1))
    for place in grid(truth):
        other.take(place)
    unseen = other.unseen(UNSEEN)
    return [*found, scored(other, estimate(other.told, other.readings), "grid 24", unseen)]


def with_a_meter(task: tuple[int, int, tuple[int, ...]]) -> list[tuple[str, float, float]]:
    """One tank as planned with a meter that is off: (stated?, count), held, half-width [%]."""
    number, seed, counts = task
    one = visit(tanks()[number], (seed, number, 2), meter=METER)
    places, real, _ = one.unseen(UNSEEN)
    told = []
    for count in counts:
        take_chosen(one, count)
        for name, meters in (("stated", Meters(unnamed=METER)), ("not stated", Meters())):
            light = estimate(one.told, one.readings, meters=meters).at(places)
            held = float(np.mean((light.low <= real) & (real <= light.high)))
            told.append((f"{name}, {count}", held, float(np.median(light.half_width))))
    return told


def until_enough(task: tuple[int, int]) -> Verdicts:
    """One tank with animals: readings until the tool says that it is enough."""
    number, seed = task
    one = visit(tanks()[number], (seed, number, 3))
    animals = one.animals(ANIMALS)
    found = estimate(one.told, one.readings)
    while len(one.readings) < MOST_READINGS:
        following = next_reading(found, animals=animals)
        if not following.worth_it:
            break
        one.take(np.array([following.x_cm, following.y_cm, following.depth_cm]))
        found = estimate(one.told, one.readings)
    judged = verdicts(found, animals)
    real = [real_verdict(one.truth, animal) for animal in animals]
    given = [j.verdict for j in judged]
    sure = [v is not Verdict.NOT_KNOWN for v in given]
    return Verdicts(
        kind=one.truth.kind,
        readings=len(one.readings),
        given=sum(sure),
        wrong=sum(s and v is not r for s, v, r in zip(sure, given, real, strict=True)),
        by_eye_wrong=sum(by_eye(one, a) is not r for a, r in zip(animals, real, strict=True)),
        animals=len(animals),
    )


def real_verdict(truth: FaultyTank, animal: Animal) -> Verdict:
    level = truth.level(animal.depth_cm)
    return judged_by(truth.at(animal.x_cm, animal.y_cm, level), animal)


def by_eye(one: Visit, animal: Animal) -> Verdict:
    """What the nearest reading alone says."""
    here = np.array([animal.x_cm, animal.y_cm, animal.depth_cm])
    gaps = [np.linalg.norm(here - [r.x_cm, r.y_cm, r.depth_cm]) for r in one.readings]
    return judged_by(one.readings[int(np.argmin(gaps))].ppfd, animal)


def judged_by(ppfd: float, animal: Animal) -> Verdict:
    if ppfd < animal.low_ppfd:
        return Verdict.TOO_DIM
    return Verdict.TOO_BRIGHT if ppfd > animal.high_ppfd else Verdict.IN_RANGE


def together(sessions: Iterable[Session]) -> dict[tuple[str, str], Row]:
    """By fault and way of choosing places."""
    groups: dict[tuple[str, str], list[Session]] = defaultdict(list)
    for one in sessions:
        groups[one.kind, one.way].append(one)
    return {key: _row(group) for key, group in sorted(groups.items())}


def _row(group: Sequence[Session]) -> Row:
    error = np.concatenate([one.error for one in group])
    return Row(
        sessions=len(group),
        median=float(np.median(error)),
        p90=float(np.percentile(error, 90)),
        held=100 * float(np.concatenate([one.held for one in group]).mean()),
        half_width=float(np.median(np.concatenate([one.half_width for one in group]))),
        worst_elsewhere=max(one.elsewhere for one in group),
        named=100 * float(np.mean([one.named for one in group])),
        other=100 * float(np.mean([one.other for one in group])),
    )


def print_by_fault(rows: dict[tuple[str, str], Row]) -> None:
    print(f"{'fault':8}{'places':9}{'sessions':>9}{'median':>8}{'p90':>8}{'held':>8}", end="")
    print(f"{'± half':>8}{'worst elsewhere':>17}{'named':>8}{'else':>7}")
    for (kind, way), row in rows.items():
        print(
            f"{kind:8}{way:9}{row.sessions:9d}{row.median:7.2f}%{row.p90:7.2f}%{row.held:7.1f}%"
            f"{row.half_width:7.2f}%{row.worst_elsewhere:16.2f}%{row.named:7.0f}%{row.other:6.0f}%"
        )


def print_meters(told: Iterable[tuple[str, float, float]]) -> None:
    groups: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for name, held, half in told:
        groups[name].append((held, half))
    print("\nMeters off by 8 % (one standard error), tanks as planned")
    for name, values in groups.items():
        held, half = np.mean([v[0] for v in values]), np.median([v[1] for v in values])
        print(f"{name:16}{len(values):5d} sessions  held {100 * held:.1f}%  ± {100 * half:.1f}%")


def print_verdicts(found: Sequence[Verdicts]) -> None:
    print("\nVerdicts when it says enough")
    print(f"{'fault':8}{'sessions':>9}{'readings':>9}{'given':>8}{'wrong':>8}{'by eye':>8}")
    groups: dict[str, list[Verdicts]] = defaultdict(list)
    for one in found:
        groups[one.kind].append(one)
        groups["clean" if one.kind == "clean" else "faulty"].append(one)
    groups["clean"] = [one for one in found if one.kind == "clean"]
    for kind, group in sorted(groups.items()):
        animals = sum(one.animals for one in group)
        print(
            f"{kind:8}{len(group):9d}{np.mean([one.readings for one in group]):9.1f}"
            f"{100 * sum(one.given for one in group) / animals:7.1f}%"
            f"{100 * sum(one.wrong for one in group) / animals:7.1f}%"
            f"{100 * sum(one.by_eye_wrong for one in group) / animals:7.1f}%"
        )


def main(sessions: int, seed: int, processes: int) -> None:
    """Sessions are shared out evenly over the tanks."""
    every = range(len(tanks()))
    clean = [n for n in every if tanks()[n].kind == "clean"]
    rounds = max(sessions // len(tanks()), 1)
    seeds = range(seed, seed + rounds)
    with ProcessPoolExecutor(processes) as pool:
        faults = pool.map(by_fault, [(n, s, (12, 24)) for s in seeds for n in every])
        print_by_fault(together(one for group in faults for one in group))
        sys.stdout.flush()
        meters = pool.map(with_a_meter, [(n, s, (6, 12, 24)) for s in seeds for n in clean])
        print_meters(one for group in meters for one in group)
        sys.stdout.flush()
        print_verdicts(list(pool.map(until_enough, [(n, s) for s in seeds for n in every])))


if __name__ == "__main__":
    asked = [int(word) for word in sys.argv[1:]]
    main(*(asked + [406, 0, 2][len(asked) :]))
