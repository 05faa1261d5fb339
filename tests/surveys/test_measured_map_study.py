"""A small form of the study that `tests/benchmarks/measured_map_study.py` prints in full.

UNDERLAMP_LONG=1 runs all of its 240 sessions here too, with the limits asked of it; the small
form has them a little wider, because the chance of a few sessions is larger.
"""

import os

import pytest

from tests.benchmarks.measured_map_study import Row, accuracy, against_grids, readings_to_reach

LONG = os.environ.get("UNDERLAMP_LONG") == "1"
SESSIONS = 240 if LONG else 24
SLACK = 1.0 if LONG else 1.15


@pytest.fixture(scope="module")
def rows() -> dict[tuple[str, int], Row]:
    return accuracy(SESSIONS, seed=0)


@pytest.mark.parametrize("half", ["nothing unknown", "something unknown"])
def test_twelve_readings_reach_three_percent_and_intervals_hold_as_often_as_they_say(
    rows: dict[tuple[str, int], Row], half: str
) -> None:
    row = rows[half, 12]
    assert row.median < 3.0 * SLACK
    assert 72 - (0 if LONG else 5) <= row.held <= 88 + (0 if LONG else 4)
    assert row.half_width < 8.0


def test_where_nothing_is_unknown_nine_of_ten_points_are_within_eight_percent(
    rows: dict[tuple[str, int], Row],
) -> None:
    assert rows["nothing unknown", 12].p90 < 8.0


@pytest.mark.parametrize("half", ["nothing unknown", "something unknown"])
def test_six_readings_reach_five_percent(rows: dict[tuple[str, int], Row], half: str) -> None:
    assert rows[half, 6].median < 5.0


def test_six_places_of_the_tools_choosing_do_as_well_as_a_regular_grid_of_six_or_better() -> None:
    curves = against_grids(12, seed=1, chosen=(6,), grids=((3, 2, 1),))
    error = {way: dict(curve)[6] for way, curve in curves.items()}
    tool = error["the tool's places"]
    assert tool < 1.1 * error["a regular grid and the map"]  # twelve sessions scatter by a tenth
    assert tool < 0.4 * error["a regular grid, interpolated"]


@pytest.mark.skipif(not LONG, reason="several minutes: set UNDERLAMP_LONG=1")
def test_the_tools_places_never_need_more_readings_than_a_regular_grid() -> None:
    curves = against_grids(48, seed=1)
    for error in (10.0, 7.0, 5.0, 4.0, 3.0):
        tool = readings_to_reach(curves["the tool's places"], error)
        assert tool is not None
        for other in ("a regular grid and the map", "a regular grid, interpolated"):
            needed = readings_to_reach(curves[other], error)
            assert needed is None or tool <= needed
