"""Photometric file: in which directions a lamp shines. Nothing is kept."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import File, UploadFile

from server.optics.broken_file import BrokenFile
from server.optics.photometric_file import MAX_BYTES, PhotometricFile
from server.optics.photometric_reader import read_photometric_file
from server.web.answers import Answer, Listed, Rows, of
from server.web.ask import Asked
from server.web.calculators.registry import Calculator, Json, Unanswerable
from server.web.fields import file, sentence
from server.web.forms import Filled, Form
from server.web.photometric_told import FileTold, file_told
from server.web.problem import Refusal

FILE = file(
    "file", "Photometric file", extra={"accept": ".ies,.ldt,text/plain"},
    hint="LM-63 (1986 to 2019, usually .ies) or EULUMDAT (.ldt), up to 1 MB.",
)  # fmt: skip


@dataclass(frozen=True)
class Sent:
    """A sent file."""

    name: str
    raw: bytes
    unit: str


def read(form: Filled, ask: Asked) -> Sent:
    name, raw = ask.file("file", most=MAX_BYTES)
    if not raw:
        raise form.refuse(FILE, "Choose a file with the ending .ies or .ldt first.")
    return Sent(name, raw, ask.unit)


def work(sent: Sent) -> PhotometricFile:
    try:
        return read_photometric_file(sent.raw)
    except BrokenFile as broken:
        raise Unanswerable("file", sentence(broken)) from broken


def show(sent: Sent, found: PhotometricFile) -> FileTold:
    return file_told(found, name=sent.name, unit=sent.unit)


class FileAnswer(Answer):
    """A photometric file, unfolded to the full circle; intensity in candela, one row per phi."""

    standard: str
    title: str
    flux_lm: float
    zonal_flux_lm: float = of("table", "zonal_flux")
    lamp_lm: float | None
    light_output_ratio: float | None
    watts: float | None
    beam_across_deg: float
    beam_along_deg: float
    share_down: float = of("table", "share_down")
    opening_cm: tuple[float, float, float]
    notes: list[str]
    theta_deg: Listed = of("table", "theta_deg")
    phi_deg: Listed = of("table", "phi_deg")
    intensity_cd: Rows = of("table", "intensity")


def photometric_file(
    file: Annotated[UploadFile, File(description="LM-63 or EULUMDAT")],
) -> PhotometricFile:
    """Reads LM-63 (1986 to 2019) and EULUMDAT; a broken file is refused by its line."""
    try:
        return read_photometric_file(file.file.read(MAX_BYTES + 1))
    except BrokenFile as broken:
        words = "The file could not be read."
        raise Refusal(422, words, errors=[("file", str(broken))]) from broken


PHOTOMETRIC_FILE = Calculator(
    key="photometric-file",
    name="Photometric file",
    question="In which directions does this lamp shine?",
    asks="Your file",
    button="Read it",
    form=Form(FILE),
    read=read,
    work=work,
    show=show,
    json=Json(
        path="/api/photometric-file",
        summary="Read a photometric file",
        work=photometric_file,
        answer=FileAnswer,
    ),
    sends_a_file=True,
)
