"""Pages of the light calculators, open to everybody; the address carries what was typed."""

from fastapi import APIRouter, Request
from fastapi.responses import Response
from starlette.datastructures import FormData, UploadFile

from server.models import Member
from server.optics.broken_file import BrokenFile
from server.optics.photometric_file import MAX_BYTES
from server.optics.photometric_reader import read_photometric_file
from server.web.light import (
    photometric_view,
    shimmer_form,
    shimmer_view,
    spectrum_form,
    spectrum_view,
    units_form,
    units_view,
    watts_form,
    watts_view,
)
from server.web.page import page
from server.web.signed_in import Typed, Visitor
from server.web.tanks.typed import Refused

router = APIRouter(include_in_schema=False)


@router.get("/calculators/light-units")
def light_units(request: Request, who: Visitor) -> Response:
    typed = units_form.read_units(request.query_params, who)
    if isinstance(typed, Refused):
        view = units_view.refused_view(typed)
        return page(request, "light/units.html", view=view, status=422)
    return page(request, "light/units.html", view=units_view.units_view(typed))


@router.get("/calculators/spectrum")
def spectrum(request: Request, who: Visitor) -> Response:
    typed = spectrum_form.read_spectrum(request.query_params, who)
    if isinstance(typed, Refused):
        view = spectrum_view.refused_view(typed, _unit(who))
        return page(request, "light/spectrum.html", view=view, status=422)
    return page(request, "light/spectrum.html", view=spectrum_view.spectrum_view(typed))


@router.get("/calculators/watts")
def watts(request: Request, who: Visitor) -> Response:
    typed = watts_form.read_watts(request.query_params, who)
    if isinstance(typed, Refused):
        view = watts_view.refused_view(typed)
        return page(request, "light/watts.html", view=view, status=422)
    return page(request, "light/watts.html", view=watts_view.watts_view(typed))


@router.get("/calculators/shimmer")
def shimmer(request: Request, who: Visitor) -> Response:
    typed = shimmer_form.read_shimmer(request.query_params, who)
    if isinstance(typed, Refused):
        view = shimmer_view.refused_view(typed, _unit(who))
        return page(request, "light/shimmer.html", view=view, status=422)
    view = shimmer_view.shimmer_view(typed)
    return page(request, "light/shimmer.html", view=view, status=422 if view.errors else 200)


@router.get("/calculators/photometric-file")
def photometric_file(request: Request, who: Visitor) -> Response:
    return page(request, "light/photometric_file.html", view=photometric_view.FileView({}))


@router.post("/calculators/photometric-file")
def read_file(request: Request, who: Visitor, form: Typed) -> Response:
    name, raw = sent_file(form, "file")
    try:
        if not raw:
            raise BrokenFile(None, "choose a file with the ending .ies or .ldt first")
        told = photometric_view.file_told(read_photometric_file(raw), name=name, unit=_unit(who))
        view = photometric_view.FileView({}, told)
    except BrokenFile as broken:
        view = photometric_view.FileView({"file": photometric_view.broken_words(broken)})
    status = 422 if view.errors else 200
    return page(request, "light/photometric_file.html", view=view, status=status)


def sent_file(form: FormData, name: str) -> tuple[str, bytes]:
    """A sent file's name and content, cut just past what may be read; empty where none came."""
    sent = form.get(name)
    if not isinstance(sent, UploadFile):
        return "", b""
    return (sent.filename or "")[-120:], sent.file.read(MAX_BYTES + 1)


def _unit(who: Member | None) -> str:
    return who.length_unit if who else "cm"
