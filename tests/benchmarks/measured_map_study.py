"""The measured map against simulated tanks: prints its tables.

    python -m tests.benchmarks.measured_map_study [sessions] [seed]

First table: error at unseen points, and how often the 80 % interval holds, after 6 and 12 readings
whose places the tool chose. Second: readings needed to reach an error, the tool's places against
regular grids (both with the map, and with plain interpolation and no plan).
"""

import sys
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.surveys.estimate import MeasuredMap, estimate
from server.surveys.next_reading import next_reading
from server.surveys.plan import Reading
from tests.benchmarks.simulated_tank import (
    Session,
    TrueField,
    fields,
    interpolated,
    regular_grid,
    session,
)

Floats = NDArray[np.float64]

UNSEEN = 200
GRIDS = ((2, 1, 1), (2, 1, 2), (3, 2, 1), (3, 2, 2), (3, 2, 3), (4, 3, 2), (5, 3, 3), (6, 5, 3))
CHOSEN = (1, 2, 3, 4, 5, 6, 8, 10, 12, 16, 20, 24)
LEVELS = (10.0, 7.0, 5.0, 4.0, 3.0)


@dataclass(frozen=True)
class Score:
    """Unseen points of one session: error in percent, whether the interval held, half-width."""

    error: Floats
    held: NDArray[np.bool_]
    half_width: Floats


@dataclass(frozen=True)
class Row:
    """Many sessions put together."""

    sessions: int
    median: float
    p90: float
    held: float
    half_width: float


def score(found: MeasuredMap, places: Floats, true: Floats) -> Score:
    light = found.at(places)
    return Score(
        error=100 * np.abs(light.ppfd / true - 1),
        held=(light.low <= true) & (true <= light.high),
        half_width=100 * light.half_width,
    )


def together(scores: Sequence[Score]) -> Row:
    error = np.concatenate([s.error for s in scores])
    return Row(
        sessions=len(scores),
        median=float(np.median(error)),
        p90=float(np.percentile(error, 90)),
        held=100 * float(np.concatenate([s.held for s in scores]).mean()),
        half_width=float(np.median(np.concatenate([s.half_width for s in scores]))),
    )


def chosen_by_the_tool(one: Session, counts: Sequence[int]) -> dict[int, Score]:
    """Readings one by one where the tool says, scored at the counts."""
    places, true = one.unseen(UNSEEN)
    readings: list[Reading] = []
    scores = {}
    for number in range(max(counts) + 1):
        found = estimate(one.told, readings)
        if number in counts:
            scores[number] = score(found, places, true)
        if number < max(counts):
            following = next_reading(found)
            place = np.array([following.x_cm, following.y_cm, following.depth_cm])
            readings.append(one.read(place, number))
    return scores


def accuracy(
    sessions: int, seed: int, *, counts: Sequence[int] = (6, 12)
) -> dict[tuple[str, int], Row]:
    """Error and intervals by what is in the tank ('nothing unknown', 'something unknown', each
    kind and each tank) and number of readings."""
    found: dict[tuple[str, int], list[Score]] = defaultdict(list)
    tanks = fields()
    for number in range(sessions):
        truth = tanks[number % len(tanks)]
        unknown = (number // len(tanks)) % 2 == 1
        one = session(truth, (seed, number), unknown=unknown)
        half = "something unknown" if unknown else "nothing unknown"
        for count, scored in chosen_by_the_tool(one, counts).items():
            for key in (half, one.unknown, f"{truth.name}, {half}"):
                if key:
                    found[key, count].append(scored)
    return {key: together(scores) for key, scores in found.items()}


def against_grids(
    sessions: int,
    seed: int,
    *,
    chosen: Sequence[int] = CHOSEN,
    grids: Sequence[tuple[int, int, int]] = GRIDS,
) -> dict[str, list[tuple[int, float]]]:
    """Median error by number of readings, nothing unknown: the tool's places and regular grids."""
    errors: dict[tuple[str, int], list[Floats]] = defaultdict(list)
    tanks = fields()
    for number in range(sessions):
        truth = tanks[number % len(tanks)]
        one = session(truth, (seed, number), unknown=False)
        for count, scored in chosen_by_the_tool(one, chosen).items():
            errors["the tool's places", count].append(scored.error)
        for shape in grids:
            _on_grid(one, truth, shape, errors)
    curves: dict[str, list[tuple[int, float]]] = defaultdict(list)
    for (way, count), found in sorted(errors.items()):
        curves[way].append((count, float(np.median(np.concatenate(found)))))
    return dict(curves)


def _on_grid(
    one: Session,
    truth: TrueField,
    shape: tuple[int, int, int],
    errors: dict[tuple[str, int], list[Floats]],
) -> None:
    places, true = one.unseen(UNSEEN)
    readings = [one.read(place, -2) for place in regular_grid(truth, shape)]
    count = len(readings)
    scored = score(estimate(one.told, readings), places, true)
    errors["a regular grid and the map", count].append(scored.error)
    plain = interpolated(readings, shape, places)
    errors["a regular grid, interpolated", count].append(100 * np.abs(plain / true - 1))


def readings_to_reach(curve: list[tuple[int, float]], error: float) -> float | None:
    """Readings at which the curve first reaches an error (linear in ln n), None if it does not."""
    best = np.minimum.accumulate([e for _, e in curve])
    for i, reached in enumerate(best):
        if reached <= error:
            if i == 0:
                return float(curve[0][0])
            share = (best[i - 1] - error) / max(best[i - 1] - reached, 1e-9)
            logs = np.log([curve[i - 1][0], curve[i][0]])
            return float(np.exp(logs[0] + share * (logs[1] - logs[0])))
    return None


def print_accuracy(rows: dict[tuple[str, int], Row]) -> None:
    print(f"{'in the tank':44}{'readings':>9}{'sessions':>9}{'median':>8}{'p90':>7}", end="")
    print(f"{'held':>7}{'± half':>8}")
    for (what, count), row in sorted(rows.items(), key=lambda item: (item[0][0], item[0][1])):
        print(
            f"{what:44}{count:9d}{row.sessions:9d}{row.median:7.2f}%{row.p90:6.2f}%"
            f"{row.held:6.1f}%{row.half_width:7.2f}%"
        )


def print_against_grids(curves: dict[str, list[tuple[int, float]]]) -> None:
    print("\nMedian error by number of readings, nothing unknown in the tank")
    for way, curve in sorted(curves.items()):
        print(f"{way:32}" + "  ".join(f"{count}: {error:.2f}%" for count, error in curve))
    print(f"\n{'to reach':10}{'tool':>7}{'grid+map':>10}{'fewer':>8}{'grid':>8}{'fewer':>8}")
    for error in LEVELS:
        tool, mapped, plain = (
            readings_to_reach(curves[way], error)
            for way in (
                "the tool's places",
                "a regular grid and the map",
                "a regular grid, interpolated",
            )
        )
        print(f"{error:8.1f} %{_n(tool)}{_n(mapped, 10)}{_fewer(tool, mapped)}", end="")
        print(f"{_n(plain, 8)}{_fewer(tool, plain)}")


def _n(count: float | None, width: int = 7) -> str:
    return f"{'never' if count is None else format(count, '.1f'):>{width}}"


def _fewer(tool: float | None, other: float | None) -> str:
    if tool is None or other is None:
        return f"{'–':>8}"
    return f"{100 * (1 - tool / other):7.0f}%"


if __name__ == "__main__":
    asked = [int(word) for word in sys.argv[1:]]
    how_many = asked[0] if asked else 240
    start = asked[1] if len(asked) > 1 else 0
    print_accuracy(accuracy(how_many, start))
    print_against_grids(against_grids(how_many // 5, start + 1))
