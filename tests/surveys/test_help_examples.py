"""The tables shown on the help page are read as the page says."""

import html
import re

from server import places
from server.surveys.table import read


def examples() -> list[str]:
    page = (places.TEMPLATES / "help" / "files.html").read_text(encoding="utf-8")
    return [html.unescape(text) for text in re.findall(r"<pre[^>]*><code>(.*?)</code>", page, re.S)]


def test_the_simplest_table_is_understood() -> None:
    table = read(examples()[0])
    assert [(r.x_cm, r.ppfd, r.note) for r in table.rows] == [
        (10.5, 120.5, "left rock"),
        (60, 310, ""),
    ]
    assert table.refused == ()


def test_the_grid_is_understood() -> None:
    table = read(examples()[1].split("\n\n")[0])
    assert (table.kind, len(table.rows), table.refused) == ("grid", 5, ())
