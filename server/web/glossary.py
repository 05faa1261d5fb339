"""The words of the trade, each in one sentence. Pages take them from here and nowhere else."""

from dataclasses import dataclass
from itertools import count

from jinja2 import Environment
from markupsafe import Markup


@dataclass(frozen=True, kw_only=True)
class Term:
    """A word, and what it means in one plain sentence."""

    word: str
    sentence: str

    @property
    def anchor(self) -> str:
        """The word's place on the help page."""
        return "".join(c if c.isalnum() else "-" for c in self.word.lower()).strip("-")


_SENTENCES = (
    (
        "absorption",
        "How much of the light the water itself takes away on each metre of its way.",
    ),
    (
        "acclimation",
        "Raising or lowering the light in small steps over weeks, so that animals can follow.",
    ),
    (
        "beam angle",
        "The full angle between the two directions in which a lamp is half as bright as "
        "straight down; a small angle is a narrow lens.",
    ),
    (
        "calibration factor",
        "The number a meter's reading is multiplied with to make up for its own ageing, "
        "found by comparing it with a trusted one.",
    ),
    (
        "compensation point",
        "The PPFD at which an animal's algae make just as much oxygen as the two use together.",
    ),
    (
        "contour",
        "A line through all places that get the same light; its number is the PPFD there.",
    ),
    (
        "cosine correction",
        "What lets a flat sensor count light from the side for as much as a flat surface "
        "would really receive.",
    ),
    (
        "cover pane",
        "A clear pane of glass over the water that takes away part of the light.",
    ),
    (
        "DLI",
        "Daily light integral: all the photons that fall on a square metre in one day, in "
        "mol m⁻² d⁻¹.",
    ),
    (
        "foot-candle",
        "An older unit for brightness as the eye sees it; one is 10.76 lux.",
    ),
    (
        "half-value footprint",
        "The width over which a lamp's light, at one depth, is at least half of its brightest.",
    ),
    (
        "immersion factor",
        "The number a reading is multiplied with because a sensor under water loses some "
        "light that it would not lose in air.",
    ),
    (
        "interval",
        "The range in which the true value lies in four cases out of five (80 %), as far "
        "as plan and readings can tell.",
    ),
    (
        "lux",
        "Brightness as the human eye weighs it; it says little about what algae can use.",
    ),
    (
        "mounting height",
        "From the surface of the water up to the face of the lamp that the light leaves from.",
    ),
    (
        "PAR",
        "Photosynthetically active radiation: light between 400 and 700 nm, the part "
        "algae can use.",
    ),
    (
        "photon efficacy",
        "How many photons a lamp gives for the electricity it takes, in µmol J⁻¹.",
    ),
    (
        "photoperiod",
        "The hours of a day in which the lamps are on.",
    ),
    (
        "plan",
        "The light worked out from lamps, heights and glass alone, before anybody measured it.",
    ),
    (
        "power",
        "How far a lamp is turned up, in percent of its full output.",
    ),
    (
        "PPF",
        "Photosynthetic photon flux: all the useful photons a lamp sends out each second, "
        "in all directions, in µmol s⁻¹.",
    ),
    (
        "PPFD",
        "Photosynthetic photon flux density: how many useful photons land on one square "
        "metre each second, in µmol m⁻² s⁻¹; it is what a PAR meter shows.",
    ),
    (
        "ramp",
        "The time in which lamps slowly go up in the morning or down in the evening.",
    ),
    (
        "saturation point",
        "The PPFD above which more light hardly gives an animal's algae anything more.",
    ),
    (
        "session",
        "One round of readings on one tank, taken on one day under one setup.",
    ),
    (
        "setup",
        "What hangs over a tank at one time: which lamps, where, how high, and at what power.",
    ),
    (
        "shimmer",
        "The dancing lines of light that ripples throw on the rock; small lamps make "
        "them, wide ones wash them out.",
    ),
    (
        "sounding",
        "A printed reading at the place where it was measured, as on a mariner's chart.",
    ),
    (
        "spectrum",
        "How a lamp's light is shared out over the colours, from violet to red.",
    ),
    (
        "spread",
        "How widely and how evenly a lamp's light is laid out over the tank.",
    ),
    (
        "uniformity",
        "The darkest place of a level divided by its average: 1 is perfectly even.",
    ),
    (
        "yellow substance",
        "What colours old water yellow and takes away blue light first; carbon removes it.",
    ),
)

TERMS = tuple(Term(word=word, sentence=sentence) for word, sentence in _SENTENCES)
_BY_WORD = {term.word.lower(): term for term in TERMS}
_numbers = count(1)


def term(word: str, shown: str = "") -> Markup:
    """A word with its sentence one tap away; needs no script. Raises KeyError if it is unknown.

    For running text and headings of tables. Not inside links, buttons or labels.
    """
    found = _BY_WORD[word.lower()]
    # Several of one word may stand on a page; each needs an id of its own.
    place = f"word-{next(_numbers)}"
    return Markup(
        '<button type="button" class="term" popovertarget="{0}">{1}</button>'
        '<span class="term-sentence" id="{0}" popover><strong>{2}</strong> {3} '
        '<a href="/help#{4}">All words</a></span>'
    ).format(place, shown or word, found.word, found.sentence, found.anchor)


def add_to(environment: Environment) -> None:
    environment.globals["term"] = term
