"""The general two-winged lens, and tables typed as pairs."""

from dataclasses import replace

import numpy as np
import pytest

from server.optics.emitters import Emitter
from server.optics.field import planes
from server.optics.photometry import IntensityTable, table_of, two_wings
from server.optics.tank import Tank, Walls, Water
from tests.optics.scenes import furnished


def test_it_is_brightest_aside_and_ends_where_it_is_told() -> None:
    lens = two_wings(peak_deg=50, centre=0.3, end_deg=75)
    theta = np.linspace(0, 90, 901)
    level = lens.at(theta, 0)
    assert theta[level.argmax()] == pytest.approx(50, abs=0.1)
    assert level[0] == pytest.approx(0.3)
    assert level.max() == pytest.approx(1.0)
    assert np.all(level[theta > 75.01] == 0)
    assert np.all(np.diff(level[theta <= 50]) >= 0)
    assert np.all(np.diff(level[theta >= 50.1]) <= 0)


def test_it_stands_in_for_a_traced_two_winged_lens_far_better_than_a_beam_angle() -> None:
    # The carried field was traced with a table of eight points; the shape knows three of them.
    case = furnished("wide_wing_lens")
    wings, spot = case.emitters
    assert wings.intensity is not None
    general = replace(wings, intensity=two_wings(peak_deg=55, centre=0.36, end_deg=76))
    narrow, wide = (replace(wings, intensity=None, beam_deg=beam) for beam in (90, 120))

    def off(lamp: Emitter) -> float:
        found = planes(case.tank, case.water, [lamp, spot], depths_cm=case.depths_cm, cell_cm=2)
        return max(
            float(np.median(np.abs(plane.ppfd / ppfd - 1)))
            for plane, ppfd in zip(found, case.ppfd, strict=True)
        )

    assert off(general) < 0.03
    assert off(wide) > 3 * off(general)
    assert off(narrow) > 6 * off(general)


def test_a_typed_table_is_straight_between_its_points_and_held_to_the_axis() -> None:
    lens = table_of([(10, 2), (30, 4), (60, 0)])
    assert lens.at([0, 5, 10, 20, 45, 60, 70], 0) == pytest.approx([2, 2, 2, 3, 2, 0, 0])


def test_tables_of_the_same_numbers_are_one() -> None:
    first, second = table_of([(0, 1), (40, 0)]), table_of([(0, 1), (40, 0)])
    assert first == second
    assert hash(first) == hash(second)
    assert first != table_of([(0, 1), (41, 0)])
    assert len({first, second, first.turned(0)}) == 1
    assert isinstance(first, IntensityTable)


def test_a_leaning_table_sends_its_light_aside() -> None:
    black = Walls(left="black", right="black", front="black", back="black")
    tank = Tank(length_cm=100, width_cm=60, depth_cm=30, walls=black, floor_albedo=0)
    lamp = Emitter(
        x_cm=50, y_cm=30, height_cm=20, ppf_umol_s=50, intensity=table_of([(0, 1), (25, 0)]),
        tilt_deg=35,
    )  # fmt: skip
    ppfd = planes(tank, Water(), [lamp], depths_cm=[15], cell_cm=2)[0].ppfd
    assert ppfd[:, 30:].sum() > 10 * ppfd[:, :25].sum()


@pytest.mark.parametrize(
    "told",
    [
        {"peak_deg": 5.0},
        {"peak_deg": 73.0},
        {"end_deg": 91.0},
        {"centre": 1.1},
        {"peak_deg": float("nan")},
    ],
)
def test_wings_that_cannot_be_are_refused(told: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="must"):
        two_wings(**told)
