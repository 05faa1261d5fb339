"""Doubt and readings drawn where they are: nothing mirrored, turned or taken from another axis."""

import re

import numpy as np

from server.account.cuts import Cuts, Views
from server.drawing import axes, tank_view
from server.models import Tank
from server.web import three_views


def _section(doubt: np.ndarray) -> tank_view.TankView:
    return tank_view.section(
        np.full((20, 30), 120.0),
        length=60,
        depth=40,
        headroom=20,
        per_cm=4,
        unit=axes.CENTIMETRES,
        levels=tank_view.Levels(tints=(100, 200)),
        title="t",
        description="d",
        axis_words="cm",
        doubt=tank_view.Doubt(values=doubt),
    )


def _first_y(d: str) -> float:
    found = re.match(r"M ?(-?[\d.]+)[ ,](-?[\d.]+)", d)
    assert found is not None, d[:40]
    return float(found[2])


def test_doubt_near_the_floor_is_hatched_near_the_floor() -> None:
    doubt = np.full((20, 30), 0.05)
    doubt[15:] = 0.9  # rows run from the surface down
    view = _section(doubt)
    middle = view.box.top + view.box.height / 2
    assert [one.kind for one in view.hatches] == ["unsure", "unknown"]
    assert all(_first_y(one.d) > middle for one in view.hatches)


def test_doubt_near_the_front_is_hatched_low_on_the_view_from_above() -> None:
    doubt = np.full((15, 30), 0.05)
    doubt[:3] = 0.9  # rows run from the front wall back
    view = tank_view.plan(
        np.full((15, 30), 120.0), length=60, width=30, per_cm=4, unit=axes.CENTIMETRES,
        levels=tank_view.Levels(tints=(100,)), title="", description="", axis_words="",
        doubt=tank_view.Doubt(values=doubt),
    )  # fmt: skip
    middle = view.box.top + view.box.height / 2
    assert view.hatches and all(_first_y(one.d) > middle for one in view.hatches)


def test_each_view_prints_the_readings_near_its_own_cut() -> None:
    """Front cut 10 cm from the front wall, side cut 50 cm from the left one: no place near the
    one by x is near the other by y."""
    drawn = three_views.wide(
        three_views.Picture(
            tank=Tank(owner_id=1, name="T", length_cm=80, width_cm=40, depth_cm=36),
            hung=(),
            places=(),
            animals=(),
            cuts=Cuts(depth_cm=20, front_y_cm=10, side_x_cm=50),
            light=Views(
                above=np.full((20, 40), 150.0),
                front=np.full((18, 40), 150.0),
                side=np.full((18, 20), 150.0),
            ),
            levels=tank_view.Levels(tints=(100, 200)),
            unit="cm",
            soundings=[
                three_views.Sounded(x_cm=70, y_cm=12, depth_cm=5, ppfd=311),
                three_views.Sounded(x_cm=12, y_cm=32, depth_cm=20, ppfd=122),
                three_views.Sounded(x_cm=48, y_cm=33, depth_cm=32, ppfd=47),
            ],
        )
    )
    assert _readings(drawn.front) == ["311"]
    assert _readings(drawn.side) == ["47"]
    assert _readings(drawn.above) == ["122"]


def _readings(view: tank_view.TankView) -> list[str]:
    return [one.reading.words for one in view.soundings]
