"""Pages of the shelf: the list, a lamp, its form, its channels, its photometric file."""

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session
from starlette.exceptions import HTTPException

from server.db import lamps, light
from server.db.lamp_knowledge import flux_of, knowledge
from server.models import LampChannel, LampModel, Member
from server.optics.broken_file import BrokenFile
from server.optics.photometric_file import PhotometricFile
from server.optics.photometric_reader import read_photometric_file
from server.web.lamps import form as reading
from server.web.lamps import lamp_view, view
from server.web.lamps.lamp_form import read_asked
from server.web.lamps.measured_view import measured_view
from server.web.light.photometric_view import broken_words
from server.web.light.routes import sent_file
from server.web.page import page, see_other
from server.web.signed_in import Club, NotFound, Steward, Typed, Who, text
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)

MOST_CHANNELS = 12
_LEAST_DOWN = 0.05
"""A lamp that sends less of its light down than this cannot light a tank from above."""
_NOT_YOURS = "Only the member who added this lamp, or a steward, can change it."


@router.get("/lamps")
def shelf(request: Request, who: Who, club: Club) -> Response:
    asked = request.query_params.get("page", "")
    number = int(asked) if asked.isascii() and asked.isdigit() and len(asked) < 6 else 1
    with club.read() as db:
        rows = light.shelf(db)
    return page(request, "lamps/lamps.html", view=view.shelf_view(rows, who.length_unit, number))


@router.get("/lamps/new")
def new_lamp(request: Request, who: Who) -> Response:
    return page(request, "lamps/form.html", view=view.lamp_form(who, None))


@router.post("/lamps/new")
def make_lamp(request: Request, who: Who, club: Club, form: Typed) -> Response:
    words = reading.read_lamp(form, who)
    if isinstance(words, Refused):
        return _lamp_form(request, who, None, words)
    with club.write() as db:
        if lamps.named(db, words.name):
            words = _same_name(form, who)
        else:
            lamp_id = lamps.add_lamp(db, words, by_id=who.id).id
    if isinstance(words, Refused):
        return _lamp_form(request, who, None, words)
    return see_other(f"/lamps/{lamp_id}", notice=f"{words.name} is on the shelf.")


@router.get("/lamps/{lamp_id}")
def lamp_page(request: Request, who: Who, club: Club, lamp_id: int) -> Response:
    with club.read() as db:
        row = _lamp(db, lamp_id)
        if row.merged_into_id is not None:
            return see_other(f"/lamps/{row.merged_into_id}")
        channels = lamps.channels_of(db, lamp_id)
        others = [one for one in light.shelf(db) if one.id != lamp_id]
        known = knowledge(db, [row]).get(lamp_id)
    asked = read_asked(request.query_params, who, row)
    shown = lamp_view.lamp_page(
        who,
        light.lamp_of(row, channels),
        channels,
        asked,
        file=_file(row),
        others=others if who.role == "steward" else (),
        may_change=_may_change(who, row),
    )
    measured = measured_view(known, stated_ppf_umol_s=flux_of(row))
    status = 422 if shown.errors else 200
    return page(request, "lamps/lamp.html", view=shown, measured=measured, status=status)


@router.get("/lamps/{lamp_id}/edit")
def edit_lamp(request: Request, who: Who, club: Club, lamp_id: int) -> Response:
    with club.read() as db:
        row = _own(db, who, lamp_id)
        times = lamps.times_hung(db, lamp_id)
    return page(request, "lamps/form.html", view=view.lamp_form(who, row, times=times))


@router.post("/lamps/{lamp_id}/edit")
def change_lamp(request: Request, who: Who, club: Club, form: Typed, lamp_id: int) -> Response:
    with club.read() as db:
        row = _own(db, who, lamp_id)
    words = reading.read_lamp(form, who, was=row)
    if isinstance(words, Refused):
        return _lamp_form(request, who, row, words)
    with club.write() as db:
        _own(db, who, lamp_id)
        if lamps.named(db, words.name, but=lamp_id):
            words = _same_name(form, who)
        else:
            lamps.change_lamp(db, lamp_id, words)
    if isinstance(words, Refused):
        return _lamp_form(request, who, row, words)
    return see_other(f"/lamps/{lamp_id}", notice="Saved.")


@router.post("/lamps/{lamp_id}/merge")
def merge_double(who: Steward, club: Club, form: Typed, lamp_id: int) -> Response:
    chosen = text(form, "into", most=12)
    with club.write() as db:
        row = _lamp(db, lamp_id)
        into = lamps.lamp(db, int(chosen)) if chosen.isascii() and chosen.isdigit() else None
        if into is None or into.merged_into_id is not None or into.id == lamp_id:
            return see_other(f"/lamps/{lamp_id}", notice="Choose the lamp it is a double of.")
        lamps.merge(db, lamp_id, into.id)
        words = f"{row.name} is now the same as {into.name}; setups that hang it follow."
        into_id = into.id
    return see_other(f"/lamps/{into_id}", notice=words)


@router.get("/lamps/{lamp_id}/channels/new")
def new_channel(request: Request, who: Who, club: Club, lamp_id: int) -> Response:
    with club.read() as db:
        row = _own(db, who, lamp_id)
    return page(request, "lamps/channel.html", view=view.channel_form(who, row, None))


@router.post("/lamps/{lamp_id}/channels/new")
def make_channel(request: Request, who: Who, club: Club, form: Typed, lamp_id: int) -> Response:
    with club.read() as db:
        row = _own(db, who, lamp_id)
        kept = lamps.channels_of(db, lamp_id)
    words = reading.read_channel(form, who, file=sent_file(form, "spectrum_file")[1])
    words = _not_twice(words, kept, form, who)
    if isinstance(words, Refused):
        shown = view.channel_form(who, row, None, words)
        return page(request, "lamps/channel.html", view=shown, status=422)
    with club.write() as db:
        _own(db, who, lamp_id)
        lamps.add_channel(db, lamp_id, words)
    return see_other(f"/lamps/{lamp_id}#channels", notice=f"Channel {words.name} is added.")


@router.get("/lamps/{lamp_id}/channels/{channel_id}")
def edit_channel(request: Request, who: Who, club: Club, lamp_id: int, channel_id: int) -> Response:
    with club.read() as db:
        row = _own(db, who, lamp_id)
        channel = _channel(db, lamp_id, channel_id)
    return page(request, "lamps/channel.html", view=view.channel_form(who, row, channel))


@router.post("/lamps/{lamp_id}/channels/{channel_id}")
def change_channel(
    request: Request, who: Who, club: Club, form: Typed, lamp_id: int, channel_id: int
) -> Response:
    with club.read() as db:
        row = _own(db, who, lamp_id)
        channel = _channel(db, lamp_id, channel_id)
        kept = [one for one in lamps.channels_of(db, lamp_id) if one.id != channel_id]
    words = reading.read_channel(form, who, file=sent_file(form, "spectrum_file")[1], was=channel)
    words = _not_twice(words, kept, form, who)
    if isinstance(words, Refused):
        shown = view.channel_form(who, row, channel, words)
        return page(request, "lamps/channel.html", view=shown, status=422)
    with club.write() as db:
        _own(db, who, lamp_id)
        _channel(db, lamp_id, channel_id)
        lamps.change_channel(db, channel_id, words)
    return see_other(f"/lamps/{lamp_id}#channels", notice="Saved.")


@router.post("/lamps/{lamp_id}/channels/{channel_id}/remove")
def remove_channel(who: Who, club: Club, lamp_id: int, channel_id: int) -> Response:
    with club.write() as db:
        _own(db, who, lamp_id)
        channel = _channel(db, lamp_id, channel_id)
        words = f"Channel {channel.name} is gone."
        lamps.remove_channel(db, channel_id)
    return see_other(f"/lamps/{lamp_id}#channels", notice=words)


@router.get("/lamps/{lamp_id}/photometric-file")
def file_form(request: Request, who: Who, club: Club, lamp_id: int) -> Response:
    with club.read() as db:
        row = _own(db, who, lamp_id)
    return page(request, "lamps/photometric_file.html", view=_file_form(row, {}))


@router.post("/lamps/{lamp_id}/photometric-file")
def keep_file(request: Request, who: Who, club: Club, form: Typed, lamp_id: int) -> Response:
    with club.read() as db:
        row = _own(db, who, lamp_id)
    name, raw = sent_file(form, "file")
    wrong = _wrong_with(raw)
    if wrong:
        shown = _file_form(row, {"file": wrong})
        return page(request, "lamps/photometric_file.html", view=shown, status=422)
    with club.write() as db:
        _own(db, who, lamp_id)
        lamps.set_file(db, lamp_id, name=name, raw=raw)
    return see_other(
        f"/lamps/{lamp_id}#file", notice="The file is kept; it takes the place of the beam angle."
    )


@router.post("/lamps/{lamp_id}/photometric-file/remove")
def remove_file(who: Who, club: Club, lamp_id: int) -> Response:
    with club.write() as db:
        _own(db, who, lamp_id)
        lamps.set_file(db, lamp_id, name="", raw=None)
    return see_other(f"/lamps/{lamp_id}", notice="The file is gone; the beam angle counts again.")


def _lamp(db: Session, lamp_id: int) -> LampModel:
    row = lamps.lamp(db, lamp_id)
    if row is None:
        raise NotFound("There is no such lamp on the shelf.")
    return row


def _own(db: Session, who: Member, lamp_id: int) -> LampModel:
    """A lamp this member may change. Raises NotFound, or 403 for another member's."""
    row = _lamp(db, lamp_id)
    if row.merged_into_id is not None:
        raise NotFound("This lamp was merged into another one.")
    if not _may_change(who, row):
        raise HTTPException(403, _NOT_YOURS)
    return row


def _may_change(who: Member, row: LampModel) -> bool:
    return who.role == "steward" or row.created_by_id == who.id


def _channel(db: Session, lamp_id: int, channel_id: int) -> LampChannel:
    row = lamps.channel(db, lamp_id, channel_id)
    if row is None:
        raise NotFound("This lamp has no such channel.")
    return row


def _lamp_form(request: Request, who: Member, row: LampModel | None, refused: Refused) -> Response:
    shown = view.lamp_form(who, row, refused)
    return page(request, "lamps/form.html", view=shown, status=422)


def _same_name(form: Typed, who: Member) -> Refused:
    values = {name: text(form, name) for name in reading.EMPTY}
    words = "The shelf already has a lamp of this name. Look at it, or choose another name."
    return Refused(values, {"name": words})


def _not_twice(
    words: reading.ChannelWords | Refused, kept: list[LampChannel], form: Typed, who: Member
) -> reading.ChannelWords | Refused:
    """Refuses a second channel of one name, and more channels than a lamp may have."""
    if isinstance(words, Refused):
        return words
    values = {name: text(form, name) for name in reading.EMPTY_CHANNEL}
    if any(one.name.lower() == words.name.lower() for one in kept):
        return Refused(values, {"name": "This lamp already has a channel of this name."})
    if len(kept) >= MOST_CHANNELS:
        return Refused(values, {"name": f"A lamp can have {MOST_CHANNELS} channels at most."})
    return words


def _wrong_with(raw: bytes) -> str:
    """Why a sent photometric file cannot be kept; empty where it can."""
    try:
        if not raw:
            raise BrokenFile(None, "choose a file with the ending .ies or .ldt first")
        if read_photometric_file(raw).table.share_down < _LEAST_DOWN:
            raise BrokenFile(None, "this lamp sends almost all its light upwards; is it turned?")
    except BrokenFile as broken:
        return broken_words(broken)
    return ""


def _file_form(row: LampModel, errors: dict[str, str]) -> view.LampFileForm:
    return view.LampFileForm(row.id, row.name, errors, row.intensity_file_name)


def _file(row: LampModel) -> PhotometricFile | None:
    return read_photometric_file(row.intensity_file) if row.intensity_file else None
