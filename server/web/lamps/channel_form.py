"""What a member types about one channel of a lamp."""

import json
from collections.abc import Mapping, Sequence
from typing import Any

from server.db.lamps import ChannelWords
from server.models import LampChannel
from server.optics.broken_file import BrokenFile
from server.optics.lamp import LIMITS
from server.optics.spectrum_record import spectrum_from, table_record
from server.optics.spectrum_shapes import READY_BY_KEY
from server.web import filters
from server.web.fields import file, line, maybe, number, sentence
from server.web.forms import Filled, Form
from server.web.lamps.form import plain
from server.web.layouts import (
    LAYOUTS,
    kind_of_layout,
    layout_fields,
    layout_lengths,
    layout_values,
    read_layout,
)
from server.web.lights import LIGHTS, PHOTONS, light_fields, read_light

AS_STORED = ("stored", "As it is stored now")
MOST_CHANNELS = 12
MOST_SPECTRUM = 20_000
CHANNEL_LAYOUTS = (("", "the same places as the lamp's"), *LAYOUTS)

NAME = line(
    "name", "Name", most=40, missing="Give the channel a name, such as blue.",
    hint="Such as blue.", extra={"maxlength": 40},
)  # fmt: skip
SHARE = number(
    "share", "Part of the lamp's photon flux", (0.01, 100), like="60", unit="%",
    hint="With every channel at full. Parts are taken relative to their sum.",
    where="If only watts are stated, take the part of the watts.",
)  # fmt: skip
SPECTRUM_FILE = file(
    "spectrum_file", "Or a file of two columns",
    extra={"accept": ".csv,.txt,text/plain,text/csv"},
    hint="Wavelength in nm and power; takes the place of the kind of light.",
)  # fmt: skip
BEAM = maybe(
    number("beam", "Its own beam angle", LIMITS["beam_deg"], like="60", unit="degrees",
           hint="Where its lenses differ from the lamp's.")
)  # fmt: skip
LAYOUT = layout_fields(CHANNEL_LAYOUTS, "Its emitters sit in")


def channel_form(row: LampChannel | None) -> Form:
    """The form of a new channel, or of one whose light may stay as it is stored."""
    return Form(
        NAME, SHARE, *light_fields(known=_known(row), start="royal_blue"), SPECTRUM_FILE, BEAM,
        *LAYOUT,
    )  # fmt: skip


def channel_values(row: LampChannel) -> dict[str, str]:
    """A stored channel as its form shows it; its lengths are `layout_lengths`."""
    return {
        "name": row.name,
        "share": filters.significant(100 * row.share, 4),
        **_light_values(row.spectrum),
        "beam": plain(row.beam_deg),
        **(layout_values(row) if row.count_x is not None else {}),
    }


def channel_lengths(row: LampChannel | None) -> dict[str, float | None]:
    return layout_lengths(row if row is not None and row.count_x is not None else None)


def read_channel(
    form: Filled, *, sent: bytes, was: LampChannel | None, others: Sequence[LampChannel]
) -> ChannelWords:
    """A channel; a sent file of two columns takes the place of the chosen light. Raises Refused.

    others: the lamp's other channels, which it must not be named like.
    """
    name, share, beam = form[NAME], form[SHARE], form[BEAM]
    own_places = form[kind_of_layout(CHANNEL_LAYOUTS)]
    layout = read_layout(form, known=CHANNEL_LAYOUTS) if own_places else None
    spectrum = _from_file(form, sent) if sent else _chosen(form, was)
    if any(one.name.lower() == name.lower() for one in others):
        form.wrong(NAME, "This lamp already has a channel of this name.")
    elif len(others) >= MOST_CHANNELS:
        form.wrong(NAME, f"A lamp can have {MOST_CHANNELS} channels at most.")
    form.check()
    return ChannelWords(
        name=name, share=share / 100, spectrum=spectrum, beam_deg=beam, layout=layout
    )


def _known(row: LampChannel | None) -> tuple[tuple[str, str], ...]:
    return LIGHTS if row is None else (*LIGHTS, AS_STORED)


def _chosen(form: Filled, was: LampChannel | None) -> str:
    """The record as it will be stored."""
    if was is not None and form.text("light") == "stored":
        return was.spectrum
    record = read_light(form, known=_known(was))
    if record is None or form.errors:
        return ""
    try:
        spectrum_from(record)
    except ValueError as wrong:
        form.wrong("light", sentence(wrong))
    return _kept(form, "light", record)


def _from_file(form: Filled, sent: bytes) -> str:
    try:
        text = sent.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = sent.decode("latin-1")
    try:
        record = table_record(text, photons=form[PHOTONS])
    except BrokenFile as broken:
        form.wrong(SPECTRUM_FILE, sentence(broken))
        return ""
    return _kept(form, "spectrum_file", record)


def _kept(form: Filled, field: str, record: Mapping[str, object]) -> str:
    words = json.dumps(record, separators=(",", ":"))
    if len(words) > MOST_SPECTRUM:
        form.wrong(field, "This table is too fine to keep; give it a row every nanometre.")
    return words


def _light_values(spectrum: str) -> dict[str, str]:
    """A stored record as the light's fields show it; what they cannot show stays as stored."""
    record: dict[str, Any] = json.loads(spectrum) if spectrum else {}
    shape = record.get("shape")
    if shape == "ready" and record.get("key") in READY_BY_KEY:
        return {"light": record["key"]}
    if shape == "gaussian":
        return {
            "light": "gaussian",
            "peak": plain(record["peak_nm"]),
            "width": plain(record["width_nm"]),
        }
    if shape == "phosphor_white":
        return {
            "light": "phosphor_white",
            "blue_share": plain(round(100 * record["blue_share"], 3)),
            "phosphor": plain(record.get("phosphor_nm")),
            "phosphor_width": plain(record.get("phosphor_width_nm")),
        }
    return {"light": "stored"}
