"""The light calculators' pages: open to visitors, right, and polite about what they cannot take."""

from urllib.parse import urlencode

import pytest
from fastapi.testclient import TestClient

from server.places import SEED
from tests.optics.published import FOLDER

MADE = FOLDER / "synthetic_photometry"
PAGES = ("light-units", "spectrum", "watts", "shimmer", "photometric-file")


@pytest.mark.parametrize("name", PAGES)
def test_each_calculator_opens_for_a_visitor_within_its_weight(
    client: TestClient, name: str
) -> None:
    answer = client.get(f"/calculators/{name}")
    assert answer.status_code == 200
    assert "How this was worked out" in answer.text
    assert len(answer.content) < 100_000
    assert "style=" not in answer.text


def test_light_units_say_what_daylight_would_have_made_of_it(client: TestClient) -> None:
    answer = client.get("/calculators/light-units?value=1000&unit=lux&light=royal_blue")
    assert "1000 lux of this light is 136 µmol m⁻² s⁻¹." in answer.text
    assert "18.0 µmol m⁻² s⁻¹" in answer.text and "87 % too low" in answer.text


def test_the_address_carries_what_was_typed(client: TestClient) -> None:
    answer = client.get(
        "/calculators/light-units?value=1234,5&unit=foot_candles&light=gaussian&peak=470&width=25"
    )
    assert answer.status_code == 200
    assert 'value="1234,5"' in answer.text and 'value="470"' in answer.text


def test_a_mix_of_lights_and_an_own_table_are_read(client: TestClient) -> None:
    query = urlencode(
        {
            "light1": "table",
            "table1": "nm;W\n400;0\n450;1\n500;0",
            "share1": "50",
            "light2": "phosphor_white",
            "blue_share2": "20",
            "share2": "50",
            "water": "yellowed",
            "depth": "40",
        }
    )
    answer = client.get(f"/calculators/spectrum?{query}")
    assert answer.status_code == 200
    assert "after 40 cm of this water" in answer.text
    assert "Pope &amp; Fry 1997" in answer.text


def test_watts_of_different_kinds_are_not_compared(client: TestClient) -> None:
    alike = client.get("/calculators/watts?kind=led_bar&watts=50&kind2=led_panel&watts2=100").text
    unlike = client.get(
        "/calculators/watts?kind=led_bar&watts=50&kind2=metal_halide&watts2=150"
    ).text
    assert "about 2.00 times the light" in alike
    assert "times the light." not in unlike
    assert "A watt makes a different number of photons" in unlike


def test_a_stated_flux_no_lamp_of_its_kind_reached_is_doubted(client: TestClient) -> None:
    answer = client.get("/calculators/watts?kind=led_panel&watts=100&ppf=900").text
    assert "no measured lamp of this kind" in answer


@pytest.mark.parametrize(
    ("query", "word"),
    [
        ("layout=point&beam=90&height=25&depth=30&ripple=8&ripple_height=0.4", "strong"),
        (
            "layout=tubes&count_y=6&pitch_y=7&tube_length=110&beam=120&height=15&depth=40"
            "&ripple=6&ripple_height=0.3",
            "washed out",
        ),
    ],
)
def test_shimmer_answers_in_a_word(client: TestClient, query: str, word: str) -> None:
    assert word in client.get(f"/calculators/shimmer?{query}").text


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("light-units?value=nan&unit=lux&light=blue", "Type one number"),
        ("light-units?value=&unit=lux&light=blue", "Type one number"),
        ("light-units?value=-5&unit=lux&light=blue", "must lie"),
        ("light-units?value=5&unit=candles&light=blue", "Choose one of the answers"),
        ("light-units?value=5&unit=lux&light=moon", "Choose one of the answers"),
        ("light-units?value=5&unit=lux&light=gaussian&peak=9000&width=20", "must lie"),
        ("light-units?value=5&unit=lux&light=table&table=450", "a wavelength and a value"),
        ("spectrum?light1=blue&share1=0&light2=red&share2=0&depth=30", "not all zero"),
        ("spectrum?light1=blue&share1=50&depth=1e99", "must lie"),
        ("spectrum?light1=blue&share1=50&depth=30&yellow=inf", "Type one number"),
        ("watts?kind=led_panel&watts=0", "must lie"),
        ("watts?kind=candle&watts=10", "Choose one of the answers"),
        ("watts?kind=led_bar&watts=10&kind2=led_bar", "Type one number"),
        ("shimmer?layout=square&side=&beam=90&height=25&depth=30&ripple=8&ripple_height=1", "Type"),
        (
            "shimmer?layout=point&beam=90&height=25&depth=30&ripple=8&ripple_height=7",
            "Ripples this steep break",
        ),
        (
            "shimmer?layout=point&beam=5&height=25&depth=30&ripple=8&ripple_height=0.4&aside_x=400",
            "No light of this lamp reaches that place",
        ),
        (
            "shimmer?layout=grid&count_x=60&count_y=40&pitch_x=1&pitch_y=1&beam=90&height=25"
            "&depth=30&ripple=8&ripple_height=0.4",
            "At most 400 emitters",
        ),
        (
            "shimmer?layout=grid&count_x=2.5&count_y=2&pitch_x=1&pitch_y=1&beam=90&height=25"
            "&depth=30&ripple=8&ripple_height=0.4",
            "whole number",
        ),
    ],
)
def test_what_cannot_be_taken_is_said_beside_the_field(
    client: TestClient, address: str, words: str
) -> None:
    answer = client.get(f"/calculators/{address}")
    assert answer.status_code == 422
    assert "There is a problem" in answer.text
    assert words in answer.text


def test_script_in_a_field_comes_back_harmless(client: TestClient) -> None:
    answer = client.get("/calculators/light-units?value=<script>alert(1)</script>&unit=lux")
    assert "<script>alert" not in answer.text
    assert "&lt;script&gt;" in answer.text


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("quadrant_1000lm.ies", "Half-value beam 120°"),
        ("fwhm60_lamp2500_lorl80.ldt", "Half-value beam 60°"),
    ],
)
def test_a_photometric_file_is_read_and_drawn(client: TestClient, name: str, words: str) -> None:
    answer = client.post(
        "/calculators/photometric-file", files={"file": (name, (MADE / name).read_bytes())}
    )
    assert answer.status_code == 200
    assert words in answer.text
    assert "<svg" in answer.text


@pytest.mark.parametrize(
    ("raw", "words"),
    [
        (b"", "choose a file"),
        (b"nothing of the kind", "neither an LM-63 file"),
        (b"\x00\x01", "not a text file"),
        (b"x" * 1_500_000, "over 1 MB"),
        ((MADE / "quadrant_1000lm.ies").read_bytes()[:900], "Line "),
    ],
)
def test_a_broken_photometric_file_is_refused_by_its_line(
    client: TestClient, raw: bytes, words: str
) -> None:
    answer = client.post("/calculators/photometric-file", files={"file": ("a.ies", raw)})
    assert answer.status_code == 422
    assert words.lower() in answer.text.lower()


def test_a_file_field_left_out_is_refused_too(client: TestClient) -> None:
    assert client.post("/calculators/photometric-file", data={"file": "text"}).status_code == 422


def test_a_member_with_inches_reads_and_types_inches(as_member, cast, club) -> None:  # type: ignore[no-untyped-def] # fixtures
    with club.write() as db:
        row = db.get_one(type(cast.ivo), cast.ivo.id)
        row.length_unit = "in"
        db.add(row)
    answer = as_member(cast.ivo).get("/calculators/shimmer")
    assert answer.status_code == 200
    assert "height over the water, in" in answer.text


def test_the_seeds_files_can_be_tried_as_its_readme_says(client: TestClient) -> None:
    raw = (SEED / "reflector-bar.ies").read_bytes()
    answer = client.post("/calculators/photometric-file", files={"file": ("r.ies", raw)})
    assert "60° across the lamp and 100° along it" in answer.text
    table = (SEED / "blue-led-spectrum.csv").read_text(encoding="utf-8")
    query = urlencode({"value": "100", "unit": "ppfd", "light": "table", "table": table})
    assert client.get(f"/calculators/light-units?{query}").status_code == 200
