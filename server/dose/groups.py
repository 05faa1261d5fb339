"""Groups of animals of the trade: the light to start from, and what is published about them.

Two kinds of figures stand here and must never look the same on a page:

* `start`: the PPFD range a new animal gets until its keeper changes it. These are rules of
  the trade; `start_basis` says so in words.
* `published`: figures from papers and open data, each with its source and how it was read
  (abstract, data set). They describe wild or laboratory animals; the saturation point Ek is
  a property of the acclimated individual, so they are bands and never a need.

Cautions that belong to the published figures (all of them):
curves of oxygen against light and fluorescence light curves are not interchangeable;
wild shallow-reef figures overstate what animals grown in tanks need; a figure fitted with
one P–E curve must not be used with another (`curve`).
"""

from dataclasses import dataclass
from typing import Literal

COMMON_PRACTICE = "common practice, no published source"
NONE_PUBLISHED = "no published value found"

Quantity = Literal["saturation", "compensation", "optimum", "inhibition", "habitat", "grown at"]
Curve = Literal["tanh", "webb", "smith", "platt"]


@dataclass(frozen=True, kw_only=True)
class Published:
    """One published figure: a PPFD band [µmol m⁻² s⁻¹] and where it comes from.

    `curve` names the P–E curve the figure was fitted with, `None` where it is not known.
    """

    quantity: Quantity
    low_ppfd: float
    high_ppfd: float
    animal: str
    condition: str
    source: str
    curve: Curve | None = None


@dataclass(frozen=True, kw_only=True)
class Group:
    """A group of animals; `low_ppfd` to `high_ppfd` [µmol m⁻² s⁻¹] is only the start."""

    key: str
    name: str
    examples: str
    low_ppfd: float
    high_ppfd: float
    start_basis: str
    published: tuple[Published, ...] = ()
    note: str = ""

    def figures(self, quantity: Quantity) -> tuple[Published, ...]:
        """The published figures of one kind; empty means "no published value found"."""
        return tuple(figure for figure in self.published if figure.quantity == quantity)


# Interquartile ranges over wild colonies of one island, two dates; fitted with the Smith
# curve.
E5 = "E5 coral time series, open data set (urol-e5/timeseries), recomputed medians"
E5_CONDITION = "wild reef colonies, oxygen curves, middle half of the colonies on two dates"
FABRICIUS_1995 = "Fabricius & Klumpp 1995, Mar Ecol Prog Ser 125:195–204 (abstract)"
DUMMEE_2023 = "Dummee et al. 2023, ScienceAsia 49:266–274 (abstract)"
MINGOA_1988 = "Mingoa 1988, ACIAR Monograph 9:145–150 (abstract)"
CULTURED_2020 = "Sci Rep 2020, PMC7673984 (abstract): cultured Pocillopora acuta, 140 days"
STAMBLER_2008 = "Isr J Plant Sci 56:45 (2008), doi 10.1560/ijps.56.1-2.45 (abstract)"


def _e5(animal: str, quantity: Quantity, low: float, high: float) -> Published:
    return Published(
        quantity=quantity,
        low_ppfd=low,
        high_ppfd=high,
        animal=animal,
        condition=E5_CONDITION,
        source=E5,
        curve="smith",
    )


SOFT = Group(
    key="soft",
    name="Soft coral",
    examples="leather, finger and toadstool corals",
    low_ppfd=75,
    high_ppfd=150,
    start_basis=COMMON_PRACTICE,
    published=(
        Published(
            quantity="optimum",
            low_ppfd=300,
            high_ppfd=353,
            animal="Sarcophyton",
            condition="fluorescence curves; about 300 tank-grown, 353 ± 29 newly collected",
            source=DUMMEE_2023,
        ),
        Published(
            quantity="inhibition",
            low_ppfd=353,
            high_ppfd=353,
            animal="Sarcophyton",
            condition="strongly inhibited above its optimum, newly collected",
            source=DUMMEE_2023,
        ),
    ),
    note=(
        "Ten genera on a reef were above compensation for only 3–6 hours a day at the depth "
        f"where they end, and never saturated ({FABRICIUS_1995})."
    ),
)

LARGE_POLYP = Group(
    key="large_polyp",
    name="Large-polyp stony coral",
    examples="corals with long, fleshy polyps; brain and trumpet shapes",
    low_ppfd=75,
    high_ppfd=150,
    start_basis=COMMON_PRACTICE,
    published=(
        Published(
            quantity="saturation",
            low_ppfd=0,
            high_ppfd=320,
            animal="Lobophyllia, Favia, Fungia",
            condition="in place at 5–75 m, Red Sea; below 320 for all, falling with depth",
            source=STAMBLER_2008,
        ),
    ),
    note="For Euphyllia and Goniopora: no published value found.",
)

SMALL_POLYP = Group(
    key="small_polyp",
    name="Small-polyp stony coral",
    examples="branching corals with small polyps",
    low_ppfd=200,
    high_ppfd=350,
    start_basis=COMMON_PRACTICE,
    published=(
        _e5("Acropora", "saturation", 295, 609),
        _e5("Pocillopora", "saturation", 264, 580),
        _e5("Acropora", "compensation", 148, 264),
        _e5("Pocillopora", "compensation", 128, 285),
        Published(
            quantity="grown at",
            low_ppfd=105,
            high_ppfd=250,
            animal="Pocillopora acuta",
            condition="12 hours a day; all survived, fed fragments at 250 grew fastest",
            source=CULTURED_2020,
        ),
    ),
    note="Wild reef figures overstate what tank-grown corals need: see the cultured corals.",
)

MASSIVE = Group(
    key="massive",
    name="Massive stony coral",
    examples="boulder- and dome-shaped corals with small polyps",
    low_ppfd=100,
    high_ppfd=250,
    start_basis=COMMON_PRACTICE,
    published=(
        _e5("Porites", "saturation", 245, 485),
        _e5("Porites", "compensation", 115, 188),
    ),
)

PLATING = Group(
    key="plating",
    name="Plating or encrusting stony coral",
    examples="plates, scrolls and crusts",
    low_ppfd=80,
    high_ppfd=200,
    start_basis=COMMON_PRACTICE,
    note=(
        "Saturation and compensation: no published value found. Montipora capitata was grown for "
        "two months at up to 3.8 mol m⁻² d⁻¹ (Matsuda et al. 2023, Coral Reefs, abstract); Pavona "
        "varians grew in full sun and most in 90 % shade (Lewis et al. 2025, PLoS ONE "
        "20(7):e0326069, abstract)."
    ),
)

SHADE = Group(
    key="shade",
    name="Shade-living stony coral",
    examples="corals of overhangs and caves that still hold algae",
    low_ppfd=5,
    high_ppfd=60,
    start_basis="light of the places where wild Madracis lives, Vermeij & Bak 2002 (abstract)",
    published=(
        Published(
            quantity="habitat",
            low_ppfd=5,
            high_ppfd=60,
            animal="Madracis",
            condition="hidden places on a reef slope, 5–50 m: where it lives, not what it needs",
            source="Vermeij & Bak 2002, Mar Ecol Prog Ser (abstract; authors and year from memory)",
        ),
    ),
)

CLAM = Group(
    key="clam",
    name="Giant clam",
    examples="Tridacna",
    low_ppfd=200,
    high_ppfd=350,
    start_basis=COMMON_PRACTICE,
    published=(
        Published(
            quantity="saturation",
            low_ppfd=194,
            high_ppfd=218,
            animal="Tridacna gigas, young",
            condition="grown unshaded; 95 % interval about 200",
            source=MINGOA_1988,
        ),
        Published(
            quantity="saturation",
            low_ppfd=126,
            high_ppfd=175,
            animal="Tridacna gigas, young",
            condition="grown in about 90 % shade; 95 % interval about 150",
            source=MINGOA_1988,
        ),
    ),
    note=(
        "Tridacna maxima, tested from 197 to 1061, laid down most shell at the light of about "
        "4 m (Rossbach et al. 2019, Biogeosciences 16:2635). In the dark young clams died after "
        f"6 days ({MINGOA_1988})."
    ),
)

ANEMONE = Group(
    key="anemone",
    name="Anemone",
    examples="bubble-tip, carpet and other host anemones",
    low_ppfd=100,
    high_ppfd=250,
    start_basis=COMMON_PRACTICE,
    published=(
        Published(
            quantity="grown at",
            low_ppfd=100,
            high_ppfd=100,
            animal="Aiptasia",
            condition="12 hours a day; not inhibited in the host at 800–1800",
            source="Muller-Parker 1984, Mar Biol 82:225–232 (abstract)",
        ),
    ),
    note=(
        "Host anemones (Heteractis, Stichodactyla): no published value found. Shallow bubble-tip "
        "anemones sit in shaded places (Dixon et al. 2014, J Mar Biol Assoc UK 94(3), abstract)."
    ),
)

MUSHROOM = Group(
    key="mushroom",
    name="Mushroom or zoanthid",
    examples="mushroom polyps, button polyps, colonial polyps",
    low_ppfd=50,
    high_ppfd=120,
    start_basis=COMMON_PRACTICE,
    note="Saturation and compensation: no published value found.",
)

OTHER = Group(
    key="other",
    name="Something else",
    examples="anything not listed; type the range you trust",
    low_ppfd=75,
    high_ppfd=150,
    start_basis=COMMON_PRACTICE,
    note="Saturation and compensation: no published value found.",
)

GROUPS: tuple[Group, ...] = (
    SOFT,
    LARGE_POLYP,
    SMALL_POLYP,
    MASSIVE,
    PLATING,
    SHADE,
    CLAM,
    ANEMONE,
    MUSHROOM,
    OTHER,
)

BY_KEY: dict[str, Group] = {group.key: group for group in GROUPS}
