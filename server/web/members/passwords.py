"""Which e-mail addresses and passwords will do."""

import re

from zxcvbn import zxcvbn

from server.db.secrets import MAX_PASSWORD, MIN_PASSWORD

_SIGNS = r"[^@\s<>\"',;:\\()\[\]]"
EMAIL_SHAPE = re.compile(rf"{_SIGNS}+@{_SIGNS}+\.(?:(?!\.){_SIGNS})+")
_FEWEST_GUESSES = 1e10  # zxcvbn's best class: beyond a slow attack on a stolen file
_READ = 36  # letters from either end that are judged; the estimate takes long for more
_OUR_WORDS = ("underlamp", "reef", "club", "tank", "coral", "light", "aquarium", "passwort")
# Sayings: many words to a counter of words, one guess to a person (our own short list).
_SAYINGS = (
    "correcthorsebatterystaple",
    "thequickbrownfox",
    "tobeornottobe",
    "maytheforcebewithyou",
    "onceuponatime",
    "thisisapassword",
    "thisismypassword",
    "iloveyouforever",
    "openthepodbaydoors",
    "winteriscoming",
    "livelongandprosper",
    "ihaveadream",
    "illbeback",
    "happybirthday",
    "merrychristmas",
    "therearemanyfishinthesea",
)


def weak_password(password: str, *own: str) -> str:
    """Why a password will not do, or ''. Any letters and signs may be used.

    own: names that a guesser would try for this person: theirs, their address, the club's.
    """
    if len(password) < MIN_PASSWORD:
        return f"Use at least {MIN_PASSWORD} characters: a short sentence is easy to remember."
    if len(password) > MAX_PASSWORD:
        return f"Use at most {MAX_PASSWORD} characters."
    if _is_guessable(password, own):
        return "That one is among the first to be guessed. Try a sentence of your own."
    return ""


def _is_guessable(password: str, own: tuple[str, ...]) -> bool:
    """zxcvbn's estimate (30,000 leaked passwords, names, words, keyboard walks, dates, repeats)."""
    read = password if len(password) <= 2 * _READ else password[:_READ] + password[-_READ:]
    found = zxcvbn(_without_sayings(read), user_inputs=_names(own))
    return float(found["guesses"]) < _FEWEST_GUESSES


def _without_sayings(password: str) -> str:
    """A saying counts like one letter, whatever spaces and signs stand between its words."""
    plain = re.sub(r"[\W_]+", "", password.casefold())
    left = plain
    for saying in _SAYINGS:
        left = left.replace(saying, "x")
    return password if left == plain else left or "x"


def _names(own: tuple[str, ...]) -> list[str]:
    """Names as a whole, run together, and word by word."""
    found = {word.casefold() for name in own for word in (name, *re.split(r"[\W_]+", name))}
    found |= {re.sub(r"[\W_]+", "", name.casefold()) for name in own}
    return sorted(word for word in found if len(word) > 2) + list(_OUR_WORDS)
