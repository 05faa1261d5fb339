"""A small form of `tests/benchmarks/faulty_tanks_study.py`, with room for the chance of few
sessions; UNDERLAMP_LONG=1 runs more of them with the limits asked for.
"""

import os

import pytest

from tests.benchmarks.faulty_tanks import tanks
from tests.benchmarks.faulty_tanks_study import (
    Row,
    Session,
    by_fault,
    together,
    until_enough,
    with_a_meter,
)

LONG = os.environ.get("UNDERLAMP_LONG") == "1"
SEEDS = range(14) if LONG else range(1)
COUNTS = (12, 24) if LONG else (12,)
FAULTS = ("dead", "dim", "film", "lens", "moved", "rock", "tilt")
SLACK = 1.0 if LONG else 1.6
WAYS = ("tool 12", "grid 24")


@pytest.fixture(scope="module")
def sessions() -> list[Session]:
    tasks = [(number, seed, COUNTS) for seed in SEEDS for number in range(len(tanks()))]
    return [one for task in tasks for one in by_fault(task)]


@pytest.fixture(scope="module")
def rows(sessions: list[Session]) -> dict[tuple[str, str], Row]:
    return together(sessions)


@pytest.mark.parametrize("way", WAYS)
def test_a_tank_as_planned_is_known_to_two_percent(
    rows: dict[tuple[str, str], Row], way: str
) -> None:
    row = rows["clean", way]
    assert row.median < 2.0 * SLACK and row.p90 < 5.0 * SLACK and row.half_width < 5.0
    assert row.held > (74 if LONG else 55)


@pytest.mark.parametrize("fault", FAULTS)
@pytest.mark.parametrize("way", WAYS)
def test_intervals_hold_whatever_is_broken(
    rows: dict[tuple[str, str], Row], fault: str, way: str
) -> None:
    assert rows[fault, way].held > (70 if LONG else 50)


@pytest.mark.parametrize(
    ("fault", "percent"), [("dead", 90), ("dim", 60), ("film", 70), ("rock", 70)]
)
def test_what_is_broken_is_named(
    rows: dict[tuple[str, str], Row], fault: str, percent: float
) -> None:
    named = sum(rows[fault, way].named for way in WAYS) / len(WAYS)
    assert named >= (percent if LONG else percent - 20)


def test_a_dead_lamp_leaves_the_map_right(rows: dict[tuple[str, str], Row]) -> None:
    assert rows["dead", "tool 12"].median < 3.0


def test_shade_in_a_corner_spoils_nothing_elsewhere(rows: dict[tuple[str, str], Row]) -> None:
    assert all(rows["rock", way].worst_elsewhere < 10.0 for way in WAYS)


def test_nothing_is_said_of_tanks_as_planned(sessions: list[Session]) -> None:
    clean = [one for one in sessions if one.kind == "clean"]
    assert sum(one.named or one.other for one in clean) <= max(0.03 * len(clean), 1)


def test_a_meter_in_doubt_keeps_its_intervals_only_if_it_says_so() -> None:
    clean = [n for n, truth in enumerate(tanks()) if truth.kind == "clean"]
    seeds, counts = (range(24), (6, 12, 24)) if LONG else (range(2), (6,))
    told = [one for seed in seeds for n in clean for one in with_a_meter((n, seed, counts))]
    stated = [held for name, held, _ in told if name.startswith("stated")]
    silent = [held for name, held, _ in told if name.startswith("not")]
    assert sum(stated) / len(stated) > (0.72 if LONG else 0.55)
    assert sum(silent) / len(silent) < sum(stated) / len(stated)


def test_verdicts_are_hardly_ever_wrong_when_it_says_enough() -> None:
    chosen = range(len(tanks())) if LONG else range(0, len(tanks()), 4)
    found = [until_enough((n, seed)) for seed in SEEDS for n in chosen]
    animals = sum(one.animals for one in found)
    wrong = sum(one.wrong for one in found) / animals
    assert wrong <= (0.05 if LONG else 0.10)
    assert wrong < sum(one.by_eye_wrong for one in found) / animals
    assert sum(one.given for one in found) / animals > 0.6
