"""P–E curves against published equations and one published colony, and against quadrature."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from server.dose import photosynthesis as pe
from server.dose.day import Course, Day, course

PUBLISHED = Path(__file__).parents[1] / "published" / "pe_check_values.csv"
CURVES = {
    "jassby_platt_tanh": pe.TANH,
    "webb_exponential": pe.WEBB,
    "smith": pe.SMITH,
    "michaelis_menten": pe.MICHAELIS_MENTEN,
}
WORKED_CASE = pe.Photoinhibition(ps=10, alpha=0.05, beta=0.005)


def _published() -> list[dict[str, str]]:
    lines = [line for line in PUBLISHED.read_text("utf-8").splitlines() if line[0] != "#"]
    return list(csv.DictReader(lines))


def _rows(quantity: str) -> list[tuple[pe.PECurve, float, float]]:
    return [
        (CURVES[row["model"]], float(row["argument"]), float(row["value"]))
        for row in _published()
        if row["model"] in CURVES and row["quantity"] == quantity
    ]


def _half_sine(peak: float, pieces: int = 4000) -> Course:
    edges = np.linspace(0, 12, pieces + 1)
    light = peak * np.sin(np.pi * edges / 12)
    return Course(
        start_h=np.append(edges[:-1], 12.0),
        end_h=np.append(edges[1:], 24.0),
        start_ppfd=np.append(light[:-1], 0.0),
        end_ppfd=np.append(light[1:], 0.0),
    )


def test_each_curve_gives_the_published_share_at_each_light() -> None:
    rows = _rows("P/Pmax at E/Ek")
    assert len(rows) == 44
    for curve, ratio, share in rows:
        assert curve.share(ratio) == pytest.approx(share, abs=5e-7), (curve.key, ratio)


def test_each_curve_gives_the_published_light_for_a_share() -> None:
    rows = _rows("E/Ek at P/Pmax")
    assert len(rows) == 16
    for curve, share, ratio in rows:
        assert curve.ratio_for(share) == pytest.approx(ratio, abs=1e-6), (curve.key, share)


def test_compensation_follows_from_respiration() -> None:
    rows = _rows("Ec/Ek at Rd/Pmax")
    assert len(rows) == 20
    for curve, respiration, ratio in rows:
        found = pe.compensation_ppfd(curve, saturation_ppfd=1, respiration_share=respiration)
        assert found == pytest.approx(ratio, abs=1e-6)


def test_a_half_sine_day_gives_the_published_mean_share() -> None:
    rows = _rows("day-mean P/Pmax, half-sine day, Emax/Ek")
    assert len(rows) == 24
    for curve, ratio, share in rows:
        day = _half_sine(ratio * 100)
        hours = pe.hours_of_full_photosynthesis(day, saturation_ppfd=100, curve=curve)
        assert hours / 12 == pytest.approx(share, abs=2e-6), (curve.key, ratio)


def test_the_colony_of_the_open_data_set_is_a_smith_curve() -> None:
    # E5 coral time series, colony ACR-139: Am, AQY, Rd as published; its own Ec is 199.055511.
    rate, slope, respiration = 1.0423651179, 0.0022471376837, 0.4110558336
    ek = rate / slope
    found = {
        curve.key: pe.compensation_ppfd(
            curve, saturation_ppfd=ek, respiration_share=respiration / rate
        )
        for curve in (pe.SMITH, pe.TANH)
    }
    assert ek == pytest.approx(463.863485, abs=1e-6)
    assert found["smith"] == pytest.approx(199.055511, abs=1e-6)
    assert found["tanh"] == pytest.approx(193.4, abs=0.1)


def test_photoinhibition_gives_the_worked_case() -> None:
    # Platt, Gallegos & Harrison 1980: equations; the numbers are computed from them.
    rows = [row for row in _published() if row["model"].startswith("platt_1980 (Ps=10")]
    rates = {float(r["argument"]): float(r["value"]) for r in rows if r["quantity"] == "P at E"}
    assert len(rates) == 6
    for ppfd, rate in rates.items():
        assert WORKED_CASE.rate(ppfd) == pytest.approx(rate, abs=1e-6)
    assert WORKED_CASE.best_rate == pytest.approx(7.152668, abs=1e-6)
    assert WORKED_CASE.best_ppfd == pytest.approx(479.579055, abs=1e-6)
    assert WORKED_CASE.saturation_ppfd == pytest.approx(143.053353, abs=1e-6)
    assert WORKED_CASE.inhibition_ppfd == 2000


def test_photoinhibition_lowers_the_best_rate_as_published() -> None:
    rows = [row for row in _published() if row["quantity"] == "Pmax/Ps at beta/alpha"]
    assert len(rows) == 6
    for row in rows:
        curve = pe.Photoinhibition(ps=1, alpha=1, beta=float(row["argument"]))
        assert curve.best_rate == pytest.approx(float(row["value"]), abs=1e-6)


def test_without_inhibition_the_curve_is_the_exponential_one() -> None:
    curve = pe.Photoinhibition(ps=8, alpha=0.04, beta=0)
    light = np.array([0.0, 50.0, 200.0, 900.0])
    assert curve.rate(light) == pytest.approx(8 * pe.webb(light / 200))
    assert (curve.best_rate, curve.best_ppfd) == (8, float("inf"))


@pytest.mark.parametrize("curve", pe.CURVES.values(), ids=list(pe.CURVES))
@given(start=st.floats(0, 50), end=st.floats(0, 50))
def test_the_mean_along_a_line_agrees_with_scipy(
    curve: pe.PECurve, start: float, end: float
) -> None:
    exact = curve.mean_share(np.array([start]), np.array([end]))[0]
    knee = [1 / (end - start) * (2 - start)] if min(start, end) < 2 < max(start, end) else None
    reference, _ = quad(
        lambda along: float(curve.share(start + (end - start) * along)),
        0,
        1,
        points=knee,
        epsabs=1e-11,
        epsrel=1e-11,
        limit=200,
    )
    assert exact == pytest.approx(reference, abs=1e-9)


@pytest.mark.parametrize("curve", pe.CURVES.values(), ids=list(pe.CURVES))
def test_the_mean_along_a_line_keeps_its_digits_at_the_edges(curve: pe.PECurve) -> None:
    pairs = [(0.0, 0.0), (1e-9, 2e-9), (1e6, 1e6 + 1e-3), (0.3, 0.3 + 1e-7), (5.0, 5.0)]
    for start, end in pairs:
        mean = curve.mean_share(np.array([start]), np.array([end]))[0]
        assert mean == pytest.approx(float(curve.share((start + end) / 2)), rel=1e-9, abs=1e-15)


@given(saturation=st.floats(20, 600), ratio=st.floats(2.8, 30))
def test_a_curve_is_found_for_its_saturation_point_and_best_light(
    saturation: float, ratio: float
) -> None:
    curve = pe.inhibited(saturation_ppfd=saturation, best_ppfd=saturation * ratio)
    assert curve.best_rate == pytest.approx(1, rel=1e-9)
    assert curve.saturation_ppfd == pytest.approx(saturation, rel=1e-9)
    assert curve.best_ppfd == pytest.approx(saturation * ratio, rel=1e-6)


def test_the_worked_case_is_found_back() -> None:
    # Ps 10, α 0.05, β 0.005: Ek 143.053353, E at Pmax 479.579055 (computed from Platt 1980)
    curve = pe.inhibited(saturation_ppfd=143.053353, best_ppfd=479.579055)
    assert curve.beta / curve.alpha == pytest.approx(0.1, rel=1e-5)


def test_no_curve_peaks_below_e_times_its_saturation_point() -> None:
    with pytest.raises(ValueError, match="above e times"):
        pe.inhibited(saturation_ppfd=100, best_ppfd=270)


def test_an_inhibited_day_agrees_with_scipy() -> None:
    day = Day(hours=(8, 11.5, 16.5, 20), levels=(0, 100, 100, 0))
    one = course(day, peak_ppfd=1500)
    rising, _ = quad(lambda h: float(WORKED_CASE.rate(1500 * h / 3.5)), 0, 3.5, epsabs=1e-11)
    reference = (2 * rising + 5 * float(WORKED_CASE.rate(1500))) / WORKED_CASE.best_rate
    assert pe.inhibited_hours(one, WORKED_CASE) == pytest.approx(reference, abs=1e-8)
