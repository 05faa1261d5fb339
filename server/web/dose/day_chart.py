"""Moved to server.web.day_chart; these names stay until the last family has followed."""

from server.web.day_chart import DayCharts as DayCharts
from server.web.day_chart import Mark as Mark
from server.web.day_chart import day_charts as day_charts
