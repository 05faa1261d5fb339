"""Published figures in words."""

from server.dose.groups import Published
from server.web.filters import ppfd

WHAT = {
    "saturation": "saturated at or above",
    "compensation": "feeds at or above",
    "optimum": "does best at",
    "inhibition": "held back above",
    "habitat": "lives at",
    "grown at": "grown at",
}


def band_words(figure: Published) -> str:
    """A published band [µmol m⁻² s⁻¹] in words."""
    if figure.low_ppfd == figure.high_ppfd:
        return ppfd(figure.low_ppfd)
    if figure.low_ppfd == 0:
        return f"below {ppfd(figure.high_ppfd)}"
    return f"{ppfd(figure.low_ppfd)}–{ppfd(figure.high_ppfd)}"
