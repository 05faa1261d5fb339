"""What the list of calculators shows."""

from dataclasses import dataclass


@dataclass(frozen=True)
class Entry:
    """One calculator: its address, its name, the question it answers."""

    address: str
    name: str
    question: str


@dataclass(frozen=True)
class Group:
    """Calculators that belong together."""

    name: str
    entries: tuple[Entry, ...]


GROUPS = (
    Group(
        "Light in a tank",
        (
            Entry(
                "/calculators/spread",
                "The light in a tank",
                "How much light reaches each place under these lamps?",
            ),
            Entry(
                "/calculators/mounting-height",
                "How high to hang it",
                "Which height and power put most of these depths in range?",
            ),
            Entry(
                "/calculators/shimmer",
                "Shimmer",
                "How strongly will ripples dance on the rock under this lamp?",
            ),
        ),
    ),
    Group(
        "Light over a day",
        (
            Entry("/calculators/dose", "Dose of a day", "How much light is that in a day?"),
            Entry(
                "/calculators/day",
                "A day for a dose",
                "Which day gives the dose these animals want?",
            ),
        ),
    ),
    Group(
        "What a lamp gives",
        (
            Entry(
                "/calculators/light-units",
                "Light units",
                "What is this lux or foot-candle reading in PPFD?",
            ),
            Entry(
                "/calculators/spectrum",
                "Spectrum",
                "What is this light made of, and what does the water leave of it?",
            ),
            Entry(
                "/calculators/watts",
                "Photons from watts",
                "How much light can so many watts give?",
            ),
            Entry(
                "/calculators/photometric-file",
                "Photometric file",
                "In which directions does this lamp shine?",
            ),
        ),
    ),
)
