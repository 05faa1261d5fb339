"""What a page says about a tank's light, read back from its HTML as a member would read it.

Nothing here knows how a page was made: tags become blocks of text, and each claim is looked for
in those words.
"""

import re
from dataclasses import dataclass
from html.parser import HTMLParser

_BREAKS = {"p", "li", "tr", "h1", "h2", "h3", "caption", "dt", "dd", "figcaption", "div", "title",
           "desc", "summary", "option", "label", "table", "section", "ul", "svg"}  # fmt: skip

VERDICT = re.compile(r"\b(too dim|in range|too bright|not known)\b")
CERTAINTY = re.compile(r"\b(?:[Kk]nown|[Ss]ure) to about (\d+)\W*%")
THIRD = re.compile(r"off by a third|about a third")
COUNT = re.compile(r"\b(\d+) of (\d+) in range\b")
HEADLINE = re.compile(
    r"(?:Of \w+ animals [^.]*\.|All \w+ animals (?:are|get|have)[^.]*\.|Both animals are[^.]*\."
    r"|Whether the \w+ animals are in range is not known yet\."
    r"|\b(?:None|One|Two|Three|Four|Five|Six|\d+) of (?:\w+) animals?\b[^.]*\.)"
)
ORDER = re.compile(
    r"\b(?:Turn (?:all lamps|the lamps|lamp \d+|[A-Z][\w× ]+?) (?:up|down)|(?:Raise|Lower) "
    r"(?:all lamps|lamp \d+|[A-Z][\w× ]+?) (?:by|from) \d|Hang a mesh|Add a lamp like"
    r"|Take lamp \d away|Move (?!.*is placed)[A-Z\w ]+? (?:to|, its middle)|Shorten the day)[^.\n]*"
)
NOBODY = re.compile(r"nobody has measured this light", re.IGNORECASE)


class _Blocks(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.blocks: list[str] = [""]
        self._quiet = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag in ("script", "style", "nav"):
            self._quiet += 1
        if tag in _BREAKS:
            self.blocks.append("")

    def handle_endtag(self, tag: str) -> None:
        if tag in ("script", "style", "nav"):
            self._quiet = max(0, self._quiet - 1)
        if tag in _BREAKS:
            self.blocks.append("")

    def handle_data(self, data: str) -> None:
        if not self._quiet:
            self.blocks[-1] += f" {data}"


def blocks(html: str) -> list[str]:
    """The page's text, block by block, white space made single."""
    reader = _Blocks()
    reader.feed(html)
    return [words for one in reader.blocks if (words := " ".join(one.split()))]


@dataclass(frozen=True)
class Claims:
    """Everything a page claims about one tank's light, each as a set: one voice is one member."""

    verdicts: dict[str, set[str]]
    certainties: set[int]
    counts: set[tuple[int, int]]
    headlines: set[str]
    orders: set[str]
    nobody_measured: bool
    a_third: bool


def claims(html: str, animals: list[str], told: str = "") -> Claims:
    """animals: names to look for. told: the account's own headline, which names verdicts too."""
    parts = blocks(html)
    whole = "\n".join(parts)
    return Claims(
        verdicts={name: _verdicts_of(name, parts, animals, told) for name in animals},
        certainties={int(n) for n in CERTAINTY.findall(whole)},
        counts={(int(a), int(b)) for a, b in COUNT.findall(whole)},
        headlines={one.strip() for one in HEADLINE.findall(whole)},
        orders={one.strip() for one in ORDER.findall(whole)},
        nobody_measured=bool(NOBODY.search(whole)),
        a_third=bool(THIRD.search(whole)),
    )


def _verdicts_of(name: str, parts: list[str], animals: list[str], told: str) -> set[str]:
    """The verdict words that stand nearest after a name, before the next name."""
    found: set[str] = set()
    others = "|".join(re.escape(one) for one in animals)
    sentences = [one for part in parts for one in re.split(r"(?<=[.;])\s", part)]
    for words in (one.replace(told, "") if told else one for one in sentences):
        if "is in range is not known" in words:
            found |= {"not known"} if re.search(rf"\b{re.escape(name)}\b", words) else set()
            continue
        for piece in re.split(rf"(?=\b(?:{others})\b)", words):
            if re.match(rf"{re.escape(name)}\b", piece):
                found |= set(VERDICT.findall(piece)[:1])
    return found
