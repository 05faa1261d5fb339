"""Walking a served club by its links, as a visitor or a member would."""

import re
from collections import deque
from collections.abc import Iterator, Mapping
from urllib.parse import urljoin, urlsplit

import httpx

MOST_FETCHED = 260
_LINK = re.compile(r"""<a [^>]*href="([^"#]*)""")


def walk(
    address: str, *, cookies: Mapping[str, str] | None = None, also: tuple[str, ...] = ()
) -> dict[str, httpx.Response]:
    """Pages found from the first one by their links, at most two for each kind of address."""
    found: dict[str, httpx.Response] = {}
    seen: dict[str, int] = {}
    waiting = deque(["/", *also])
    with httpx.Client(base_url=address, cookies=dict(cookies or {}), timeout=60) as browser:
        while waiting and len(found) < MOST_FETCHED:
            page = waiting.popleft()
            kind = kind_of(page)
            if page in found or seen.get(kind, 0) >= 2:
                continue
            seen[kind] = seen.get(kind, 0) + 1
            found[page] = answer = browser.get(page)
            if is_page(answer):
                waiting.extend(links_in(answer.text, page))
    return found


def kind_of(address: str) -> str:
    """Addresses that differ in numbers only are of one kind; so are all queries of a page."""
    path = urlsplit(address).path
    return re.sub(r"/(\d{4}-\d\d-\d\d|\d+|[A-Za-z0-9_-]{20,})(?=/|$)", "/#", path)


def is_page(answer: httpx.Response) -> bool:
    return answer.headers.get("content-type", "").startswith("text/html")


def links_in(page: str, address: str) -> Iterator[str]:
    """Links to this site's own pages, query and all."""
    for link in _LINK.findall(page):
        there = urljoin(address, link.replace("&amp;", "&"))
        if there.startswith("/") and not there.startswith(("//", "/static/")):
            yield there
