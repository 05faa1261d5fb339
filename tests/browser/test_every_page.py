"""Every page of the demo club: reachable, whole, and without a finding of axe.

The addresses are found by walking the links as a member, as a steward and as a visitor, one
page for each kind of address. `UNDERLAMP_SCREENSHOTS=folder` keeps a picture of each.
"""

import os
import re
from functools import cache
from pathlib import Path

import httpx
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page

from tests.browser.conftest import Demo
from tests.walking import is_page, kind_of, walk

pytestmark = pytest.mark.browser

AXE = {
    "runOnly": {
        "type": "tag",
        "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"],
    },
    "rules": {"target-size": {"enabled": True}},
}
# Nothing links to these from the pages walked first, or they are what a form's answer looks like.
ALSO = {
    "ivo": ("/tanks/3/light?state=plan", "/tanks/2/light?from=3", "/setups/11", "/nothing/here"),
    "mara": ("/setups/2",),
    "oda": ("/setups/11", "/setups/11/redraw"),
    None: ("/", "/sign-in", "/join/no-such-link", "/calculators", "/help", "/nothing/here"),
}
MOST_LOOKED_AT = 90
MOST_BYTES = 100_000


@cache
def walked(demo: Demo, name: str | None) -> dict[str, httpx.Response]:
    """All that one of the demo club's people, or a visitor, comes upon."""
    cookies = {"underlamp_sign_in": demo.cookie(name)} if name else {}
    return walk(demo.address, cookies=cookies, also=ALSO.get(name, ()))


@pytest.mark.parametrize("name", ["ivo", "mara", None])
def test_no_link_leads_nowhere_and_no_page_is_heavy(demo: Demo, name: str | None) -> None:
    found = walked(demo, name)
    expected = {"/nothing/here": 404, "/join/no-such-link": 410}
    if name == "ivo":
        expected["/setups/11"] = 404  # another member's plan
    wrong = [
        f"{address}: {answer.status_code}"
        for address, answer in found.items()
        if answer.status_code not in (expected.get(address, 200), 303)
    ]
    wrong += [
        f"{address}: {len(answer.content)} bytes"
        for address, answer in found.items()
        if is_page(answer) and len(answer.content) > MOST_BYTES
    ]
    assert not wrong, "\n".join(wrong)
    assert len(found) > (3 if name is None else 20)


def shown(found: dict[str, httpx.Response], kinds: set[str]) -> list[str]:
    """One address of each new kind that is an HTML page."""
    addresses = []
    for address, answer in found.items():
        kind = kind_of(address)
        if is_page(answer) and kind not in kinds and answer.status_code != 303:
            kinds.add(kind)
            addresses.append(address)
    return addresses


def test_axe_finds_nothing_on_any_page_light_or_dark_on_a_phone_or_a_desk(
    demo: Demo, browser: Browser
) -> None:
    kinds: set[str] = set()
    wrong: list[str] = []
    looked = 0
    for name in ("ivo", "mara", "oda", None):
        addresses = shown(walked(demo, name), kinds)
        looked += len(addresses)
        for width, scheme in ((360, "light"), (1280, "dark")):
            with_this = context(browser, demo, name, width, scheme)
            page = with_this.new_page()
            for address in addresses:
                page.goto(address)
                wrong += findings(page, f"{address} at {width}, {scheme}, as {name}")
                picture(page, name, address, width)
            with_this.close()
    assert not wrong, "\n".join(wrong)
    assert 20 < looked <= MOST_LOOKED_AT, looked


FORMS = (
    ("/tanks/new", "Save"),
    ("/tanks/3/animals/new", "Save"),
    ("/tanks/3/light", "Save"),
    ("/account", "Make a token"),
)


def test_axe_finds_nothing_on_empty_pages_and_refused_forms(demo: Demo, browser: Browser) -> None:
    wrong: list[str] = []
    for width, scheme in ((360, "dark"), (1280, "light")):
        with_this = context(browser, demo, "ivo", width, scheme)
        page = with_this.new_page()
        for address, button in FORMS:
            page.goto(address)
            page.locator("main").get_by_role("button", name=button, exact=True).last.click()
            assert "problem" in page.content(), address
            wrong += findings(page, f"{address} refused at {width}, {scheme}")
            picture(page, "refused", address, width)
        with_this.close()
        visitor = context(browser, demo, None, width, scheme)
        page = visitor.new_page()
        page.goto("/sign-in")
        page.get_by_role("button", name="Sign in").click()
        wrong += findings(page, f"/sign-in refused at {width}, {scheme}")
        visitor.close()
    assert not wrong, "\n".join(wrong)


def context(
    browser: Browser, demo: Demo, name: str | None, width: int, scheme: str
) -> BrowserContext:
    made = browser.new_context(
        base_url=demo.address,
        viewport={"width": width, "height": 800},
        color_scheme="dark" if scheme == "dark" else "light",
    )
    if name:
        cookie = {"name": "underlamp_sign_in", "value": demo.cookie(name), "url": demo.address}
        made.add_cookies([cookie])
    return made


def findings(page: Page, where: str) -> list[str]:
    """What axe says of the page, and whether it is wider than the screen."""
    found = Axe().run(page, options=AXE).response["violations"]
    told = [
        f"{where}: {one['id']}: {one['help']}: {[node['target'] for node in one['nodes']][:3]}"
        for one in found
    ]
    if page.evaluate("document.documentElement.scrollWidth > window.innerWidth"):
        told.append(f"{where}: wider than the screen")
    return told


def picture(page: Page, name: str | None, address: str, width: int) -> None:
    folder = os.environ.get("UNDERLAMP_SCREENSHOTS")
    if folder:
        told = re.sub(r"[^a-z0-9]+", "-", address.lower()).strip("-") or "today"
        file = Path(folder) / f"{name or 'visitor'}-{told}-{width}.png"
        page.screenshot(path=file, full_page=True)
