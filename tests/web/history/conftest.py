"""The reef of the day pages."""

from tests.web.day.conftest import Calendar, Reef, calendar, dated, reef

__all__ = ["Calendar", "Reef", "calendar", "dated", "reef"]
