"""A model of lamp: how its emitters are laid out, its lens, its colours; and the lamp hung up.

Every page that hangs a lamp over a tank turns it into emitters here, so that all pages mean the
same light. A lamp faces straight down or leans; its long side runs along x, or along y turned.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from server.optics.emitters import Emitter, Shape
from server.optics.photometry import IntensityTable
from server.optics.spectrum import Spectrum, blend
from server.optics.spectrum_shapes import ready
from server.optics.tint import Tint, absorption_bands

Kind = Literal["led_cluster", "led_panel", "led_bar", "fluorescent_tube", "metal_halide", "mixed"]
Control = Literal["by_hand", "clock_switch", "programs", "full"]

LIMITS = {
    "count_x": (1, 60),
    "count_y": (1, 40),
    "pitch_x_cm": (0.0, 200.0),
    "pitch_y_cm": (0.0, 200.0),
    "side_cm": (0.1, 200.0),
    "tube_length_cm": (1.0, 300.0),
    "beam_deg": (5.0, 170.0),
    "watts": (0.1, 10_000.0),
    "ppf_umol_s": (0.1, 30_000.0),
    "height_cm": (0.1, 1000.0),
    "price": (0.0, 100_000.0),
}
"""Least and greatest value accepted for each number of a lamp (both included)."""
MAX_EMITTERS = 400


def _within(name: str, value: float | None) -> None:
    low, high = LIMITS[name]
    if value is not None and not (math.isfinite(value) and low <= value <= high):
        raise ValueError(f"{name} must lie between {low:g} and {high:g}, not {value:g}")


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Where a lamp's emitters sit: count_x × count_y of them, so far apart, around its middle.

    Each is a point; with `side_cm` a square of that side that shines evenly; with
    `tube_length_cm` a tube along the lamp's long side. Raises ValueError outside LIMITS.
    """

    count_x: int = 1
    count_y: int = 1
    pitch_x_cm: float = 0.0
    pitch_y_cm: float = 0.0
    side_cm: float | None = None
    tube_length_cm: float | None = None

    def __post_init__(self) -> None:
        for name in LIMITS:
            if hasattr(self, name):
                _within(name, getattr(self, name))
        if self.side_cm is not None and self.tube_length_cm is not None:
            raise ValueError("an emitter is a square or a tube, not both")
        if self.count_x * self.count_y > MAX_EMITTERS:
            raise ValueError(f"at most {MAX_EMITTERS} emitters, not {self.count_x * self.count_y}")

    @property
    def places(self) -> tuple[tuple[float, float], ...]:
        """Middle of each emitter from the lamp's middle, (along, across) in cm."""
        along = _row(self.count_x, self.pitch_x_cm)
        across = _row(self.count_y, self.pitch_y_cm)
        return tuple((a, b) for b in across for a in along)

    @property
    def extent_cm(self) -> tuple[float, float]:
        """Outer size of the emitting parts, (along, across) in cm."""
        own_along = self.tube_length_cm or self.side_cm or 0.0
        return (
            (self.count_x - 1) * self.pitch_x_cm + own_along,
            (self.count_y - 1) * self.pitch_y_cm + (self.side_cm or 0.0),
        )


@dataclass(frozen=True, kw_only=True)
class Channel:
    """Emitters dimmed together: share of the lamp's PPF, colours, and lens or places of its own."""

    name: str
    share: float
    spectrum: Spectrum
    beam_deg: float | None = None
    layout: Layout | None = None

    def __post_init__(self) -> None:
        if not 0.0 < self.share <= 1.0:
            raise ValueError(f"a channel's share must lie between 0 and 1, not {self.share:g}")
        if self.beam_deg is not None:
            _within("beam_deg", self.beam_deg)


@dataclass(frozen=True, kw_only=True)
class LampModel:
    """What is stated of one model of lamp.

    ppf_umol_s: photons 400–700 nm a second at full power [µmol s⁻¹].
    beam_deg: full angle at half intensity; `intensity`, a measured table whose phi = 0 points
        across the lamp's long side (C0 of a photometric file), takes its place.
    channels: their shares are taken relative to their sum; none at all means one white channel
        fitting the kind.
    Raises ValueError outside LIMITS or for two channels of one name.
    """

    kind: Kind
    beam_deg: float
    ppf_umol_s: float
    name: str = ""
    layout: Layout = Layout()
    channels: tuple[Channel, ...] = ()
    intensity: IntensityTable | None = None
    watts: float | None = None
    min_height_cm: float | None = None
    max_height_cm: float | None = None
    control: Control = "full"

    def __post_init__(self) -> None:
        _within("beam_deg", self.beam_deg)
        _within("ppf_umol_s", self.ppf_umol_s)
        names = [channel.name for channel in self.channels]
        if len(set(names)) != len(names):
            raise ValueError("two channels of a lamp have the same name")

    @property
    def working_channels(self) -> tuple[Channel, ...]:
        """The channels, or the one that stands for a lamp of this kind with none stated."""
        if self.channels:
            return self.channels
        return (Channel(name="all", share=1.0, spectrum=kind_spectrum(self.kind)),)

    def spectrum(self, levels: Mapping[str, float] | None = None) -> Spectrum:
        """Colours of the whole lamp with its channels at the given levels (absent: full)."""
        parts = [(c.spectrum, c.share * _level(levels, c.name)) for c in self.working_channels]
        return blend(parts, name=self.name or "lamp")


def kind_spectrum(kind: Kind) -> Spectrum:
    """The general shape assumed for a kind of lamp whose channels nobody stated.

    Our choice, no published source: LEDs half royal blue, half cool white by photons; tubes half
    white, half blue; halides the daylight shape.
    """
    if kind == "metal_halide":
        return ready("halide_daylight")
    if kind == "fluorescent_tube":
        return blend([(ready("tube_white"), 1.0), (ready("tube_blue"), 1.0)], name="tubes")
    return blend([(ready("white_cool"), 1.0), (ready("royal_blue"), 1.0)], name="LEDs")


def lamp_emitters(
    lamp: LampModel,
    *,
    x_cm: float,
    y_cm: float,
    height_cm: float,
    power: float,
    turned: bool = False,
    tilt_deg: float = 0.0,
    toward_deg: float = 0.0,
    levels: Mapping[str, float] | None = None,
    tint: Tint | None = None,
) -> tuple[Emitter, ...]:
    """The emitters of a lamp hung with its middle at (x, y) and its face so high over the water.

    power: 0–1 for the whole lamp. levels: 0–1 by channel name, on top of power; absent means 1.
    turned: a quarter turn, the long side from front to back. tint: gives each emitter the
    absorption its own colours meet in that water; without it the engine's water decides.
    tilt_deg, toward_deg: the lamp leans about its middle, as in `Emitter`; its far side rises.
    Channels that share lens and places are one set of emitters. Dark channels give none.
    Raises ValueError for a power or level outside 0–1.
    """
    if not 0.0 <= power <= 1.0:
        raise ValueError(f"power must lie between 0 and 1, not {power:g}")
    shared = _Hanging(
        x_cm=x_cm,
        y_cm=y_cm,
        height_cm=height_cm,
        turned=turned,
        tilt_deg=tilt_deg,
        toward_deg=toward_deg,
        intensity=lamp.intensity,
    )
    emitters: list[Emitter] = []
    for (layout, beam_deg), channels in _sets(lamp).items():
        flux = power * lamp.ppf_umol_s * _lit_share(lamp, channels, levels)
        if flux <= 0:
            continue
        bands = None if tint is None else absorption_bands(_mix(channels, levels), tint)
        emitters += shared.hung(layout, flux, beam_deg, bands)
    return tuple(emitters)


@dataclass(frozen=True, kw_only=True)
class _Hanging:
    """One lamp's place over the tank."""

    x_cm: float
    y_cm: float
    height_cm: float
    turned: bool
    tilt_deg: float
    toward_deg: float
    intensity: IntensityTable | None

    def place(self, along: float, across: float) -> tuple[float, float, float]:
        """Where an emitter of the lamp's face comes to lie (x, y, height) [cm].

        The face turns about the lamp's middle: what lies toward the lean draws in and rises.
        """
        right, back = (across, along) if self.turned else (along, across)
        tilt, toward = math.radians(self.tilt_deg), math.radians(self.toward_deg)
        ahead = right * math.cos(toward) + back * math.sin(toward)
        drawn_in = ahead * (math.cos(tilt) - 1.0)
        return (
            self.x_cm + right + drawn_in * math.cos(toward),
            self.y_cm + back + drawn_in * math.sin(toward),
            max(self.height_cm + ahead * math.sin(tilt), LIMITS["height_cm"][0]),
        )

    def hung(
        self,
        layout: Layout,
        flux: float,
        beam_deg: float,
        absorption: tuple[tuple[float, float], ...] | None,
    ) -> list[Emitter]:
        """One emitter for each place of the layout, the flux shared evenly."""
        table = None if self.intensity is None else _over_tank(self.intensity, self.turned)
        shape: Shape = "point"
        if layout.side_cm is not None:
            shape = "square"
        elif layout.tube_length_cm is not None:
            shape = "tube"
        return [
            Emitter(
                shape=shape,
                x_cm=x_cm,
                y_cm=y_cm,
                height_cm=height_cm,
                ppf_umol_s=flux / len(layout.places),
                beam_deg=beam_deg,
                length_cm=layout.tube_length_cm,
                side_cm=layout.side_cm,
                along="y" if self.turned else "x",
                intensity=table,
                absorption=absorption,
                tilt_deg=self.tilt_deg,
                toward_deg=self.toward_deg,
            )
            for x_cm, y_cm, height_cm in (self.place(*spot) for spot in layout.places)
        ]


@lru_cache(maxsize=64)
def _over_tank(table: IntensityTable, turned: bool) -> IntensityTable:
    """The lamp's table in the tank's directions: its C0 points across the long side.

    Both photometric standards lay C0 across the lamp's length. With the length along x that is
    the tank's y axis, phi = 90; with the length along y, phi = 180.
    """
    return table.turned(180.0 if turned else 90.0)


def _sets(lamp: LampModel) -> dict[tuple[Layout, float], list[Channel]]:
    """Channels that share lens and places, in the order first met."""
    sets: dict[tuple[Layout, float], list[Channel]] = {}
    for channel in lamp.working_channels:
        beam_deg = lamp.beam_deg if channel.beam_deg is None else channel.beam_deg
        sets.setdefault((channel.layout or lamp.layout, beam_deg), []).append(channel)
    return sets


def _lit_share(
    lamp: LampModel, channels: list[Channel], levels: Mapping[str, float] | None
) -> float:
    """Part of the lamp's full flux these channels send out at their levels."""
    whole = sum(channel.share for channel in lamp.working_channels)
    return sum(c.share * _level(levels, c.name) for c in channels) / whole


def _mix(channels: list[Channel], levels: Mapping[str, float] | None) -> Spectrum:
    return blend([(c.spectrum, c.share * _level(levels, c.name)) for c in channels])


def _level(levels: Mapping[str, float] | None, name: str) -> float:
    level = 1.0 if levels is None else levels.get(name, 1.0)
    if not 0.0 <= level <= 1.0:
        raise ValueError(f"the level of channel {name!r} must lie between 0 and 1, not {level:g}")
    return level


def _row(count: int, pitch_cm: float) -> tuple[float, ...]:
    return tuple((k - (count - 1) / 2) * pitch_cm for k in range(count))
