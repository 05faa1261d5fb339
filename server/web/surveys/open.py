"""Moved to server.web.open; these names stay until the last family has followed."""

from server.web.open import own_session as own_session
from server.web.open import session_to_see as session_to_see
