"""Tokens, their hashes, and passwords (argon2id)."""

import hashlib
import secrets
import threading

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

MIN_PASSWORD = 15  # NIST SP 800-63-4: at least 15 where a password is the only factor
MAX_PASSWORD = 256

_hasher = PasswordHasher()  # argon2-cffi's default: RFC 9106 low-memory, t=3, m=64 MiB
_two_at_a_time = threading.Semaphore(2)  # each hash takes 64 MiB
_NOBODY = _hasher.hash(secrets.token_urlsafe(16))


def new_token() -> str:
    """256 random bits, safe in an address."""
    return secrets.token_urlsafe(32)


def token_hash(token: str) -> str:
    """What is kept of a token: tokens are random, so a plain hash suffices."""
    return hashlib.sha256(token.encode("utf-8", "surrogatepass")).hexdigest()


def hash_password(password: str) -> str:
    with _two_at_a_time:
        return _hasher.hash(password)


def password_matches(password: str, stored: str | None) -> bool:
    """Takes as long for an unknown member as for a known one."""
    with _two_at_a_time:
        try:
            return _hasher.verify(stored or _NOBODY, password) and stored is not None
        except (VerificationError, InvalidHashError):
            return False


def wants_rehash(stored: str) -> bool:
    return _hasher.check_needs_rehash(stored)
