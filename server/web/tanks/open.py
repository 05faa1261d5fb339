"""Moved to server.web.open; these names stay until the last family has followed."""

from server.web.open import own_setup as own_setup
from server.web.open import own_tank as own_tank
from server.web.open import setup_to_see as setup_to_see
from server.web.open import tank_to_see as tank_to_see
