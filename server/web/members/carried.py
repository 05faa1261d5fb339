"""A form that was sent after the sign-in ran out: carried over the sign-in page."""

import json
from dataclasses import dataclass

from starlette.datastructures import FormData

_MOST_CARRIED = 300_000


@dataclass(frozen=True)
class Carried:
    """Where to go after signing in; `resume` and `typed` are a form on its way, if any."""

    next: str
    resume: str = ""
    typed: str = ""


@dataclass(frozen=True)
class Resume:
    """A form to be sent once more, as it was typed."""

    action: str
    fields: tuple[tuple[str, str], ...]
    come_back_to: str


def carry(form: FormData) -> str:
    """The text fields of a form as JSON; '' when there are files or too much to carry."""
    fields = [(name, value) for name, value in form.multi_items() if isinstance(value, str)]
    packed = json.dumps(fields)
    whole = len(fields) == len(form.multi_items()) and len(packed) <= _MOST_CARRIED
    return packed if whole and fields else ""


def resume(action: str, packed: str, come_back_to: str) -> Resume | None:
    """The carried form, or None when nothing readable was carried."""
    try:
        fields = tuple((str(name), str(value)) for name, value in json.loads(packed))
        "".join(name + value for name, value in fields).encode()  # no half surrogate pairs
    except (ValueError, TypeError, RecursionError):
        return None
    return Resume(action=action, fields=fields, come_back_to=come_back_to) if fields else None
