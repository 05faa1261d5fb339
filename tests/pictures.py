"""Makes the README's picture from a demo club that this script starts and stops.

python -m tests.pictures        writes static/plan.png
"""

import shutil
import sys
import tempfile
from pathlib import Path

from playwright.sync_api import sync_playwright

from server.db import members
from server.db.backup import open_current
from server.db.demo import club as demo_club
from server.settings import Settings
from server.web.app import create_app
from tests.conftest import chromium_path, serving

PICTURE = Path(__file__).parent.parent / "static" / "plan.png"
WIDE, HIGH = 1180, 1010
TANK = "/tanks/1"


def main() -> int:
    """One tank's page as its keeper sees it, cut to what a reader of the README needs."""
    folder = Path(tempfile.mkdtemp(prefix="underlamp-picture-"))
    settings = Settings(data=folder, database_url=None)
    keeper = demo_club.open_or_fill(settings)[0]
    club = open_current(settings)
    with serving(create_app(settings, club=club, demo=True)) as address:
        with club.write() as db:
            member = members.member_by_email(db, keeper.email)
            assert member is not None
            token = members.sign_in(db, member, device="picture")
        _take(address, token)
    club.close()
    shutil.rmtree(folder)
    return 0


def _take(address: str, token: str) -> None:
    with sync_playwright() as playing:
        browser = playing.chromium.launch(executable_path=chromium_path(), args=["--no-sandbox"])
        context = browser.new_context(viewport={"width": WIDE, "height": HIGH})
        context.add_cookies([{"name": "underlamp_sign_in", "value": token, "url": address}])
        page = context.new_page()
        page.goto(address + TANK)
        page.screenshot(path=PICTURE)
        browser.close()


if __name__ == "__main__":
    sys.exit(main())
