"""The low-light threshold, light against history, and the night."""

import pytest

from server.dose.day import Day, added, course
from server.dose.warnings import against_history, low_light, night


@pytest.mark.parametrize(
    ("dli", "word"),
    [(0.05, "dark"), (0.1, "low"), (1.19, "low"), (1.2, "near"), (1.89, "near"), (1.9, "enough")],
)
def test_the_published_threshold_divides_low_from_enough(dli: float, word: str) -> None:
    # Bessell-Browne et al. 2017, Sci Rep 7 (abstract): EI10 at 30 days 1.2–1.9 mol m⁻² d⁻¹;
    # bleaching below 0.1
    assert low_light(dli) == word


def test_high_light_is_only_ever_relative_to_history() -> None:
    more = against_history(dli_mol_m2_d=9, peak_ppfd=300, used_dli_mol_m2_d=3, used_peak_ppfd=150)
    assert more is not None
    assert (more.dose_ratio, more.peak_ratio, more.larger) == (3, 2, 3)
    unknown = against_history(dli_mol_m2_d=9, peak_ppfd=300, used_dli_mol_m2_d=0, used_peak_ppfd=0)
    assert unknown is None


def test_moonlight_all_night_is_no_dark_night() -> None:
    day = course(Day(hours=(9, 10, 18, 19), levels=(0, 100, 100, 0)), peak_ppfd=200)
    moon = course(Day(hours=(19, 19, 9, 9), levels=(0, 100, 100, 0)), peak_ppfd=0.5)
    without, with_moon = night(day), night(added([day, moon]))
    assert without.dark_enough and without.dark_hours == pytest.approx(14)
    assert not with_moon.dark_enough
    assert with_moon.dark_hours == 0
    assert with_moon.faint_hours == pytest.approx(14, abs=0.2)
