"""The plan page: what it says, what it draws, what it refuses, and what it keeps."""

import re
from datetime import date
from xml.etree import ElementTree

import pytest
from fastapi.testclient import TestClient

from server.db import accounts, light, surveys, tanks
from server.db.engine import Database
from server.models import Tank
from server.optics.field import at_points
from tests.conftest import Cast
from tests.web.planner.conftest import Reef, make_reef


def svg(page: str, name: str) -> ElementTree.Element:
    found = re.search(rf'<svg[^>]*aria-labelledby="{name}-title.*?</svg>', page, re.DOTALL)
    assert found is not None, name
    return ElementTree.fromstring(found.group(0))


def heading(page: str) -> str:
    found = re.search(r"<h1>(.*?)</h1>", page, re.DOTALL)
    assert found is not None
    return found.group(1)


def test_the_page_draws_three_views_in_two_sizes_and_says_who_gets_what(
    ivo: TestClient, reef: Reef
) -> None:
    answer = ivo.get(f"/tanks/{reef.tank}/plan")
    assert answer.status_code == 200
    for view in ("front", "side", "above"):
        for size in ("wide", "narrow"):
            assert svg(answer.text, f"{view}-{size}") is not None
    assert heading(answer.text).startswith("Of three animals ")
    assert answer.text.count("<h1>") == 1
    for name in ("Birdsnest", "Torch", "Plate"):
        assert name in answer.text
    assert "nobody has measured this light yet" in answer.text


def test_the_page_is_light(ivo: TestClient, reef: Reef) -> None:
    answer = ivo.get(f"/tanks/{reef.tank}/plan", headers={"Accept-Encoding": "identity"})
    assert len(answer.content) < 100_000
    for view in ("front-wide", "side-wide", "above-wide", "above-narrow"):
        assert len(list(svg(answer.text, view).iter())) < 2000


def test_the_lamps_of_all_views_share_one_scale(ivo: TestClient, reef: Reef) -> None:
    page = ivo.get(f"/tanks/{reef.tank}/plan").text
    front, above = svg(page, "front-wide"), svg(page, "above-wide")
    assert front.get("width") == above.get("width")


def test_a_raised_lamp_stands_higher_and_gives_less(ivo: TestClient, reef: Reef) -> None:
    def gets(query: str) -> float:
        page = ivo.get(f"/tanks/{reef.tank}/plan{query}").text
        table = page[page.index('class="who"') :]
        found = re.search(r'<td class="number"><strong>([\d.]+)</strong>', table)
        assert found is not None
        return float(found.group(1))

    assert gets("?h0=60&h1=60") < gets("")
    assert gets("?lift=35") == gets("?h0=60&h1=60")


def test_half_the_power_is_half_the_light(ivo: TestClient, reef: Reef) -> None:
    def firsts(query: str) -> list[float]:
        page = ivo.get(f"/tanks/{reef.tank}/plan{query}").text
        return [float(n) for n in re.findall(r"<strong>(\d[\d.]*)</strong>", page)]

    full, half = firsts("?p0=60&p1=60"), firsts("?p0=30&p1=30")
    table_full, table_half = full[-3:], half[-3:]
    assert table_half == pytest.approx([value / 2 for value in table_full], abs=0.6)


def test_the_proposal_is_the_accounts_and_comes_true_when_it_is_tried(
    ivo: TestClient, reef: Reef, club: Database, cast: Cast
) -> None:
    measure(club, cast, reef, 0.7)
    page = ivo.get(f"/tanks/{reef.tank}/plan").text
    with club.read() as db:
        tank = db.get_one(Tank, reef.tank)
        rows = accounts.rows_of(db, tank, today=date(2026, 6, 2))
    proposal = accounts.account(rows).proposal
    link = re.search(r'href="(/tanks/\d+/plan\?[^"]+)">Try that', page)
    assert proposal is not None and proposal.words in page and link is not None
    tried = ivo.get(link.group(1).replace("&amp;", "&")).text
    chances = re.search(r"(?:rises|falls) from (\d+) % to (\d+) %", tried)
    assert chances is not None
    before, after = (int(one) / 100 for one in chances.groups())
    assert before == pytest.approx(proposal.chance_before, abs=0.01)
    assert after == pytest.approx(proposal.chance_after, abs=0.05)


def test_a_change_is_drawn_against_what_hangs_now(ivo: TestClient, reef: Reef) -> None:
    page = ivo.get(f"/tanks/{reef.tank}/plan?p0=20").text
    assert "What would change" in page
    assert svg(page, "change-wide") is not None
    assert "now " in page
    assert "What would change" not in ivo.get(f"/tanks/{reef.tank}/plan").text


def test_the_tints_can_show_where_one_animal_could_live(ivo: TestClient, reef: Reef) -> None:
    page = ivo.get(f"/tanks/{reef.tank}/plan?focus={reef.animals[1]}").text
    assert 'class="zone-1"' in page
    assert "The clear area is where Torch" in page


def test_what_follows_a_slider_is_the_parts_alone_in_one_size(ivo: TestClient, reef: Reef) -> None:
    answer = ivo.get(f"/tanks/{reef.tank}/plan/drawn?size=wide&draft=yes&h0=30")
    assert answer.status_code == 200
    parts = re.findall(r'data-part="([^"]+)"', answer.text)
    charts = ["front-wide", "side-wide", "above-wide"]
    assert parts == [*charts, "rows", "cautions-0", "cautions-1"]
    assert "<html" not in answer.text
    assert answer.headers["cache-control"] == "no-store"


@pytest.mark.parametrize(
    ("name", "typed"),
    [
        ("h0", "nan"), ("h0", "inf"), ("h0", "-5"), ("h0", "1e309"), ("h0", "high"),
        ("p1", "101"), ("p1", "NaN"), ("x0", "99999"), ("depth", "51"), ("y", "-1"),
        ("x", "<script>"), ("lift", "1000"),
    ],
)  # fmt: skip
def test_a_number_that_cannot_be_is_refused_in_place_and_kept_as_typed(
    ivo: TestClient, reef: Reef, name: str, typed: str
) -> None:
    answer = ivo.get(f"/tanks/{reef.tank}/plan", params={name: typed})
    assert answer.status_code == 422
    assert f'id="{name}-wrong"' in answer.text
    assert "<script>alert" not in answer.text
    assert "<script>" not in answer.text.replace('<script src="', "")
    assert ivo.get(f"/tanks/{reef.tank}/plan/drawn", params={name: typed}).status_code == 422


def test_a_decimal_comma_and_inches_are_read(ivo: TestClient, reef: Reef) -> None:
    inches = ivo.get(f"/tanks/{reef.tank}/plan", params={"unit": "in", "h0": "12,5"})
    assert inches.status_code == 200
    assert "12.5 in" in inches.text
    assert "in from the left wall" in inches.text


def test_a_plan_sent_to_a_friend_who_reads_inches_is_the_same_plan(
    ivo: TestClient, reef: Reef
) -> None:
    page = ivo.get(f"/tanks/{reef.tank}/plan?unit=cm&h0=40").text
    assert '<input type="hidden" name="unit" value="cm">' in page


def test_keeping_makes_a_plan_and_leaves_what_hangs(
    ivo: TestClient, reef: Reef, club: Database
) -> None:
    answer = ivo.post(
        f"/tanks/{reef.tank}/plan/keep",
        data={"h0": "40", "p1": "35", "lift": "0", "name": "Higher", "unit": "cm"},
    )
    assert answer.status_code == 303
    with club.read() as db:
        current = tanks.current_setup(db, reef.tank)
        plan = next(s for s in tanks.setups_of(db, reef.tank) if s.state == "plan")
        lamps = tanks.lamps_of(db, plan.id or 0)
        assert current is not None and current.id == reef.setup
    assert plan.name == "Higher"
    assert [(lamp.height_cm, lamp.power) for lamp in lamps] == [(40, 0.6), (25, 0.35)]
    assert answer.headers["location"].endswith(f"?setup={plan.id}")
    assert "is a plan not hung yet" in ivo.get(answer.headers["location"]).text


def test_keeping_nonsense_keeps_what_was_typed_and_stores_nothing(
    ivo: TestClient, reef: Reef, club: Database
) -> None:
    answer = ivo.post(f"/tanks/{reef.tank}/plan/keep", data={"h0": "up", "name": "x" * 81})
    assert answer.status_code == 422
    assert 'value="up"' in answer.text
    assert "x" * 81 in answer.text
    with club.read() as db:
        assert len(tanks.setups_of(db, reef.tank)) == 1


def test_a_tank_without_lamps_teaches_what_will_be_here(
    ivo: TestClient, club: Database, cast: Cast
) -> None:
    with club.write() as db:
        tank = tanks.add_tank(
            db,
            owner_id=cast.ivo.id or 0,
            words=tanks.TankWords(name="Empty", length_cm=60, width_cm=40, depth_cm=40),
        )
    page = ivo.get(f"/tanks/{tank.id}/plan")
    assert page.status_code == 200
    assert f'href="/tanks/{tank.id}/light"' in page.text
    assert ivo.get(f"/tanks/{tank.id}/plan/drawn").status_code == 404


def test_another_members_private_tank_is_not_there(tess: TestClient, reef: Reef) -> None:
    assert tess.get(f"/tanks/{reef.tank}/plan").status_code == 404
    assert tess.get(f"/tanks/{reef.tank}/plan/drawn").status_code == 404
    assert tess.post(f"/tanks/{reef.tank}/plan/keep", data={"h0": "40"}).status_code == 404


def test_a_shared_tank_may_be_tried_but_not_kept(
    tess: TestClient, club: Database, cast: Cast
) -> None:
    shared = make_reef(club, cast.ivo.id or 0, shared=True)
    page = tess.get(f"/tanks/{shared.tank}/plan?h0=40")
    assert page.status_code == 200
    assert "Keep this as a new setup" not in page.text
    assert tess.post(f"/tanks/{shared.tank}/plan/keep", data={"h0": "40"}).status_code == 404


@pytest.mark.parametrize("setup", ["0", "-1", "abc", "999999", "9" * 30, "²"])
def test_a_setup_that_is_not_of_this_tank_is_not_there(
    ivo: TestClient, reef: Reef, setup: str
) -> None:
    assert ivo.get(f"/tanks/{reef.tank}/plan", params={"setup": setup}).status_code == 404


def test_a_visitor_is_sent_to_sign_in_and_comes_back(client: TestClient, reef: Reef) -> None:
    answer = client.get(f"/tanks/{reef.tank}/plan?h0=40")
    assert answer.status_code == 303
    assert (
        "next=%2Ftanks" in answer.headers["location"] or "next=/tanks" in answer.headers["location"]
    )


# With readings


def measure(club: Database, cast: Cast, reef: Reef, share: float) -> None:
    """A dozen readings that say the lamps give only a share of what was stated."""
    with club.write() as db:
        tank = db.get_one(Tank, reef.tank)
        hung = light.hung_over(db, reef.setup)
        scene = light.scene(tank, hung)
        places = [(x, y, z) for x in (15, 45, 75) for y in (12, 32) for z in (12, 38)]
        x, y, z = zip(*places, strict=True)
        light_there = at_points(scene.tank, scene.water, scene.emitters, x_cm=x, y_cm=y, depth_cm=z)
        session = surveys.add_session(
            db,
            tank_id=reef.tank,
            words=surveys.SessionWords(taken_on=date(2026, 6, 1), setup_id=reef.setup),
            by_id=cast.ivo.id,
        )
        for (x_cm, y_cm, depth_cm), ppfd in zip(places, light_there, strict=True):
            value = round(float(ppfd) * share, 1)
            entry = surveys.Entry(
                client_id=f"{x_cm}-{y_cm}-{depth_cm}",
                x_cm=x_cm,
                y_cm=y_cm,
                depth_cm=depth_cm,
                raw_ppfd=value,
                typed_light=str(value),
            )
            surveys.record(db, session, [entry], by_id=cast.ivo.id)


def first_gets(page: str) -> float:
    found = re.search(r'<td class="number"><strong>([\d.]+)</strong>', page)
    assert found is not None
    return float(found.group(1))


def test_readings_put_the_plan_right_and_the_page_says_so(
    ivo: TestClient, reef: Reef, club: Database, cast: Cast
) -> None:
    planned = first_gets(ivo.get(f"/tanks/{reef.tank}/plan").text)
    measure(club, cast, reef, 0.7)
    page = ivo.get(f"/tanks/{reef.tank}/plan").text
    assert first_gets(page) == pytest.approx(0.7 * planned, rel=0.05)
    assert re.search(r"Known to about \d+ %, from 12 readings on 1 June 2026\.", page)
    assert "as measured" in page
    assert 'class="sounding"' in page
    assert "Output, from the readings" in page
    assert "± " in page


def test_a_lamp_moved_after_measuring_keeps_what_was_learnt(
    ivo: TestClient, reef: Reef, club: Database, cast: Cast
) -> None:
    planned = first_gets(ivo.get(f"/tanks/{reef.tank}/plan?lift=15").text)
    measure(club, cast, reef, 0.7)
    page = ivo.get(f"/tanks/{reef.tank}/plan?lift=15").text
    assert first_gets(page) == pytest.approx(0.7 * planned, rel=0.08)
    assert "from 12 readings on 1 June 2026 under the same lamps, carried over" in page
    assert 'class="sounding"' not in page
    half = first_gets(ivo.get(f"/tanks/{reef.tank}/plan?p0=30&p1=30").text)
    assert half == pytest.approx(first_gets(ivo.get(f"/tanks/{reef.tank}/plan").text) / 2, rel=0.02)


def test_the_draft_of_a_slider_stays_close_to_the_fine_drawing(ivo: TestClient, reef: Reef) -> None:
    query = "size=wide&h0=33&h1=33"
    fine = re.findall(
        r'<td class="number"><strong>([\d.]+)</strong>',
        ivo.get(f"/tanks/{reef.tank}/plan/drawn?{query}").text,
    )
    coarse = re.findall(
        r'<td class="number"><strong>([\d.]+)</strong>',
        ivo.get(f"/tanks/{reef.tank}/plan/drawn?{query}&draft=yes").text,
    )
    assert [float(n) for n in coarse] == pytest.approx([float(n) for n in fine], rel=0.06)
