"""What the pages of taking things along show."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.models import Tank


@dataclass(frozen=True)
class BundlesView:
    tanks: tuple[tuple[int, str], ...]
    errors: dict[str, str]


@dataclass(frozen=True)
class LeaveView:
    """Names of the tanks that stay without a name, and of those that go."""

    stay: tuple[str, ...]
    go: tuple[str, ...]
    errors: dict[str, str]


def bundles(own: Sequence[Tank], errors: dict[str, str]) -> BundlesView:
    return BundlesView(tanks=tuple((tank.id, tank.name) for tank in own), errors=errors)


def leaving(own: Sequence[Tank], errors: dict[str, str]) -> LeaveView:
    return LeaveView(
        stay=tuple(tank.name for tank in own if tank.shared),
        go=tuple(tank.name for tank in own if not tank.shared),
        errors=errors,
    )
