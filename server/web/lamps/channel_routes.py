"""A lamp's channels, and the photometric file that takes the place of its beam angle."""

from fastapi import APIRouter
from fastapi.responses import Response

from server.db import lamps
from server.models import LampChannel, LampModel
from server.optics.broken_file import BrokenFile
from server.optics.photometric_file import MAX_BYTES
from server.optics.photometric_reader import read_photometric_file
from server.web.ask import Ask, Asked
from server.web.fields import file, sentence
from server.web.forms import Filled, Form
from server.web.lamps.channel_form import (
    channel_form,
    channel_lengths,
    channel_values,
    read_channel,
)
from server.web.open import OwnChannel, OwnLamp
from server.web.page import see_other

router = APIRouter(include_in_schema=False)

_LEAST_DOWN = 0.05
"""A lamp that sends less of its light down than this cannot light a tank from above."""
FILE = file(
    "file", "File", extra={"accept": ".ies,.ldt,text/plain"},
    hint="LM-63 (1986 to 2019, usually .ies) or EULUMDAT (.ldt), up to 1 MB.",
)  # fmt: skip
FILE_FORM = Form(FILE)


@router.get("/lamps/{lamp_id}/channels/new")
def new_channel(ask: Ask, lamp: OwnLamp) -> Response:
    return _channel(ask, lamp, None, channel_form(None).showing(unit=ask.unit))


@router.post("/lamps/{lamp_id}/channels/new")
def make_channel(ask: Ask, lamp: OwnLamp) -> Response:
    form = channel_form(None).typed(ask, again=lambda form: _channel(ask, lamp, None, form))
    words = read_channel(form, sent=_sent(ask), was=None, others=_others(ask, lamp))
    with ask.write() as db:
        lamps.add_channel(db, lamp.id, words)
    return see_other(f"/lamps/{lamp.id}#channels", notice=f"Channel {words.name} is added.")


@router.get("/lamps/{lamp_id}/channels/{channel_id}")
def edit_channel(ask: Ask, opened: OwnChannel) -> Response:
    channel, lamp = opened
    form = channel_form(channel).showing(
        channel_values(channel), unit=ask.unit, lengths=channel_lengths(channel)
    )
    return _channel(ask, lamp, channel, form)


@router.post("/lamps/{lamp_id}/channels/{channel_id}")
def change_channel(ask: Ask, opened: OwnChannel) -> Response:
    channel, lamp = opened
    form = channel_form(channel).typed(
        ask,
        again=lambda form: _channel(ask, lamp, channel, form),
        lengths=channel_lengths(channel),
    )
    others = _others(ask, lamp, but=channel)
    words = read_channel(form, sent=_sent(ask), was=channel, others=others)
    with ask.write() as db:
        lamps.change_channel(db, channel.id, words)
    return see_other(f"/lamps/{lamp.id}#channels", notice="Saved.")


@router.post("/lamps/{lamp_id}/channels/{channel_id}/remove")
def remove_channel(ask: Ask, opened: OwnChannel) -> Response:
    channel, lamp = opened
    with ask.write() as db:
        lamps.remove_channel(db, channel.id)
    return see_other(f"/lamps/{lamp.id}#channels", notice=f"Channel {channel.name} is gone.")


@router.get("/lamps/{lamp_id}/photometric-file")
def file_form(ask: Ask, lamp: OwnLamp) -> Response:
    return _file(ask, lamp, FILE_FORM.showing())


@router.post("/lamps/{lamp_id}/photometric-file")
def keep_file(ask: Ask, lamp: OwnLamp) -> Response:
    form = FILE_FORM.typed(ask, again=lambda form: _file(ask, lamp, form))
    name, raw = ask.file("file", most=MAX_BYTES)
    wrong = _wrong_with(raw)
    if wrong:
        raise form.refuse(FILE, wrong)
    with ask.write() as db:
        lamps.set_file(db, lamp.id, name=name, raw=raw)
    return see_other(
        f"/lamps/{lamp.id}#file", notice="The file is kept; it takes the place of the beam angle."
    )


@router.post("/lamps/{lamp_id}/photometric-file/remove")
def remove_file(ask: Ask, lamp: OwnLamp) -> Response:
    with ask.write() as db:
        lamps.set_file(db, lamp.id, name="", raw=None)
    return see_other(f"/lamps/{lamp.id}", notice="The file is gone; the beam angle counts again.")


def _sent(ask: Asked) -> bytes:
    return ask.file("spectrum_file", most=MAX_BYTES)[1]


def _others(ask: Asked, lamp: LampModel, but: LampChannel | None = None) -> list[LampChannel]:
    with ask.read() as db:
        return [one for one in lamps.channels_of(db, lamp.id) if but is None or one.id != but.id]


def _wrong_with(raw: bytes) -> str:
    """Why a sent photometric file cannot be kept; empty where it can."""
    if not raw:
        return "Choose a file with the ending .ies or .ldt first."
    try:
        if read_photometric_file(raw).table.share_down < _LEAST_DOWN:
            return "This lamp sends almost all its light upwards; is it turned?"
    except BrokenFile as broken:
        return sentence(broken)
    return ""


def _channel(ask: Asked, lamp: LampModel, channel: LampChannel | None, form: Filled) -> Response:
    return ask.page("lamps/channel.html", form=form, lamp=lamp, channel=channel)


def _file(ask: Asked, lamp: LampModel, form: Filled) -> Response:
    return ask.page("lamps/photometric_file.html", form=form, lamp=lamp)
