"""Readings by the tank in a real browser: no network, a reload, an expired sign-in, wet hands."""

import socket
import time
from collections.abc import Callable, Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect
from sqlmodel import col, delete, select

from server.db.engine import Database
from server.models import PlannedPoint, Reading, SignIn
from server.settings import Settings
from server.web.app import create_app
from tests.conftest import serving
from tests.web.surveys.conftest import Scene, scene

__all__ = ["scene"]

pytestmark = pytest.mark.browser
SignInOn = Callable[[Page, str], None]
AXE = {
    "runOnly": {
        "type": "tag",
        "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    }
}


@pytest.fixture
def port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


@pytest.fixture
def pocket(browser: Browser, port: int) -> Iterator[BrowserContext]:
    """A phone whose server may be away."""
    context = browser.new_context(
        base_url=f"http://127.0.0.1:{port}",
        viewport={"width": 360, "height": 740},
        has_touch=True,
        is_mobile=True,
    )
    yield context
    context.close()


@pytest.fixture
def thumb(browser: Browser, live: str) -> Iterator[Page]:
    """A phone without a service worker, whose requests a test may swallow."""
    context = browser.new_context(
        base_url=live,
        viewport={"width": 360, "height": 740},
        has_touch=True,
        is_mobile=True,
        service_workers="block",
    )
    yield context.new_page()
    context.close()


def begin(page: Page, tank: int) -> None:
    page.goto(f"/tanks/{tank}/sessions/new")
    page.get_by_role("button", name="Begin by the tank").click()
    expect(page.locator("#keypad")).to_be_visible()


def type_in(page: Page, value: str, button: str = "Keep, next point") -> int:
    """Types a value on the page's own keypad; how many taps that took."""
    for digit in value:
        page.locator(f"[data-key='{digit}']").tap()
    page.get_by_role("button", name=button).tap()
    return len(value) + 1


def stored(club: Database) -> list[Reading]:
    with club.read() as db:
        return list(db.exec(select(Reading).order_by(col(Reading.id))))


def until(true: Callable[[], bool]) -> None:
    """Waits for something to become so on the server."""
    end = time.monotonic() + 10
    while not true():
        assert time.monotonic() < end, "it did not come about"
        time.sleep(0.05)


def usual(club: Database) -> list[str]:
    """What the plan leads one to expect at each point, as digits."""
    with club.read() as db:
        planned = db.exec(select(PlannedPoint).order_by(col(PlannedPoint.position)))
        return [f"{one.expected_ppfd:.0f}" for one in planned]


def test_no_network_a_reload_and_an_expired_sign_in_lose_and_double_nothing(
    pocket: BrowserContext,
    port: int,
    settings: Settings,
    club: Database,
    scene: Scene,
    sign_in_on: SignInOn,
) -> None:
    page = pocket.new_page()
    with serving(create_app(settings, club=club), port):
        sign_in_on(page, "ivo@club.example")
        begin(page, scene.tank)
        values = usual(club)
        for value in values[:3]:
            type_in(page, value)
        expect(page.locator("#entry-state")).to_have_text("All sent.")
        page.wait_for_function("caches.open('entry-1').then(c => c.match(location.pathname))")
        page.wait_for_function("navigator.serviceWorker.controller !== null")

    for value in values[3:6]:  # the network is cut in the middle of the session
        type_in(page, value)
    expect(page.locator("#entry-state")).to_contain_text("3 readings not sent yet")

    page.reload()
    expect(page.locator("#entry-state")).to_contain_text("3 readings not sent yet")
    expect(page.locator("#entry-title")).to_have_text("Point 7 of 12")
    expect(page.locator("#entry-count")).to_have_text("6 readings")
    for value in values[6:8]:
        type_in(page, value)
    expect(page.locator("#entry-state")).to_contain_text("5 readings not sent yet")
    assert len(stored(club)) == 3

    with club.write() as db:  # meanwhile the sign-in ran out
        db.exec(delete(SignIn))
    with serving(create_app(settings, club=club), port):
        page.evaluate("dispatchEvent(new Event('online'))")
        page.get_by_role("link", name="Sign in to send them").click()
        page.get_by_label("E-mail address").fill("ivo@club.example")
        page.get_by_label("Password").fill("kelp sways in the tide")
        page.get_by_role("button", name="Sign in").click()
        expect(page.locator("#entry-state")).to_have_text("All sent.")
        expect(page.locator("#entry-title")).to_have_text("Point 9 of 12")
        page.reload()
        expect(page.locator("#entry-count")).to_have_text("8 readings")

    found = stored(club)
    assert [one.typed_light for one in found] == values[:8]
    assert len({one.client_id for one in found}) == 8


def test_an_answer_lost_on_the_way_stores_once(
    thumb: Page, club: Database, scene: Scene, sign_in_on: SignInOn
) -> None:
    """The server stored the value, the phone never heard so: it sends again, nothing doubles."""
    sign_in_on(thumb, "ivo@club.example")
    begin(thumb, scene.tank)
    value = usual(club)[0]

    def swallow(route: object) -> None:
        route.fetch()  # type: ignore[attr-defined] # playwright's Route; the answer is dropped
        route.abort()

    thumb.route("**/entries", swallow)
    type_in(thumb, value)
    expect(thumb.locator("#entry-state")).to_contain_text("1 reading not sent yet")
    assert len(stored(club)) == 1
    thumb.unroute("**/entries")
    thumb.evaluate("dispatchEvent(new Event('online'))")
    expect(thumb.locator("#entry-state")).to_have_text("All sent.")
    assert len(stored(club)) == 1


def test_twelve_readings_take_at_most_five_taps_each_at_360_px(
    phone: Page, club: Database, scene: Scene, sign_in_on: SignInOn
) -> None:
    sign_in_on(phone, "ivo@club.example")
    begin(phone, scene.tank)
    for key in phone.locator("#keypad button").all():
        box = key.bounding_box()
        assert box is not None and box["height"] >= 56 and box["width"] >= 56
    keep = phone.get_by_role("button", name="Keep, next point")
    started = time.monotonic()
    taps = []
    for value in usual(club):
        box = keep.bounding_box()
        assert box is not None and box["y"] + box["height"] <= 740, "no scrolling between taps"
        taps.append(type_in(phone, value))
    expect(phone.get_by_role("heading", name="All points are read")).to_be_visible()
    expect(phone.locator("#entry-state")).to_have_text("All sent.")
    assert max(taps) <= 5 and len(taps) == 12
    assert len(stored(club)) == 12
    # A person needs about a second a tap; the page itself must not be what takes the time.
    assert sum(taps) * 1.0 + (time.monotonic() - started) < 180


def test_a_slipped_digit_is_asked_about_and_put_right_with_one_tap(
    phone: Page, club: Database, scene: Scene, sign_in_on: SignInOn
) -> None:
    sign_in_on(phone, "ivo@club.example")
    begin(phone, scene.tank)
    value = usual(club)[0]
    type_in(phone, value + "0")
    expect(phone.locator("#entry-question")).to_contain_text("Did a digit slip?")
    phone.get_by_role("button", name=f"It was {value}").tap()
    expect(phone.locator("#entry-count")).to_have_text("1 reading")
    until(lambda: len(stored(club)) == 2)
    wrong, right = stored(club)
    assert wrong.struck_reason == "corrected on the spot" and right.typed_light == value


def test_again_skip_shaded_and_a_tap_on_the_chart(
    phone: Page, club: Database, scene: Scene, sign_in_on: SignInOn
) -> None:
    sign_in_on(phone, "ivo@club.example")
    begin(phone, scene.tank)
    values = usual(club)
    phone.get_by_label("Shaded by rock").check()
    type_in(phone, values[0], "Keep, again")
    expect(phone.locator("#entry-title")).to_have_text("Point 1 of 12")
    type_in(phone, values[0])
    phone.get_by_role("button", name="Skip").tap()
    expect(phone.locator("#entry-title")).to_have_text("Point 3 of 12")
    phone.locator("[data-face=top]").tap(position={"x": 60, "y": 20}, force=True)
    expect(phone.locator("#entry-title")).to_have_text("A place of your own")
    type_in(phone, "150")
    expect(phone.locator("#entry-title")).to_have_text("Point 3 of 12")
    expect(phone.locator("#entry-state")).to_have_text("All sent.")
    first, second, own = stored(club)
    assert (first.shaded, second.shaded) == (True, False)
    assert first.point_id == second.point_id and own.point_id is None
    phone.reload()
    expect(phone.locator("#entry-title")).to_have_text("Point 3 of 12")


def test_signing_out_keeps_what_is_not_sent(
    thumb: Page, club: Database, scene: Scene, sign_in_on: SignInOn
) -> None:
    sign_in_on(thumb, "ivo@club.example")
    begin(thumb, scene.tank)
    address = thumb.url
    thumb.route("**/entries", lambda route: route.abort())
    type_in(thumb, usual(club)[0])
    expect(thumb.locator("#entry-state")).to_contain_text("1 reading not sent yet")
    thumb.once("dialog", lambda dialog: dialog.accept())
    thumb.get_by_text("Ivo", exact=True).click()
    thumb.get_by_role("button", name="Sign out").click()
    thumb.wait_for_url("**/sign-in")
    thumb.unroute("**/entries")
    sign_in_on(thumb, "tess@club.example")
    thumb.goto("/")
    assert stored(club) == []
    thumb.context.clear_cookies()
    sign_in_on(thumb, "ivo@club.example")
    thumb.goto(address)
    expect(thumb.locator("#entry-state")).to_have_text("All sent.")
    assert len(stored(club)) == 1


def test_everything_works_without_scripts(
    browser: Browser, live: str, club: Database, scene: Scene, sign_in_on: SignInOn
) -> None:
    context = browser.new_context(
        base_url=live, java_script_enabled=False, viewport={"width": 360, "height": 740}
    )
    page = context.new_page()
    sign_in_on(page, "ivo@club.example")
    page.goto(f"/tanks/{scene.tank}/sessions/new")
    page.get_by_role("button", name="Begin by the tank").click()
    for number, value in enumerate(usual(club)[:3], start=1):
        expect(page.locator("#entry-title")).to_have_text(f"Point {number} of 12")
        page.get_by_label("Reading").fill(value)
        page.get_by_role("button", name="Keep, next point").click()
    page.get_by_role("button", name="Skip").click()
    expect(page.locator("#entry-title")).to_have_text("Point 5 of 12")
    assert len(stored(club)) == 3
    context.close()


FILE = "x_cm;y_cm;depth_cm;PPFD\n10,5;20;15;120,5\n60;25;10;310\n60;25;10;305\n1;2;;4\n"
LOG = "Zeit;PAR\n" + "".join(
    f"2026-11-{20 + h // 24} {h % 24:02d}:{m:02d};{max(0, 200 - 30 * abs(h % 24 - 14))}\n"
    for h in range(48)
    for m in (0, 20, 40)
)


@pytest.mark.parametrize("width", [320, 1280])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_nothing_on_any_page_of_measuring(
    browser: Browser, live: str, scene: Scene, sign_in_on: SignInOn, width: int, scheme: str
) -> None:
    context = browser.new_context(
        base_url=live,
        viewport={"width": width, "height": 800},
        color_scheme=scheme,  # type: ignore[arg-type] # one of the two words playwright knows
    )
    page = context.new_page()
    trouble: list[str] = []
    page.on("console", lambda m: trouble.append(m.text) if m.type == "error" else None)
    sign_in_on(page, "ivo@club.example")
    found = {}

    def look(name: str) -> None:
        result = Axe().run(page, options=AXE)
        if result.violations_count:
            found[name] = result.generate_report()
        if page.evaluate("document.documentElement.scrollWidth") > width:
            found[f"{name} is too wide"] = str(width)

    def send(text: str) -> None:
        page.goto(f"/tanks/{scene.tank}/sessions/new")
        page.get_by_label("File", exact=True).set_input_files(
            {"name": "r.csv", "mimeType": "text/csv", "buffer": text.encode()}
        )
        page.get_by_role("button", name="Show what was understood").click()

    page.goto(f"/tanks/{scene.tank}/sessions")
    look("empty list")
    send("")
    look("form with an error")
    send("a;b;c;d\n1;2;3;4\n")
    look("columns by hand")
    send(FILE)
    for one in page.locator("main details > summary").all():
        one.click()
    look("preview")
    page.get_by_role("button", name="good and leave out").click()
    look("session")
    page.get_by_text("Correct the session").click()
    look("correct")
    send(LOG)
    page.get_by_role("button", name="Store").click()
    look("log")
    page.goto(f"/tanks/{scene.tank}/sessions/new")
    page.get_by_role("button", name="Begin by the tank").click()
    expect(page.locator("#keypad")).to_be_visible()
    page.get_by_label("Reading").fill("99999")
    page.get_by_role("button", name="Keep, next point").click()
    page.get_by_label("Reading").fill("9000")
    page.get_by_role("button", name="Keep, next point").click()
    expect(page.locator("#entry-question")).to_be_visible()
    look("entry")
    page.goto(page.url.split("/enter")[0] + "/sheet")
    look("sheet")
    context.close()
    assert found == {}
    assert [one for one in trouble if "422" not in one] == []
