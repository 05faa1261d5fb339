"""The reef of the plan pages: Ivo's, under two lamps, with three animals."""

from tests.web.planner.conftest import Reef, reef

__all__ = ["Reef", "reef"]
