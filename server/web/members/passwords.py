"""Which e-mail addresses and passwords will do."""

import re
from itertools import pairwise

from server.db.secrets import MAX_PASSWORD, MIN_PASSWORD

_SIGNS = r"[^@\s<>\"',;:\\()\[\]]"
EMAIL_SHAPE = re.compile(rf"{_SIGNS}+@{_SIGNS}+\.(?:(?!\.){_SIGNS})+")
# Long passwords that everybody thinks of first (from memory of published leak lists).
_COMMON = frozenset(
    {
        "passwordpassword",
        "correcthorsebatterystaple",
        "qwertyuiopasdfghjkl",
        "iloveyouiloveyou",
        "administrator123",
        "thisisapassword",
        "letmeinletmein1",
        "1q2w3e4r5t6y7u8i",
    }
)


def weak_password(password: str, name: str, email: str) -> str:
    """Why a password will not do, or ''. Any letters and signs may be used."""
    if len(password) < MIN_PASSWORD:
        return f"Use at least {MIN_PASSWORD} characters: a short sentence is easy to remember."
    if len(password) > MAX_PASSWORD:
        return f"Use at most {MAX_PASSWORD} characters."
    if _is_guessable(password, name, email):
        return "That one is among the first to be guessed. Try a sentence of your own."
    return ""


def _is_guessable(password: str, name: str, email: str) -> bool:
    folded = password.casefold()
    if folded in _COMMON or len(set(folded)) < 5 or _is_run(folded):
        return True
    rest = folded
    for known in ("underlamp", "password", "passwort", email.casefold(), name.casefold()):
        rest = rest.replace(known, "") if len(known) > 2 else rest
    letters = "".join(sign for sign in rest if sign.isalpha())
    return len(rest) < 6 or (not letters and len(rest) < len(folded))


def _is_run(text: str) -> bool:
    """Counting up or down, or one short piece said over and over."""
    steps = {ord(b) - ord(a) for a, b in pairwise(text)}
    if steps <= {1, -9} or steps <= {-1, 9}:
        return True
    return any(text == (text[:size] * len(text))[: len(text)] for size in range(1, 6))
