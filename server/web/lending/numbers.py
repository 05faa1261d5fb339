"""Moved to server.web.open; this name stays until the last family has followed."""

from server.web.open import Id as Id
