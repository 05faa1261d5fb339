"""Where many settings serve as well, the lamp is turned least."""

from dataclasses import replace

import pytest

from server.account.adviser import search
from server.account.change import Kind
from server.surveys import changed
from server.surveys.estimate import estimate
from server.surveys.plan import points_of
from tests.account.made import CONTROLS, made


@pytest.mark.parametrize("now_ppfd", [3000.0, 6000.0])
def test_a_wide_range_is_entered_at_its_near_end(now_ppfd: float) -> None:
    """From 20 to 2000 every level between 100 and 900 is as good: the brightest of them is the
    smallest turn of a lamp that is too bright, far above the middle of the range, 200."""
    one = made(3, lamps=1, controls=(CONTROLS[0],))
    animal = replace(one.animals[0], low_ppfd=20.0, high_ppfd=2000.0)
    hung = replace(
        one.hanging[0],
        hang=replace(one.hanging[0].hang, power=1.0),
        ability=replace(one.hanging[0].ability, least_level=0.01),
    )
    now = float(one.plan.ppfd(points_of([animal]))[0])
    plan = changed.with_output(one.plan, (now_ppfd / now,))
    advice = search(estimate(plan, ()), [animal], [hung], frozenset({Kind.POWER}))
    assert advice.change is not None and advice.after > 0.9
    assert 600 < advice.then[0].ppfd < 2000
