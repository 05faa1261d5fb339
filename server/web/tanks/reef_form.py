"""What a keeper types about the reef: blocks, a shape to add, rim, lid, and what grows on panes."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from server.models import Tank
from server.optics.tank import MAX_ROCKS
from server.reef.furnishing import LIMITS, SIDES, Furnishing, Grown, Rock
from server.reef.shapes import LEAST_CM, SHAPES, Room, block, has_room, set_down
from server.web.fields import choice, day, length, line, maybe, tick, whole
from server.web.forms import Field, Filled, Form

EDGES = ("left", "right", "front", "back", "top", "bottom")
BLOCK = "block"
ADDING = (
    ("", "nothing"),
    (BLOCK, "a block: one stone on the sand"),
    *((shape.key, f"{shape.name}: {shape.words}") for shape in SHAPES.values()),
)
PANE_STATES = (
    ("1", "clean"),
    ("0.8", "a thin film"),
    ("0.5", "grown over"),
    ("0.2", "a thick coat"),
)
"""Share of light let by, each way; the three below 1 are our estimates, no published source."""
LIDS = (
    ("1", "none, or a clear cover"),
    ("0.9", "a fine, wide-meshed net"),
    ("0.8", "a mesh one can see through well"),
    ("0.6", "a close mesh"),
)
"""Share of light a mesh passes; estimates, no published source."""
_LABELS = {
    "left": "from the left wall",
    "right": "to, from the left wall",
    "front": "from the front pane",
    "back": "to, from the front pane",
    "top": "top, below the surface",
    "bottom": "underside, below the surface",
}


@dataclass(frozen=True, kw_only=True)
class Wanted:
    """What is to stand from a day on, and why it was changed."""

    furnishing: Furnishing
    since: date
    reason: str


def form_of(tank: Tank, count: int, *, today: date) -> Form:
    """The form of a tank with so many blocks."""
    rocks = [field for n in range(1, count + 1) for field in rock_fields(tank, n)]
    return Form(*rocks, *_adding(tank), *_around(tank), *_when(today))


def rock_fields(tank: Tank, n: int) -> tuple[Field[Any], ...]:
    """The fields of one block, numbered from one."""
    most = {
        "left": tank.length_cm,
        "right": tank.length_cm,
        "front": tank.width_cm,
        "back": tank.width_cm,
        "top": tank.depth_cm,
        "bottom": tank.depth_cm,
    }
    edges: list[Field[Any]] = [
        length(f"{edge}{n}", f"Rock {n}, {_LABELS[edge]}", (0.0, most[edge]), like_cm=20.0)
        for edge in EDGES
    ]
    edges[-1] = maybe(edges[-1])  # without an underside it stands on the floor
    name = line(f"name{n}", f"Rock {n}, what you call it", most=40)
    return (*edges, name, tick(f"gone{n}", f"Take rock {n} out"))


def _adding(tank: Tank) -> tuple[Field[Any], ...]:
    far = {"x": tank.length_cm, "y": tank.width_cm, "top": tank.depth_cm - LEAST_CM}
    return (
        choice("add", "Add", ADDING),
        maybe(length("add_x", "Its middle, from the left wall", (0.0, far["x"]), like_cm=40)),
        maybe(length("add_y", "Its middle, from the front pane", (0.0, far["y"]), like_cm=20)),
        maybe(
            length(
                "add_top",
                "Top of a block, below the surface",
                (0.0, far["top"]),
                like_cm=25,
                hint="Left empty, halfway down.",
            )
        ),
    )


def _around(tank: Tank) -> tuple[Field[Any], ...]:
    rim = length("rim", "Width of a dark rim around the top", LIMITS["rim_cm"], like_cm=2)
    wide = length("brace", "Width of each brace", LIMITS["brace_cm"], like_cm=8)
    panes = [
        choice(f"pane_{side}", f"{side.capitalize()} pane", PANE_STATES)
        for side in SIDES
        if getattr(tank, f"wall_{side}") == "clear"
    ]
    return (
        maybe(rim.but(hint="Empty where there is none.")),
        maybe(whole("braces", "Braces across the top", (0, 4))),
        maybe(wide),
        choice("lid", "Lid", LIDS, hint="A mesh or net takes light evenly."),
        *panes,
    )


def _when(today: date) -> tuple[Field[Any], ...]:
    return (
        maybe(day("since", "So since", latest=today, like=today, hint="Empty: today.")),
        line("reason", "What was done", most=200, hint="Such as: moved the left stack back."),
    )


def lengths_of(tank: Tank, told: Furnishing) -> dict[str, float | None]:
    """Stored lengths, by field [cm]."""
    found: dict[str, float | None] = {"rim": told.rim_cm or None, "brace": told.brace_cm or None}
    for n, rock in enumerate(told.rocks, start=1):
        for edge in EDGES:
            found[f"{edge}{n}"] = getattr(rock, f"{edge}_cm")
    return found


def values_of(tank: Tank, told: Furnishing, today: date) -> dict[str, str]:
    """What is stored besides lengths, as the form shows it."""
    found = {"braces": str(told.braces or ""), "lid": _nearest(told.lid, LIDS), "add": ""}
    found |= {f"name{n}": rock.name for n, rock in enumerate(told.rocks, start=1)}
    for side in SIDES:
        share = told.grown[side].share if side in told.grown else 1.0
        found[f"pane_{side}"] = _nearest(share, PANE_STATES)
    return found | {"since": today.isoformat(), "reason": ""}


def _nearest(share: float, known: tuple[tuple[str, str], ...]) -> str:
    return min((key for key, _ in known), key=lambda key: abs(float(key) - share))


# Reading it


def read(form: Filled, tank: Tank, was: Furnishing, *, count: int, today: date) -> Wanted:
    """What is to stand. Raises Refused, every wrong field named."""
    rocks = [_rock(form, n, was) for n in range(1, count + 1) if form.text(f"gone{n}") != "yes"]
    kept = tuple(rock for rock in rocks if rock is not None)
    more = _added(form, tank, kept)
    since: date = form[_field(form, "since")] or today
    found = Furnishing(
        rocks=kept + more,
        rim_cm=form[_field(form, "rim")] or 0.0,
        braces=form[_field(form, "braces")] or 0,
        brace_cm=form[_field(form, "brace")] or 0.0,
        lid=float(form[_field(form, "lid")]),
        grown=_grown(form, was, since),
    )
    if found.braces and not found.brace_cm:
        form.wrong("brace", "Say how wide a brace is, such as 8.")
    form.check()
    return Wanted(furnishing=found, since=since, reason=form.text("reason") or _told(was, found))


def _field(form: Filled, name: str) -> Field[Any]:
    return form.fields[name]


def _rock(form: Filled, n: int, was: Furnishing) -> Rock | None:
    edges = {f"{edge}_cm": form[_field(form, f"{edge}{n}")] for edge in EDGES}
    if any(f"{edge}{n}" in form.errors for edge in EDGES):
        return None
    for low, high in (("left", "right"), ("front", "back"), ("top", "bottom")):
        first, second = edges[f"{low}_cm"], edges[f"{high}_cm"]
        if second is not None and second - first < LEAST_CM:
            form.wrong(f"{high}{n}", f"This must lie at least {LEAST_CM:g} cm beyond the other.")
            return None
    group = was.rocks[n - 1].group if n <= len(was.rocks) else ""
    return Rock(**edges, name=form[_field(form, f"name{n}")], group=group)


def _added(form: Filled, tank: Tank, kept: tuple[Rock, ...]) -> tuple[Rock, ...]:
    """The blocks of the shape that is to be added; the middle of the tank where none is told."""
    key = form[_field(form, "add")]
    if not key:
        return ()
    x, y = form[_field(form, "add_x")], form[_field(form, "add_y")]
    room = Room(length_cm=tank.length_cm, width_cm=tank.width_cm, depth_cm=tank.depth_cm)
    x_cm = tank.length_cm / 2 if x is None else x
    y_cm = tank.width_cm / 2 if y is None else y
    more: tuple[Rock, ...]
    if key == BLOCK:
        top = form[_field(form, "add_top")]
        one = block(room, x_cm=x_cm, y_cm=y_cm, top_cm=tank.depth_cm / 2 if top is None else top)
        more = () if one is None else (one,)
    else:
        more = set_down(SHAPES[key], room, x_cm=x_cm, y_cm=y_cm, group=_new_group(kept))
    if not more:
        form.wrong("add", "Nothing of it would lie inside the tank there.")
    if not has_room(kept, more):
        form.wrong("add", f"A tank holds at most {MAX_ROCKS} blocks; take one out first.")
    return more


def _new_group(kept: tuple[Rock, ...]) -> str:
    taken = {rock.group for rock in kept}
    return next(word for word in (f"g{n}" for n in range(1, MAX_ROCKS + 2)) if word not in taken)


def _grown(form: Filled, was: Furnishing, since: date) -> dict[str, Grown]:
    """Panes with something on them; one that stays as it was keeps its day."""
    found = {}
    for side in SIDES:
        if f"pane_{side}" not in form.fields:
            continue
        share = float(form[_field(form, f"pane_{side}")])
        before = was.grown.get(side)
        if share < 1:
            same = before is not None and _nearest(before.share, PANE_STATES) == f"{share:g}"
            found[side] = before if same and before else Grown(share=share, since=since)
    return found


def _told(was: Furnishing, now: Furnishing) -> str:
    """What was done, where the keeper did not say."""
    wiped = [side for side, one in was.grown.items() if _share(now, side) > one.share]
    if wiped:
        return f"Wiped the {' and the '.join(wiped)} pane"
    return "Moved rock" if was.rocks != now.rocks else "Changed rim, lid or panes"


def _share(told: Furnishing, side: str) -> float:
    return told.grown[side].share if side in told.grown else 1.0


def wiped(was: Furnishing, now: Furnishing) -> bool:
    """Whether a pane lets through more light than before: a change animals should not meet."""
    return any(_share(now, side) > one.share for side, one in was.grown.items())
