"""What was said about a session, kept as text beside a file that waits."""

import json
from dataclasses import asdict
from datetime import date

from server.db.surveys import SessionWords


def as_text(words: SessionWords) -> str:
    """A session's words as JSON text."""
    return json.dumps(asdict(words) | {"taken_on": words.taken_on.isoformat()})


def from_text(text: str) -> SessionWords:
    """The words back from their text."""
    told = json.loads(text)
    return SessionWords(**told | {"taken_on": date.fromisoformat(told["taken_on"])})
