"""Where a way stands: due, waiting, held, over."""

from dataclasses import replace
from datetime import date, timedelta

from server.dose.ladder import Setting
from server.dose.way_now import WayStep, days_late, way_now

DAY = date(2026, 11, 25)


def _steps(done: int) -> list[WayStep]:
    return [
        WayStep(
            number=n + 1,
            due_on=DAY + timedelta(days=7 * n),
            setting=Setting(power=0.4 + 0.2 * n),
            done_on=DAY + timedelta(days=7 * n) if n < done else None,
        )
        for n in range(4)
    ]


def test_a_step_whose_day_has_come_is_due_and_what_hangs_is_the_one_before() -> None:
    way = way_now(_steps(1), today=DAY + timedelta(days=9))
    assert way is not None and way.state == "due" and way.coming.number == 2 and way.of == 4
    assert way.set_now is not None and way.set_now.setting.power == 0.4
    assert days_late(way, DAY + timedelta(days=9)) == 2


def test_between_steps_it_waits_for_a_date() -> None:
    way = way_now(_steps(1), today=DAY + timedelta(days=1))
    assert way is not None and way.state == "waiting" and way.next_on == DAY + timedelta(days=7)
    assert days_late(way, DAY) == 0


def test_a_held_way_has_no_next_date() -> None:
    way = way_now(_steps(1), today=DAY + timedelta(days=30), held_since=DAY)
    assert way is not None and way.state == "held" and way.next_on is None


def test_nothing_is_under_way_when_all_steps_are_set() -> None:
    assert way_now(_steps(4), today=DAY) is None
    way = way_now(_steps(0), today=DAY)
    assert way is not None and way.set_now is None


def test_only_a_way_that_begins_brighter_leads_down() -> None:
    """Brighter is more power than the goal, or lamps lower than it; dimmer or higher leads up."""
    up, one = _steps(0), _steps(0)[0]
    for setting, down in (
        (Setting(power=0.4), False),
        (Setting(power=0.9, raised_cm=6), False),
        (Setting(raised_cm=-4), True),
        (Setting(power=1.2), True),
    ):
        way = way_now([replace(one, setting=setting), *up[1:3]], today=DAY)
        assert way is not None and way.leads_down is down
