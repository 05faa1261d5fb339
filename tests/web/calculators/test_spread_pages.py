"""The light calculators as pages: open to all, the address carries the inputs."""

import pytest
from fastapi.testclient import TestClient

PAGES = ["/calculators/spread", "/calculators/mounting-height"]


@pytest.mark.parametrize("page", PAGES)
def test_an_empty_address_shows_a_worked_example(client: TestClient, page: str) -> None:
    answer = client.get(page)
    assert answer.status_code == 200
    assert "<svg" in answer.text
    assert "<table" in answer.text
    assert "How this was worked out" in answer.text
    assert "style=" not in answer.text
    assert len(answer.content) < 100_000


def test_the_list_of_calculators_names_both(client: TestClient) -> None:
    shown = client.get("/calculators").text
    assert all(page in shown for page in PAGES)


def test_the_mounting_height_leads_to_the_same_light_in_the_spread_calculator(
    client: TestClient,
) -> None:
    shown = client.get("/calculators/mounting-height?lamps=1&beam=60&depths=20").text
    address = shown.split('<a href="/calculators/spread?')[1].split('"')[0].replace("&amp;", "&")
    there = client.get(f"/calculators/spread?{address}")
    assert there.status_code == 200
    assert "20 cm deep" in there.text


def test_narrow_lenses_hang_high_and_wide_ones_low_on_the_page_too(client: TestClient) -> None:
    base = (
        "/calculators/mounting-height?length=90&width=50&depth=50&ppf=150&lamps=2&shape=point"
        "&low=100&high=250&depths=20;35&lowest=10&highest=80&beam="
    )

    def height(beam: int) -> float:
        words = client.get(f"{base}{beam}").text
        return float(words.split("Hang them ")[1].split(" cm")[0])

    assert height(50) >= height(150) + 10


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize(
    "query",
    [
        "length=abc",
        "width=nan",
        "depth=-3",
        "ppf=inf",
        "beam=400",
        "lamps=2.5",
        "lamps=99",
        "wall_left=mirror",
        "floor=lava",
        "water=wine",
        "shape=ring",
        "size=",
        "cell=0.001",
        "low=300&high=100",
        "length=" + "9" * 5000,
        "length=<script>alert(1)</script>",
    ],
)
def test_what_cannot_be_comes_back_as_typed_with_words_beside_it(
    client: TestClient, page: str, query: str
) -> None:
    answer = client.get(f"{page}?{query}")
    assert answer.status_code == 422
    assert "There is a problem" in answer.text
    assert "<script>alert" not in answer.text


@pytest.mark.parametrize(
    "query", ["depths=abc", "depths=", "depths=60", "highest=5", "headroom=3", "least_power=200"]
)
def test_a_target_that_cannot_be_is_refused_in_place(client: TestClient, query: str) -> None:
    answer = client.get(f"/calculators/mounting-height?{query}")
    assert answer.status_code == 422
    assert "There is a problem" in answer.text


def test_decimal_commas_and_points_both_read(client: TestClient) -> None:
    comma = client.get("/calculators/spread?length=100,5&height=22,5")
    point = client.get("/calculators/spread?length=100.5&height=22.5")
    assert comma.status_code == point.status_code == 200
    heading = [one.text.split("<h1>")[1].split("</h1>")[0] for one in (comma, point)]
    assert heading[0] == heading[1]


def test_the_photons_are_added_up_on_request(client: TestClient) -> None:
    shown = client.get("/calculators/spread?photons=yes&length=40&width=30&depth=30").text
    rows = shown.split("Where the photons end", 1)[1].split("</table>")[0]
    shares = [float(cell.split(" %")[0]) for cell in rows.split('<td class="number">')[1:]]
    assert len(shares) == 6
    assert sum(shares) == pytest.approx(100, abs=1.5)
