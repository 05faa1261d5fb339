"""What a lamp's page shows: what it gives, its colours, its footprint, its shimmer."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from server.account.ability_words import dims_words
from server.db.abilities import ability_of
from server.db.light import Stated
from server.models import LampChannel, LampModel, Member
from server.optics.efficacy import BY_KIND
from server.optics.emitters import Emitter
from server.optics.footprint import footprint
from server.optics.lamp import lamp_emitters
from server.optics.photometric_file import PhotometricFile
from server.optics.shimmer import Shimmer, shimmer
from server.optics.spectrum_shapes import READY_BY_KEY
from server.optics.tank import Water
from server.optics.tint import TINTS
from server.web import shimmer_told
from server.web.filters import length, number, percent, ppfd, significant
from server.web.forms import shown_length
from server.web.lamp_kinds import KIND_NAMES, rough
from server.web.lamps.form import CONTROL_NAMES
from server.web.lamps.lamp_form import LookedAt
from server.web.lamps.view import beam_words, flux_is_doubtful, heights_words, watts_words
from server.web.layouts import layout_lengths, layout_values
from server.web.photometric_told import FileTold, file_told
from server.web.spectrum_told import SpectrumTold, told

_DIRECTIONS = 8
_MOST_DRAWN = 4
_NOTHING_UNDER = "No light of this lamp falls right under it, so nothing dances there."


@dataclass(frozen=True)
class ChannelLine:
    """One channel of the lamp."""

    id: int
    name: str
    share: str
    light: str
    beam: str
    places: str


@dataclass(frozen=True)
class Light:
    """What depends on height, depth, water and ripple."""

    under: tuple[tuple[str, str], ...]
    spectrum: SpectrumTold
    shimmer: str
    shimmer_facts: tuple[tuple[str, str], ...]
    shimmer_address: str
    water: str


@dataclass(frozen=True)
class LampPage:
    """A lamp's page."""

    id: int
    name: str
    answer: str
    do: str
    sure: str
    doubtful: bool
    facts: tuple[tuple[str, str], ...]
    note: str
    efficacy: tuple[tuple[str, str], ...]
    efficacy_why: str
    efficacy_sources: tuple[str, ...]
    channels: tuple[ChannelLine, ...]
    file: FileTold | None
    light: Light | None
    may_change: bool
    others: tuple[tuple[str, str], ...]
    hot: bool = False
    heavy_blue: bool = False


def lamp_page(
    who: Member,
    stated: Stated,
    channels: Sequence[LampChannel],
    asked: LookedAt | None,
    *,
    file: PhotometricFile | None,
    others: Sequence[LampModel],
    may_change: bool,
) -> LampPage:
    row = stated.row
    spread = BY_KIND[stated.lamp.kind]
    return LampPage(
        id=row.id,
        name=row.name,
        answer=_answer(stated),
        do=_do(row, who.length_unit),
        sure=_sure(stated),
        doubtful=flux_is_doubtful(row),
        facts=_facts(stated, who.length_unit),
        note=row.note,
        efficacy=_efficacy(stated),
        efficacy_why=spread.why,
        efficacy_sources=spread.sources,
        channels=tuple(_channel(one) for one in channels),
        file=None
        if file is None
        else file_told(file, name=row.intensity_file_name, unit=who.length_unit),
        light=None if asked is None else _light(stated, asked),
        may_change=may_change,
        others=tuple((str(one.id), one.name) for one in others),
        hot=row.kind in ("metal_halide", "fluorescent_tube", "mixed"),
        heavy_blue=stated.lamp.spectrum().third_shares[0] > 0.4,
    )


def _answer(stated: Stated) -> str:
    row = stated.row
    per_joule = number(stated.lamp.ppf_umol_s / row.watts, 2)
    if stated.estimated:
        return (
            f"{row.name} gives about {rough(stated.lamp.ppf_umol_s)} µmol s⁻¹ from "
            f"{watts_words(row.watts)}, as far as watts can tell."
        )
    return (
        f"{row.name} is stated to give {significant(stated.lamp.ppf_umol_s)} µmol s⁻¹ from "
        f"{watts_words(row.watts)}: {per_joule} µmol per joule."
    )


def _do(row: LampModel, unit: str) -> str:
    if row.min_height_cm is None and row.max_height_cm is None:
        return "No hanging height is stated. Plan it over your tank, and prove it with the meter."
    words = heights_words(row, unit)
    return f"Hang it {words} over the water, as stated; plan where over your own tank."


def _sure(stated: Stated) -> str:
    if stated.estimated:
        return (
            f"An estimate from watts and kind: anything from "
            f"{rough(stated.low_ppf_umol_s)} to "
            f"{rough(stated.high_ppf_umol_s)} µmol s⁻¹ may be true."
        )
    source = stated.row.ppf_source or "nobody said where the figure comes from"
    return f"As stated, not measured by the club. Source: {source}."


def _facts(stated: Stated, unit: str) -> tuple[tuple[str, str], ...]:
    row = stated.row
    along, across = stated.lamp.layout.extent_cm
    rows = [
        ("Kind", KIND_NAMES[row.kind]),
        ("Beam", beam_words(row)),
        ("Emitters", _emitters(row, unit)),
        ("Lit size", f"{length(along, unit)} × {length(across, unit)}"),
        ("Hangs", heights_words(row, unit)),
        ("Control", CONTROL_NAMES[row.control]),
        ("Dims", dims_words(ability_of(stated))),
    ]
    if row.price is not None:
        rows.append(("Price", f"{significant(row.price)} in the club's money"))
    return tuple(rows)


def _emitters(row: LampModel | LampChannel, unit: str) -> str:
    count = (row.count_x or 1) * (row.count_y or 1)
    if row.tube_length_cm is not None:
        tubes = "one tube" if count == 1 else f"{count} tubes"
        return f"{tubes} of {length(row.tube_length_cm, unit)}"
    if row.side_cm is not None:
        faces = "one glowing face" if count == 1 else f"{count} glowing faces"
        return f"{faces} of {length(row.side_cm, unit)}"
    if count == 1:
        return "one small spot"
    return f"{row.count_x} × {row.count_y} single emitters"


def _efficacy(stated: Stated) -> tuple[tuple[str, str], ...]:
    spread = BY_KIND[stated.lamp.kind]
    own = stated.lamp.ppf_umol_s / stated.row.watts
    return (
        ("This lamp", f"{number(own, 2)} µmol J⁻¹{' (estimate)' if stated.estimated else ''}"),
        (
            f"{KIND_NAMES[stated.row.kind]}, as measured",
            f"{number(spread.low, 2)} to {number(spread.high, 2)} µmol J⁻¹",
        ),
    )


def _channel(row: LampChannel) -> ChannelLine:
    return ChannelLine(
        id=row.id,
        name=row.name,
        share=percent(row.share),
        light=_light_words(row.spectrum),
        beam="as the lamp's" if row.beam_deg is None else f"{number(row.beam_deg)}°",
        places="" if row.count_x is None else _emitters(row, "cm"),
    )


def _light_words(spectrum: str) -> str:
    """What colours a channel has, in a word or two."""
    record = json.loads(spectrum) if spectrum else {}
    shape = record.get("shape")
    if shape == "ready" and record.get("key") in READY_BY_KEY:
        return READY_BY_KEY[record["key"]].name
    if shape == "gaussian":
        return f"one colour, {record['peak_nm']:g} nm, {record['width_nm']:g} nm wide"
    if shape == "phosphor_white":
        return f"white, {percent(record['blue_share'])} blue pump"
    if shape == "table":
        return "measured table"
    return "a mix" if spectrum else "the general colours of its kind"


def _light(stated: Stated, asked: LookedAt) -> Light:
    """The lamp hung over open water, at full power."""
    lamp, tint = stated.lamp, TINTS[asked.water]
    emitters = lamp_emitters(
        lamp, x_cm=0.0, y_cm=0.0, height_cm=asked.height_cm, power=1.0, tint=tint
    )
    whole = lamp.spectrum()
    channels = lamp.working_channels
    shares = sum(one.share for one in channels)
    parts = [(one.name, one.spectrum, one.share / shares) for one in channels]
    found = _shimmer(emitters, asked)
    return Light(
        under=_under(emitters, stated, asked),
        spectrum=told(
            whole,
            name=f"Light of {lamp.name}",
            depth_cm=asked.depth_cm,
            tint=tint,
            unit=asked.unit,
            parts=parts if 1 < len(parts) <= _MOST_DRAWN else (),
        ),
        shimmer=_NOTHING_UNDER if found is None else shimmer_told.answer(found),
        shimmer_facts=()
        if found is None
        else shimmer_told.facts(found, asked.ripple, lamp.layout, asked.unit),
        shimmer_address=_shimmer_address(stated.row, asked),
        water=asked.water,
    )


def _shimmer(emitters: Sequence[Emitter], asked: LookedAt) -> Shimmer | None:
    """Shimmer right under the lamp; None where its table sends nothing straight down."""
    try:
        return shimmer(
            emitters,
            x_cm=0.0,
            y_cm=0.0,
            depth_cm=asked.depth_cm,
            ripple=asked.ripple,
            directions=_DIRECTIONS,
        )
    except ValueError:
        return None


def _under(
    emitters: Sequence[Emitter], stated: Stated, asked: LookedAt
) -> tuple[tuple[str, str], ...]:
    mark = footprint(emitters, Water(), depth_cm=asked.depth_cm, height_cm=asked.height_cm)
    peak = ppfd(mark.peak_ppfd)
    if stated.estimated:
        share_low = stated.low_ppf_umol_s / stated.lamp.ppf_umol_s
        share_high = stated.high_ppf_umol_s / stated.lamp.ppf_umol_s
        peak += f" ({ppfd(mark.peak_ppfd * share_low)} to {ppfd(mark.peak_ppfd * share_high)})"
    return (
        ("Brightest there", f"{peak} µmol m⁻² s⁻¹ at full power, walls and floor left out"),
        (
            "Half-value footprint",
            f"{length(mark.along_cm, asked.unit, 0)} along × "
            f"{length(mark.across_cm, asked.unit, 0)} across",
        ),
    )


def _shimmer_address(row: LampModel, asked: LookedAt) -> str:
    """The shimmer calculator with this lamp's layout in its address, in the member's unit."""
    lengths = {
        **layout_lengths(row),
        "height": asked.height_cm,
        "depth": asked.depth_cm,
        "ripple": asked.ripple.length_cm,
        "ripple_height": max(asked.ripple.height_cm, 0.1),
    }
    shown = {name: shown_length(cm, asked.unit) for name, cm in lengths.items() if cm}
    return "/calculators/shimmer?" + urlencode(
        layout_values(row) | {"beam": f"{row.beam_deg:g}"} | shown
    )
