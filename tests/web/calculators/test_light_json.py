"""The light calculators as JSON."""

from collections.abc import Mapping

import pytest
from fastapi.testclient import TestClient

from tests.optics.published import FOLDER

MADE = FOLDER / "synthetic_photometry"
BLUE = {"shape": "ready", "key": "royal_blue"}
EMITTER = {
    "shape": "point",
    "x_cm": 0,
    "y_cm": 0,
    "height_cm": 25,
    "ppf_umol_s": 100,
    "beam_deg": 90,
}
SHIMMER: dict[str, object] = {
    "emitters": [EMITTER],
    "x_cm": 0,
    "y_cm": 0,
    "depth_cm": 30,
    "ripple_length_cm": 8,
    "ripple_height_cm": 0.2,
}


def test_light_units_turn_one_level_into_all(client: TestClient) -> None:
    body = {
        "value": 100,
        "unit": "ppfd",
        "spectrum": {"shape": "gaussian", "peak_nm": 550, "width_nm": 2},
    }
    answer = client.post("/api/light-units", json=body).json()
    # 683 V(550)·119.627/550 by CIE 1924 and SI 2019: 147.8 lux per µmol at 550 nm.
    assert answer["lux"] == pytest.approx(100 * 683 * 0.995 * 550 / 550 / 4.597641, rel=2e-3)
    assert answer["w_m2"] == pytest.approx(100 / 4.597641, rel=1e-4)
    assert answer["foot_candles"] == pytest.approx(answer["lux"] / 10.7639, rel=1e-4)


def test_a_spectrum_answers_everything_by_depth(client: TestClient) -> None:
    even = {"shape": "table", "wavelength_nm": [380, 780], "power": [1, 1]}
    body = {"spectrum": even, "yellow_440_per_m": 0, "water": None, "depths_cm": [0, 50, 100]}
    answer = client.post("/api/spectrum", json=body).json()
    assert answer["umol_per_joule"] == pytest.approx(4.597641, rel=1e-5)
    lefts = [row["left"] for row in answer["at_depth"]]
    assert lefts[0] == 1.0 and lefts == sorted(lefts, reverse=True)
    assert sum(answer["in_air"]["bands"].values()) == pytest.approx(1.0)
    assert sum(share for share, _ in answer["absorption_per_m"]) == pytest.approx(1.0)
    usable = answer["in_air"]["usable_by_symbionts"]
    assert usable["estimate"] is True and usable["low"] < usable["high"]


def test_watts_answer_with_their_spread_and_sources(client: TestClient) -> None:
    answer = client.post("/api/watts", json={"kind": "led_panel", "watts": 100}).json()
    assert answer["low_umol_s"] == pytest.approx(89)
    assert answer["high_umol_s"] == pytest.approx(300)
    assert any("Nelson" in source for source in answer["sources"])


def test_shimmer_of_one_spot_survives_whole(client: TestClient) -> None:
    answer = client.post("/api/shimmer", json=SHIMMER).json()
    assert answer["survives"] == pytest.approx(1.0, abs=0.01)
    assert answer["word"] == "strong"
    assert len(answer["by_direction"]) == 12


def test_a_photometric_file_is_read(client: TestClient) -> None:
    raw = (MADE / "quadrant_1000lm.ies").read_bytes()
    answer = client.post("/api/photometric-file", files={"file": ("q.ies", raw)}).json()
    assert answer["flux_lm"] == pytest.approx(999.365, abs=1e-3)
    assert len(answer["phi_deg"]) == 24 == len(answer["intensity_cd"])


@pytest.mark.parametrize(
    ("address", "body", "field"),
    [
        ("light-units", {}, "value"),
        ("light-units", {"value": 1, "unit": "lux", "spectrum": BLUE, "more": 1}, "more"),
        ("light-units", {"value": "1", "unit": "lux", "spectrum": BLUE}, "value"),
        ("light-units", {"value": 1e300, "unit": "lux", "spectrum": BLUE}, "value"),
        ("light-units", {"value": 1, "unit": "sun", "spectrum": BLUE}, "unit"),
        ("light-units", {"value": 1, "unit": "lux", "spectrum": {"shape": "x"}}, "spectrum"),
        ("light-units", {"value": 1, "unit": "lux", "spectrum": []}, "spectrum"),
        ("spectrum", {"spectrum": BLUE, "depths_cm": [-1]}, "depths_cm.0"),
        ("spectrum", {"spectrum": BLUE, "water": "green"}, "water"),
        ("spectrum", {"spectrum": BLUE, "temperature_c": 90}, "temperature_c"),
        ("watts", {"kind": "candle", "watts": 10}, "kind"),
        ("watts", {"kind": "led_bar", "watts": 0}, "watts"),
        ("shimmer", SHIMMER | {"emitters": []}, "emitters"),
        ("shimmer", SHIMMER | {"ripple_height_cm": 6}, "ripple_height_cm"),
        ("shimmer", SHIMMER | {"emitters": [EMITTER | {"ppf_umol_s": 0}]}, "emitters"),
        ("shimmer", SHIMMER | {"depth_cm": True}, "depth_cm"),
        ("photometric-file", {}, "file"),
    ],
)
def test_what_cannot_be_taken_is_a_problem_by_field(
    client: TestClient, address: str, body: Mapping[str, object], field: str
) -> None:
    answer = client.post(f"/api/{address}", json=body)
    assert answer.status_code == 422
    assert answer.headers["content-type"].startswith("application/problem+json")
    assert field in [error["field"] for error in answer.json()["errors"]]


@pytest.mark.parametrize("word", ["NaN", "Infinity", "-Infinity", "1e999"])
def test_no_address_takes_what_is_no_number(client: TestClient, word: str) -> None:
    raw = f'{{"kind": "led_bar", "watts": {word}}}'
    answer = client.post("/api/watts", content=raw, headers={"content-type": "application/json"})
    assert answer.status_code == 422


def test_a_broken_file_is_refused_by_its_line(client: TestClient) -> None:
    answer = client.post("/api/photometric-file", files={"file": ("a.ies", b"TILT=NONE\n1 x\n")})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["message"].startswith("line 2:")


def test_openapi_tells_of_every_address(client: TestClient, app) -> None:  # type: ignore[no-untyped-def] # fixture
    paths = app.openapi()["paths"]
    for name in ("light-units", "spectrum", "watts", "shimmer", "photometric-file"):
        assert "422" in paths[f"/api/{name}"]["post"]["responses"]
