"""Doubt and readings drawn where they are: nothing mirrored, turned or taken from another axis."""

import re

import numpy as np

from server.drawing import axes, tank_view


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
