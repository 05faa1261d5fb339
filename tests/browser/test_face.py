"""The face of the program in a real browser: axe, narrow screens, and the content policy."""

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from server.db.engine import Database
from tests.conftest import Cast
from tests.web.planner.conftest import Reef, make_reef

RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
OPEN = ("/help", "/help/chart", "/help/scripts", "/help/safety", "/patterns", "/sign-in")


@pytest.fixture
def reef(club: Database, cast: Cast) -> Reef:
    assert cast.ivo.id is not None
    return make_reef(club, cast.ivo.id)


def look_at(page: Page, address: str) -> list[str]:
    """What is wrong with a page: axe's findings, sideways scrolling, a broken policy."""
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.goto(address)
    found = Axe().run(page, options={"runOnly": {"type": "tag", "values": RULES}})
    wrong = [
        f"{address}: {one['id']} {one['nodes'][0]['html'][:120]}"
        for one in found.response["violations"]
    ]
    width = page.viewport_size["width"] if page.viewport_size else 0
    scroll = int(page.evaluate("() => document.documentElement.scrollWidth"))
    wrong += [f"{address}: scrolls sideways to {scroll}"] if scroll > width else []
    return wrong + [f"{address}: {words}" for words in said if "422" not in words]


@pytest.mark.browser
@pytest.mark.parametrize(("width", "scheme"), [(320, "dark"), (1280, "light")])
def test_axe_finds_nothing_on_the_open_pages(
    browser: Browser, live: str, width: int, scheme: str
) -> None:
    context = browser.new_context(
        base_url=live, viewport={"width": width, "height": 800}, color_scheme=scheme
    )  # type: ignore[arg-type]  # the scheme is one of the two it takes
    wrong = [words for address in OPEN for words in look_at(context.new_page(), address)]
    context.close()
    assert wrong == []


@pytest.mark.browser
@pytest.mark.parametrize(
    ("width", "scheme"), [(320, "light"), (768, "dark"), (1280, "light"), (1280, "dark")]
)
def test_axe_finds_nothing_on_the_plan(
    browser: Browser, live: str, sign_in_on, reef: Reef, width: int, scheme: str
) -> None:
    context = browser.new_context(
        base_url=live, viewport={"width": width, "height": 800}, color_scheme=scheme
    )  # type: ignore[arg-type]  # the scheme is one of the two it takes
    sign_in_on(context.new_page(), "ivo@club.example")
    plan = f"/tanks/{reef.tank}/plan"
    states = (plan, f"{plan}?h0=55&focus={reef.animals[0]}", f"{plan}?h0=up&p1=900")
    wrong = [words for address in states for words in look_at(context.new_page(), address)]
    context.close()
    assert wrong == []


@pytest.mark.browser
def test_letters_of_a_chart_are_as_large_on_a_phone_as_on_a_desk(
    browser: Browser, live: str, sign_in_on, reef: Reef
) -> None:
    heights = []
    for width in (360, 1280):
        context = browser.new_context(base_url=live, viewport={"width": width, "height": 800})
        page = context.new_page()
        sign_in_on(page, "ivo@club.example")
        page.goto(f"/tanks/{reef.tank}/plan")
        tick = page.locator("svg.drawing:visible .axis text").first.bounding_box()
        assert tick is not None
        heights.append(tick["height"])
        context.close()
    assert heights[0] == pytest.approx(heights[1], rel=0.02)


@pytest.mark.browser
def test_a_word_is_explained_one_tap_away_without_javascript(browser: Browser, live: str) -> None:
    context = browser.new_context(
        base_url=live, java_script_enabled=False, viewport={"width": 360, "height": 740}
    )
    page = context.new_page()
    page.goto("/help/chart")
    sentence = page.locator(".term-sentence").first
    assert not sentence.is_visible()
    page.locator("button.term").first.click()
    assert sentence.is_visible()
    context.close()
