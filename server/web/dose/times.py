"""Moved to server.web.times; this name stays until the last family has followed."""

from server.web.times import NotATime as NotATime
from server.web.times import hour_places as hour_places
from server.web.times import read_time as read_time
from server.web.times import shown_hours as shown_hours
from server.web.times import shown_time as shown_time
