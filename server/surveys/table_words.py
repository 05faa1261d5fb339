"""What a column's heading means: its role and its unit, in the words people use.

Words are compared without case and accents. A heading that measures from the far wall ("from
right", "from back") is left alone on purpose: reading it as x or y would mirror the tank.
"""

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

Role = Literal["x", "y", "depth", "ppfd", "lux", "note", "time", "date"]
ROLES: tuple[Role, ...] = ("x", "y", "depth", "ppfd", "lux", "note", "time", "date")

# Unit written by people -> unit kept. Lengths and light share one table; no word is in both.
LENGTH_UNITS: dict[str, str] = {
    "cm": "cm", "centimetre": "cm", "centimetres": "cm", "centimeter": "cm", "centimeters": "cm",
    "zentimeter": "cm", "centimetro": "cm", "centimetros": "cm", "centimetri": "cm",
    "mm": "mm", "millimetre": "mm", "millimetres": "mm", "millimeter": "mm", "millimeters": "mm",
    "m": "m", "metre": "m", "metres": "m", "meter": "m", "meters": "m", "metro": "m",
    "in": "in", "inch": "in", "inches": "in", "zoll": "in", "pouce": "in", "pouces": "in",
    "pulgada": "in", "pulgadas": "in", "pollici": "in", "duim": "in", "\"": "in", "″": "in",
    "”": "in", "''": "in", "tum": "in",
}  # fmt: skip
PPFD_UNITS = re.compile(r"(?:u|mikro|micro)mol(?:es)?\b.*|par|ppfd|ue", re.DOTALL)
LUX_UNITS: dict[str, str] = {
    "lux": "lux", "lx": "lux", "klux": "klux", "klx": "klux", "kilolux": "klux",
    "fc": "fc", "ftc": "fc", "footcandle": "fc", "footcandles": "fc",
}  # fmt: skip


def _words(text: str) -> frozenset[str]:
    return frozenset(text.split())


_WORDS: dict[Role, frozenset[str]] = {
    "ppfd": _words("ppfd par umol micromol mikromol micromoles photons quantum quanta uein"),
    "lux": frozenset([*LUX_UNITS, "illuminance", "beleuchtungsstarke", "eclairement"]),
    "note": _words(
        "note notes comment comments remark remarks bemerkung bemerkungen notiz notizen kommentar "
        "kommentare anmerkung anmerkungen remarque remarques commentaire commentaires nota notas "
        "comentario comentarios observaciones observacion osservazioni commento commenti "
        "opmerking opmerkingen kommentarer uwagi uwaga"
    ),
    "depth": _words(
        "depth depths z tiefe wassertiefe messtiefe profondeur profondeurs profundidad "
        "profundidade profondita prof diepte djup dybde glebokosc below"
    ),
    "x": _words(
        "x left links gauche izquierda esquerda sinistra vanster venstre length lange laenge "
        "longueur largo comprimento lunghezza lengte horizontal"
    ),
    "y": _words(
        "y front vorne vorn avant devant frente delante delantero fronte davanti voor voorkant "
        "framfor width breite largeur ancho largura larghezza breedte przod"
    ),
    "date": _words("date datum fecha data dato day tag jour dia giorno dag"),
    "time": _words(
        "time timestamp datetime zeit uhrzeit zeitstempel zeitpunkt heure horodatage hora ora "
        "orario tijd tijdstip tid czas clock"
    ),
}
# Words that only say "here is the value": they decide when nothing else does.
_WEAK_LIGHT = _words(
    "light licht lumiere luz luce ljus lys swiatlo lichtstarke lichtwert reading readings value "
    "values wert werte messwert messwerte valeur valeurs valor valores valore valori lecture "
    "lectures lectura lecturas lettura letture measured measurement messung messungen mesure "
    "mesures medida medidas misura misure irradiance meting waarde intensity intensitat"
)
# Names of places go into the note unless the heading also says which way they are measured.
_PLACE = _words(
    "place where ort stelle label name spot location lieu lugar luogo plaats coral animal "
    "koralle corail"
)
_FAR_SIDE = _words(
    "right rechts droite derecha direita destra hoger hojre "
    "back rear hinten hinter arriere atras tras dietro achter bak bag bottom floor boden "
    "sand fond suelo fondo bodem"
)
_COUNTER = _words("no nr number num id index nummer numero numer # count lfd")
_ORDER: tuple[Role, ...] = ("note", "lux", "ppfd", "depth", "x", "y", "time", "date")


@dataclass(frozen=True, slots=True)
class Meaning:
    """What a heading says: role and unit ("" when it names none). `series` tells apart
    the columns of repeated readings ("PAR 1", "PAR 2")."""

    role: Role | None
    unit: str = ""
    series: str = ""


UNKNOWN = Meaning(None)


def meanings(cells: Sequence[str]) -> list[Meaning]:
    """Meaning of every heading of a row."""
    return [meaning(cell) for cell in cells]


@lru_cache(maxsize=4096)
def meaning(heading: str) -> Meaning:
    """Role and unit of one heading, e.g. "Tiefe [mm]" -> depth in mm."""
    if not heading.strip() or len(heading) > 80:
        return UNKNOWN
    text = plain(heading)
    tokens = re.findall(r"[a-z#]+", text)
    if not tokens or len(tokens) > 10 or not _mostly_words(text):
        return UNKNOWN
    role = _role(tokens)
    if role is None:
        return UNKNOWN
    digits = re.findall(r"\d+", re.sub(r"m\s*\^?-?2|s\s*\^?-?1", "", text))
    return Meaning(role, _unit(role, text, tokens), "".join(digits))


def plain(text: str) -> str:
    """Lower case without accents; every micro sign becomes u, superscripts plain digits."""
    folded = unicodedata.normalize("NFKD", text).casefold()
    folded = folded.translate({0x3BC: "u", 0xB5: "u", 0x142: "l", 0x2212: "-", 0xF8: "o"})
    return "".join(c for c in folded if not unicodedata.combining(c)).replace("_", " ").strip()


def _mostly_words(text: str) -> bool:
    """A heading is words: "12 cm" and "2026-11-25 10:00 left" are cells of data."""
    return not re.match(r"[+\-]?[0-9.,]*[0-9]", text)


def _role(tokens: list[str]) -> Role | None:
    words = set(tokens)
    for role in _ORDER:
        if words & _WORDS[role]:
            if role in ("x", "y", "depth"):
                return None if _from_far_side(words, role) else role
            return role
    if words & _PLACE:
        return "note"
    if words & _COUNTER and not words & (_WEAK_LIGHT - {"reading", "measurement"}):
        return None
    if any(token.endswith("tiefe") for token in tokens):
        return "depth"
    if words & _WEAK_LIGHT or any(token.startswith("licht") for token in tokens):
        return "ppfd"
    return None


def _from_far_side(words: set[str], role: str) -> bool:
    """ "from right" names the far wall; "left to right" and "front to back" do not."""
    return bool(words & _FAR_SIDE) and not words & (_WORDS["x"] | _WORDS["y"] | {"depth"})


def _unit(role: Role, text: str, tokens: list[str]) -> str:
    if role in ("x", "y", "depth"):
        return _length_unit(text, tokens)
    if role == "lux":
        named = [LUX_UNITS[t] for t in tokens if t in LUX_UNITS]
        return named[-1] if named else "lux"
    return "µmol" if role == "ppfd" else ""


def _length_unit(text: str, tokens: list[str]) -> str:
    bracket = re.search(r"[(\[{]\s*([^)\]}]*?)\s*[)\]}]", text)
    if bracket and bracket[1] in LENGTH_UNITS:
        return LENGTH_UNITS[bracket[1]]
    named = [LENGTH_UNITS[t] for t in tokens[1:] if t in LENGTH_UNITS and t not in ("in", "m")]
    if named:
        return named[-1]
    last = tokens[-1]
    if len(tokens) > 1 and last in ("in", "m"):
        return LENGTH_UNITS[last]
    return "in" if re.search(r"[\"″”]|''", text) else ""


def length_unit(text: str) -> str | None:
    """Unit of a length written in a cell ("12 cm"); None when it is no unit of length."""
    return LENGTH_UNITS.get(plain(text).strip(". "))


def light_unit(text: str) -> str | None:
    """Unit of light written in a cell: "µmol", "lux", "klux" or "fc"; None for others."""
    words = plain(text)
    if words in LUX_UNITS:
        return LUX_UNITS[words]
    return "µmol" if PPFD_UNITS.fullmatch(words) else None


def signature(cells: Sequence[str]) -> str:
    """A header as the key of a remembered mapping: the same columns give the same text."""
    return "|".join(" ".join(plain(cell).split()) for cell in cells).rstrip("|")
