from datetime import date

from server.dose import chores


def test_a_chore_counted_from_the_end_of_the_calendar_is_due_on_its_last_day() -> None:
    found = chores.due(
        chores.CHORES[0],
        last_on=None,
        counted_from=date.max,
        days=None,
        today=date(2026, 1, 1),
    )
    assert found.due_on == date.max
