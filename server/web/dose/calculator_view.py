"""Moved to server.web.published; this name stays until the last family has followed."""

from server.web.published import band_words as band_words
