"""Fields of lamps and channels that run a day of their own, and what is typed into them.

One lamp's day is `lamp-<model>-<number>`, its control `control-<model>-<number>`; a channel's day
is `points-<model>-<place of the channel>` for all lamps of a model, and
`points-<model>-<number>-<place>` for one of several. Number 0 is every lamp of the model.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from server.db.days import GroupDay
from server.db.light import Hung
from server.dose.control import KIND_NAMES
from server.dose.day import Day
from server.web.day_points import day_of
from server.web.forms import Wrong
from server.web.tanks.typed import TypedIn

MOST_LETTERS = 4000


@dataclass(frozen=True, kw_only=True)
class DayField:
    """One field of points: of a lamp or of one of its channels."""

    name: str
    words: str
    channel: str = ""


@dataclass(frozen=True, kw_only=True)
class LampFields:
    """The fields of one lamp, or of every lamp of a model (`number` 0).

    `control`: name of the field that says what switches it; `own`: the lamp's own day. Both are
    left out (empty, None) where there is but one lamp, whose day is that of all.
    """

    lamp_model_id: int
    number: int
    words: str
    control: str
    own: DayField | None
    channels: tuple[DayField, ...]

    @property
    def names(self) -> tuple[str, ...]:
        """Every name a browser may send."""
        points = (*([self.own] if self.own else []), *self.channels)
        return (*(field.name for field in points), *([self.control] if self.control else []))


def lamp_fields(hung: Sequence[Hung]) -> tuple[LampFields, ...]:
    """Fields for every model over the tank, and for each lamp where several of one hang."""
    models = [one.stated.row.id for one in hung]
    return tuple(
        made
        for model_id in dict.fromkeys(models)
        for made in _of_model(
            hung[models.index(model_id)], models.count(model_id), only=len(hung) == 1
        )
        if made.names
    )


def _of_model(one: Hung, count: int, *, only: bool) -> Iterator[LampFields]:
    name = one.stated.row.name
    yield _fields(one, 0, name if count == 1 else f"{name}, all {count}", only=only)
    if count > 1:
        for number in range(1, count + 1):
            yield _fields(one, number, f"{name} ({number})", only=False)


def _fields(one: Hung, number: int, words: str, *, only: bool) -> LampFields:
    model_id, channels = one.stated.row.id, one.stated.lamp.channels
    start = f"points-{model_id}-{number}-" if number else f"points-{model_id}-"
    return LampFields(
        lamp_model_id=model_id,
        number=number,
        words=words,
        control="" if only else f"control-{model_id}-{number}",
        own=None if only else DayField(name=f"lamp-{model_id}-{number}", words=words),
        channels=tuple(
            DayField(name=f"{start}{place}", words=f"{words}: {one.name}", channel=one.name)
            for place, one in enumerate(channels)
        )
        if len(channels) > 1
        else (),
    )


def shown(
    days: Sequence[GroupDay], lamps: Sequence[LampFields], whole: Day | None
) -> Iterator[tuple[str, Day | str]]:
    """What stored days put into the fields: a day, or the name of a control."""
    for lamp in lamps:
        for field in (*([lamp.own] if lamp.own else []), *lamp.channels):
            group = _stored(days, lamp, field.channel)
            if group is None:
                continue
            if field.channel or group.day != whole:
                yield field.name, group.day
            if not field.channel and lamp.control:
                yield lamp.control, group.control


def _stored(days: Sequence[GroupDay], lamp: LampFields, channel: str) -> GroupDay | None:
    """The lamp's row; the only lamp of a model also finds what was said of the first."""
    wanted = [(lamp.lamp_model_id, lamp.number, channel)]
    if lamp.number == 0:
        wanted.insert(0, (lamp.lamp_model_id, 1, channel))
    several = any(one.lamp_model_id == lamp.lamp_model_id and one.lamp_number > 1 for one in days)
    if several:
        wanted = wanted[-1:]
    for key in wanted:
        for one in days:
            if (one.lamp_model_id, one.lamp_number, one.channel) == key:
                return one
    return None


def read_lamps(
    typed: TypedIn, lamps: Sequence[LampFields], whole: Day | None
) -> tuple[GroupDay, ...]:
    """The days of lamps and channels as typed; a lamp with a control alone runs the day of all."""
    found: list[GroupDay] = []
    for lamp in lamps:
        own = _points(typed, lamp.own.name) if lamp.own else None
        control = _control(typed, lamp.control)
        day = own or (whole if control else None)
        if day is not None:
            found.append(_group(lamp, day, control=control))
        for field in lamp.channels:
            channel = _points(typed, field.name)
            if channel is not None:
                found.append(_group(lamp, channel, channel=field.channel))
    return tuple(found)


def _group(lamp: LampFields, day: Day, *, channel: str = "", control: str = "") -> GroupDay:
    return GroupDay(
        day=day,
        lamp_model_id=lamp.lamp_model_id,
        lamp_number=lamp.number,
        channel=channel,
        control=control,
    )


def _control(typed: TypedIn, name: str) -> str:
    return typed.choice(name, ["", *KIND_NAMES], otherwise="") if name else ""


def _points(typed: TypedIn, name: str) -> Day | None:
    text = typed.words(name, most=MOST_LETTERS)
    return read_points(typed, name, text) if text else None


def read_points(typed: TypedIn, name: str, text: str) -> Day | None:
    """A day of points; None, and the words beside its field, for what is none."""
    try:
        return day_of(text)
    except Wrong as wrong:
        typed.errors[name] = str(wrong)
        return None


def used(values: Mapping[str, str], errors: Mapping[str, str], lamp: LampFields) -> bool:
    """Whether anything stands in a lamp's fields, or is wrong with it."""
    return any(values.get(name) or name in errors for name in lamp.names)
