"""How long light has been left alone, what that can show, and chores coming round."""

from datetime import date, timedelta

from server.dose import chores
from server.dose.unchanged import in_words, unchanged

CHANGED = date(2026, 1, 10)


def test_after_ten_days_nothing_can_be_judged() -> None:
    result = unchanged(changed_on=CHANGED, today=CHANGED + timedelta(days=10))
    assert result.days == 10 and result.early
    assert result.first_look_on == date(2026, 1, 31)
    assert len(result.not_shown) == 4


def test_after_seven_months_only_growth_has_not_shown() -> None:
    result = unchanged(changed_on=CHANGED, today=CHANGED + timedelta(days=213))
    assert [sign.what for sign in result.not_shown] == ["growth and shape"]
    assert "common practice" in result.not_shown[0].basis


def test_judging_is_from_nine_to_twelve_months() -> None:
    # common practice, no published source
    result = unchanged(changed_on=CHANGED, today=CHANGED + timedelta(days=400))
    assert not result.early
    assert (result.judge_from - CHANGED).days == 274
    assert (result.judge_until - CHANGED).days == 365


def test_a_change_in_the_future_counts_as_today() -> None:
    assert unchanged(changed_on=CHANGED, today=CHANGED - timedelta(days=3)).days == 0


def test_days_are_said_as_people_say_them() -> None:
    assert [in_words(days) for days in (1, 9, 30, 200)] == [
        "1 day",
        "9 days",
        "4 weeks",
        "7 months",
    ]


def test_chores_fit_the_lamps_over_the_tank() -> None:
    led = chores.fitting(lamp_kinds=frozenset({"led_panel"}), cover=False)
    assert {chore.key for chore in led} == {"lens", "carbon", "measure", "hanging"}
    tubes = chores.fitting(lamp_kinds=frozenset({"fluorescent_tube"}), cover=True)
    assert {"tubes", "pane"} <= {chore.key for chore in tubes}
    assert "burner" not in {chore.key for chore in tubes}


def test_a_chore_comes_round_after_it_was_done_or_after_the_setup() -> None:
    lens = chores.BY_KEY["lens"]
    never = chores.due(lens, last_on=None, counted_from=CHANGED, days=None, today=date(2026, 3, 1))
    assert (never.due_on, never.days_late) == (date(2026, 2, 9), 20)
    done = chores.due(
        lens, last_on=date(2026, 2, 20), counted_from=CHANGED, days=60, today=date(2026, 3, 1)
    )
    assert (done.due_on, done.days_late) == (date(2026, 4, 21), -51)


def test_chores_near_mains_and_hot_lamps_carry_their_cautions() -> None:
    assert "Unplug" in chores.BY_KEY["lens"].why
    assert "UV" in chores.BY_KEY["burner"].why
    assert "licensed electrician" in chores.BY_KEY["hanging"].why
