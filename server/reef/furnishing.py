"""A tank's furnishing: what a keeper states of it, as text that is stored, and as the engine's.

Stored as JSON with rising names, so that the same furnishing is always the same text.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from datetime import date

from server.optics import tank as glass

SIDES = ("left", "right", "front", "back")
LIMITS = {"rim_cm": (0.0, 20.0), "brace_cm": (0.0, 60.0), "braces": (0, 4)}
"""Widths of the rim and of a brace [cm], and how many braces run across."""
LEAST_SHARE = 0.02
"""A lid or a grown pane that lets less by is told to be dark glass instead."""


class Senseless(ValueError):
    """Stored or sent text that is no furnishing of this tank; the words say why."""


@dataclass(frozen=True, kw_only=True)
class Rock:
    """One block of the reef; measures as in `server.optics.tank.Rock` [cm].

    group: blocks added together as one ready shape share a word, so that they move as one.
    """

    left_cm: float
    right_cm: float
    front_cm: float
    back_cm: float
    top_cm: float
    bottom_cm: float | None = None
    name: str = ""
    group: str = ""

    @property
    def box(self) -> glass.Rock:
        """The block as the engine takes it."""
        return glass.Rock(
            left_cm=self.left_cm,
            right_cm=self.right_cm,
            front_cm=self.front_cm,
            back_cm=self.back_cm,
            top_cm=self.top_cm,
            bottom_cm=self.bottom_cm,
        )


@dataclass(frozen=True, kw_only=True)
class Grown:
    """What grows on a pane: the share of light it lets by each time, and since when."""

    share: float
    since: date


@dataclass(frozen=True, kw_only=True)
class Furnishing:
    """Everything besides glass and water.

    rim_cm: width of an opaque rim all round. braces: opaque strips across the shorter side, evenly
    along the longer, each brace_cm wide. lid: share of light that a mesh passes; 1 is open.
    grown: by side, only panes that have something on them.
    """

    rocks: tuple[Rock, ...] = ()
    rim_cm: float = 0.0
    braces: int = 0
    brace_cm: float = 0.0
    lid: float = 1.0
    grown: Mapping[str, Grown] = field(default_factory=dict)

    @property
    def plain(self) -> bool:
        """Nothing but glass and water."""
        return self == EMPTY


EMPTY = Furnishing()


def as_text(furnishing: Furnishing) -> str:
    """What is stored; empty for a plain tank."""
    if furnishing.plain:
        return ""
    told = asdict(furnishing)
    told["grown"] = {
        side: {"share": one.share, "since": one.since.isoformat()}
        for side, one in furnishing.grown.items()
    }
    return json.dumps(told, sort_keys=True, separators=(",", ":"))


def from_text(text: str) -> Furnishing:
    """The stored text read back. Raises Senseless for anything else."""
    if not text:
        return EMPTY
    try:
        told = json.loads(text)
        _only(told, Furnishing)
        rocks = tuple(_rock(one) for one in told.get("rocks", ()))
        grown = {side: _grown(side, one) for side, one in told.get("grown", {}).items()}
        found = Furnishing(**{**told, "rocks": rocks, "grown": grown})
        _check(found)
    except (TypeError, KeyError, AttributeError, RecursionError, ValueError) as error:
        raise Senseless(f"no furnishing of a tank: {error}") from error
    return found


def _only(told: object, kind: type) -> None:
    if not isinstance(told, dict):
        raise ValueError("not a list of names and values")
    unknown = set(told) - {one.name for one in fields(kind)}
    if unknown:
        raise ValueError(f"unknown: {', '.join(sorted(map(str, unknown)))}")


def _rock(told: object) -> Rock:
    _only(told, Rock)
    assert isinstance(told, dict)
    rock = Rock(**told)
    _finite(rock.left_cm, rock.right_cm, rock.front_cm, rock.back_cm, rock.top_cm)
    if rock.bottom_cm is not None:
        _finite(rock.bottom_cm)
    if not (isinstance(rock.name, str) and isinstance(rock.group, str)):
        raise ValueError("a rock's name is a word")
    return rock


def _grown(side: str, told: dict[str, object]) -> Grown:
    if side not in SIDES:
        raise ValueError(f"no pane is called {side}")
    share = told["share"]
    _finite(share)
    assert isinstance(share, int | float)
    return Grown(share=float(share), since=date.fromisoformat(str(told["since"])))


def _finite(*values: object) -> None:
    for value in values:
        plain = isinstance(value, int | float) and not isinstance(value, bool)
        if not plain or not math.isfinite(value):  # type: ignore[arg-type]  # told by the test before
            raise ValueError(f"not a number: {value}")


def _check(found: Furnishing) -> None:
    _finite(found.rim_cm, found.braces, found.brace_cm, found.lid)
    for name, (low, high) in LIMITS.items():
        if not low <= getattr(found, name) <= high or (name == "braces" and found.braces % 1):
            raise ValueError(f"{name} must lie from {low:g} to {high:g}")
    shares = [found.lid, *(one.share for one in found.grown.values())]
    if not all(LEAST_SHARE <= share <= 1 for share in shares):
        raise ValueError("a share of light lies between 0.02 and 1")


# As the engine takes it


def over(tank: glass.Tank, furnishing: Furnishing) -> glass.Tank:
    """The bare tank with its furnishing. Raises ValueError where a rock leaves the walls."""
    shares = {side: one.share for side, one in furnishing.grown.items()}
    return replace(
        tank,
        rocks=tuple(rock.box for rock in furnishing.rocks),
        braces=braces_of(furnishing, tank.length_cm, tank.width_cm),
        film=glass.Film(**shares),
        lid=furnishing.lid,
    )


def braces_of(furnishing: Furnishing, length_cm: float, width_cm: float) -> tuple[glass.Brace, ...]:
    """Rim and braces as strips on the water, cut so that none overlaps another."""
    rim = min(furnishing.rim_cm, length_cm / 2.5, width_cm / 2.5)
    strips = []
    if rim > 0:
        strips += [
            (0.0, length_cm, 0.0, rim),
            (0.0, length_cm, width_cm - rim, width_cm),
            (0.0, rim, rim, width_cm - rim),
            (length_cm - rim, length_cm, rim, width_cm - rim),
        ]
    strips += _across(furnishing, rim, length_cm, width_cm)
    return tuple(
        glass.Brace(left_cm=left, right_cm=right, front_cm=front, back_cm=back)
        for left, right, front, back in strips
    )


def _across(
    furnishing: Furnishing, rim: float, length_cm: float, width_cm: float
) -> list[tuple[float, float, float, float]]:
    if not furnishing.braces or furnishing.brace_cm <= 0:
        return []
    along_x = length_cm >= width_cm
    long, short = (length_cm, width_cm) if along_x else (width_cm, length_cm)
    wide = min(furnishing.brace_cm, (long - 2 * rim) / (furnishing.braces + 1))
    strips = []
    for number in range(1, furnishing.braces + 1):
        middle = long * number / (furnishing.braces + 1)
        ends = (middle - wide / 2, middle + wide / 2)
        strips.append((*ends, rim, short - rim) if along_x else (rim, short - rim, *ends))
    return strips


def fitted(furnishing: Furnishing, tank: glass.Tank) -> Furnishing:
    """Rocks cut to the tank, those left without an inside dropped; for a tank made smaller."""
    kept = []
    for rock in furnishing.rocks:
        cut = replace(
            rock,
            right_cm=min(rock.right_cm, tank.length_cm),
            back_cm=min(rock.back_cm, tank.width_cm),
            bottom_cm=None if rock.bottom_cm is None else min(rock.bottom_cm, tank.depth_cm),
        )
        low = tank.depth_cm if cut.bottom_cm is None else cut.bottom_cm
        if cut.right_cm > cut.left_cm and cut.back_cm > cut.front_cm and low > cut.top_cm:
            kept.append(cut)
    return replace(furnishing, rocks=tuple(kept[: glass.MAX_ROCKS]))
