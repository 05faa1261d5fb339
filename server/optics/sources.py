"""Lamps as points of light: large ones cut into pieces, close ones gathered, alike ones grouped.

What counts is how far a piece reaches compared with the width of its light on the level looked
at. A tube is cut into pieces much smaller than that; many small emitters that stand closer than
that are gathered into pieces too. A piece keeps its place (centroid) and its extent (variance);
both enter the light exactly to second order, so the pieces need not be tiny.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from server.optics.emitters import LIMITS, Emitter
from server.optics.kernel import Absorption, Beam, peak_width_cm
from server.optics.lean import Leaning, turning
from server.optics.tank import Tank, Water

Floats = NDArray[np.float64]

_PIECE = (0.07, 0.18)
"""Longest piece as a share of the width of its light: at the rim, and well inside. Where the rim
cuts the rays of a piece the rest of them lean to one side, so pieces near it are smaller."""

_SHADOW_CM, _SHADOW_PARTS, _SHADOW_APART_CM = 2.5, 4, 5.0
"""Where rocks and braces throw shadows, whose edges tell how large a lamp is, pieces are no longer
than this, or than such a part of a larger lamp; emitters nearer than the third are gathered."""

_STEP_DOWN = 0.03
"""Parts of leaning lamps whose heights differ by less than this share count as level."""

_LEVELS_AT_MOST = 12
"""Levels of one leaning face, roughly: a long tube close above the water may have more."""

_MOST_PIECES = 400


_Alike = tuple[float, Beam, Absorption, tuple[float, float]]


@dataclass(frozen=True, kw_only=True, eq=False)
class Sources:
    """Pieces of lamps alike in height, beam and colour.

    x_cm, y_cm, ppf_umol_s: shape (n,), sorted by x. piece_cm: sides of the rectangle over which
    each piece's light is spread (for gathered emitters: of the same variance).
    """

    height_cm: float
    beam: Beam
    absorption: Absorption
    piece_cm: tuple[float, float]
    x_cm: Floats
    y_cm: Floats
    ppf_umol_s: Floats

    def part(self, first: int, stop: int) -> "Sources":
        some = slice(first, stop)
        return replace(
            self, x_cm=self.x_cm[some], y_cm=self.y_cm[some], ppf_umol_s=self.ppf_umol_s[some]
        )

    def recoloured(self, absorption: Absorption) -> "Sources":
        """The same sources with other parts of the light; shares may sum to less than 1."""
        return replace(self, absorption=absorption)


def sources_for(
    tank: Tank, water: Water, emitters: Sequence[Emitter], *, depth_cm: float
) -> tuple[Sources, ...]:
    """The emitters as groups of points, fine enough for the light at one depth."""
    groups: dict[_Alike, list[Emitter]] = defaultdict(list)
    found = []
    for emitter in emitters:
        if emitter.ppf_umol_s > 0.0 and leans_with_size(emitter):
            found += _leaning(tank, water, emitter, depth_cm)
        elif emitter.ppf_umol_s > 0.0:
            groups[_alike(water, emitter)].append(emitter)
    for (_, beam, absorption, size), alike in groups.items():
        height_cm = float(np.average([one.height_cm for one in alike],
                                     weights=[one.ppf_umol_s for one in alike]))  # fmt: skip
        width = peak_width_cm(beam, height_cm=height_cm, depth_cm=depth_cm, water=water)
        points, piece = _points(tank, alike, size, width)
        x, y, flux = points
        found.append(
            Sources(
                height_cm=height_cm, beam=beam, absorption=absorption, piece_cm=piece,
                x_cm=x, y_cm=y, ppf_umol_s=tank.lid * flux,
            )
        )  # fmt: skip
    return tuple(found)


def _alike(water: Water, emitter: Emitter) -> _Alike:
    """What emitters of one group share."""
    return (
        _level(emitter), beam_of(emitter), emitter.absorption or water.absorption,
        emitter.size_cm,
    )  # fmt: skip


def groups_at_most(water: Water, emitters: Sequence[Emitter]) -> int:
    """Upper bound on the groups `sources_for` makes, known without making them."""
    apart = {_alike(water, one) for one in emitters if not leans_with_size(one)}
    leaning = sum(leans_with_size(one) for one in emitters)
    return len(apart) + leaning * _LEVELS_AT_MOST


def _level(emitter: Emitter) -> float:
    """Emitters of the same level hang together: those of leaning lamps where they differ little."""
    if emitter.tilt_deg == 0.0:
        return emitter.height_cm
    return float(np.exp(_STEP_DOWN * np.floor(np.log(emitter.height_cm) / _STEP_DOWN)))


def beam_of(emitter: Emitter) -> Beam:
    """The measured table where there is one, the beam angle otherwise, leaning if the lamp does."""
    lens = emitter.beam_deg if emitter.intensity is None else emitter.intensity
    if lens is None:
        raise ValueError("an emitter needs beam_deg or intensity")
    if emitter.tilt_deg > 0.0:
        return Leaning(lens=lens, tilt_deg=emitter.tilt_deg, toward_deg=emitter.toward_deg)
    return lens


def leans_with_size(emitter: Emitter) -> bool:
    """Whether parts of the lamp hang at different heights."""
    return emitter.tilt_deg > 0.0 and max(emitter.size_cm) > 0.0


def leaning_pieces(emitter: Emitter, counts: tuple[int, int]) -> Floats:
    """Middles of counts[0] × counts[1] pieces of a leaning face, shape (n, 3): x, y, height.

    A piece that would hang in the water counts as just above it.
    """
    u, v = (
        ((np.arange(count) + 0.5) / count - 0.5) * extent
        for count, extent in zip(counts, emitter.size_cm, strict=True)
    )
    grid = np.meshgrid(u, v, indexing="ij")
    flat = np.stack([grid[0].ravel(), grid[1].ravel(), np.zeros(grid[0].size)], axis=1)
    placed = flat @ turning(emitter.tilt_deg, emitter.toward_deg).T
    placed += np.array([emitter.x_cm, emitter.y_cm, emitter.height_cm])
    placed[:, 2] = np.maximum(np.round(placed[:, 2], 6), LIMITS["height_cm"][0])
    return placed


def lowest_edge_cm(emitter: Emitter) -> float:
    """Height over the water of the lowest part of a lamp's face; below 0 it hangs in it."""
    across = np.abs(turning(emitter.tilt_deg, emitter.toward_deg)[2, :2])
    return float(emitter.height_cm - across @ np.array(emitter.size_cm) / 2.0)


def _leaning(tank: Tank, water: Water, emitter: Emitter, depth_cm: float) -> list[Sources]:
    """A leaning tube or square as groups of pieces of nearly one height each."""
    beam = beam_of(emitter)
    width = peak_width_cm(beam, height_cm=emitter.height_cm, depth_cm=depth_cm, water=water)
    lamp = np.array([(emitter.x_cm, emitter.y_cm, emitter.ppf_umol_s)], dtype=np.float64)
    counts = _counts(emitter.size_cm, _longest(tank, lamp, emitter.size_cm, width))
    placed = leaning_pieces(emitter, counts)
    turned = turning(emitter.tilt_deg, emitter.toward_deg)
    cut = np.array(emitter.size_cm) / counts
    extent = np.hypot(turned[:2, 0] * cut[0], turned[:2, 1] * cut[1])
    found = []
    step = _STEP_DOWN * emitter.height_cm
    for level in np.unique(levels := np.floor((placed[:, 2] - placed[:, 2].min()) / step + 0.5)):
        rows = placed[levels == level]
        rows = rows[np.lexsort((rows[:, 1], rows[:, 0]))]
        found.append(
            Sources(
                height_cm=float(rows[:, 2].mean()), beam=beam,
                absorption=emitter.absorption or water.absorption,
                piece_cm=(float(extent[0]), float(extent[1])), x_cm=rows[:, 0], y_cm=rows[:, 1],
                ppf_umol_s=np.full(len(rows), tank.lid * emitter.ppf_umol_s / len(placed)),
            )
        )  # fmt: skip
    return found


def _points(
    tank: Tank, alike: Sequence[Emitter], size: tuple[float, float], width_cm: float
) -> tuple[Floats, tuple[float, float]]:
    """Rows x, y, flux of the pieces of emitters of one size, and the pieces' extent."""
    lamps = np.array([(one.x_cm, one.y_cm, one.ppf_umol_s) for one in alike], dtype=np.float64)
    longest = _longest(tank, lamps, size, width_cm)
    counts = _counts(size, longest)
    cut = (size[0] / counts[0], size[1] / counts[1])
    rows = lamps if counts == (1, 1) else _cut(lamps, size, counts)
    points = rows[np.lexsort((rows[:, 1], rows[:, 0]))].T
    if max(size) > 0.0 or len(alike) < 2:
        return points, cut
    return gathered(points, longest)


def pieces_at_most(
    tank: Tank, water: Water, emitters: Sequence[Emitter], *, depth_cm: float
) -> int:
    """Upper bound on the pieces `sources_for` makes, known without making them."""
    total = 0
    for one in emitters:
        width = peak_width_cm(beam_of(one), height_cm=one.height_cm, depth_cm=depth_cm, water=water)
        lamp = np.array([(one.x_cm, one.y_cm, one.ppf_umol_s)], dtype=np.float64)
        counts = _counts(one.size_cm, _longest(tank, lamp, one.size_cm, width))
        total += counts[0] * counts[1]
    return total


def _longest(tank: Tank, lamps: Floats, size: tuple[float, float], width_cm: float) -> float:
    """Longest piece [cm] for lamps (rows x, y, flux); shorter where one is near the rim."""
    to_rim = min(
        float(np.minimum(lamps[:, axis], extent - lamps[:, axis]).min()) - size[axis] / 2.0
        for axis, extent in enumerate((tank.length_cm, tank.width_cm))
    )
    low, high = _PIECE[0] * width_cm, _PIECE[1] * width_cm
    longest = max(0.25, min(low + max(to_rim, 0.0) / 2.0, high))
    shadow = max(_SHADOW_CM, max(size) / _SHADOW_PARTS) if max(size) else _SHADOW_APART_CM
    return min(longest, shadow) if tank.obstructed else longest


def _counts(size: tuple[float, float], longest_cm: float) -> tuple[int, int]:
    counts = [min(_MOST_PIECES, max(1, int(np.ceil(s / longest_cm)))) for s in size]
    return counts[0], counts[1]


def _cut(lamps: Floats, size: tuple[float, float], counts: tuple[int, int]) -> Floats:
    """Every lamp as counts[0] × counts[1] pieces of equal flux."""
    along, across = (
        ((np.arange(count) + 0.5) / count - 0.5) * extent
        for count, extent in zip(counts, size, strict=True)
    )
    steps = np.stack(np.meshgrid(along, across, indexing="ij"), axis=-1).reshape(-1, 2)
    rows = np.repeat(lamps, len(steps), axis=0)
    rows[:, :2] += np.tile(steps, (len(lamps), 1))
    rows[:, 2] /= len(steps)
    return rows


def gathered(points: Floats, longest_cm: float) -> tuple[Floats, tuple[float, float]]:
    """Gather points (rows x, y, flux) that share a square of side longest_cm.

    Each square's points become one at their centroid; the mean variance within the squares is
    given back as the sides of the rectangle that has it.
    """
    x, y, flux = points
    boxes = np.stack([_boxes(x, longest_cm), _boxes(y, longest_cm)])
    found, which = np.unique(boxes, axis=1, return_inverse=True)
    if found.shape[1] == x.size:
        return points, (0.0, 0.0)
    total = np.bincount(which, flux)
    centre_x, centre_y = (np.bincount(which, flux * v) / total for v in (x, y))
    spread = [
        float(np.sum(flux * (v - centre[which]) ** 2) / flux.sum())
        for v, centre in ((x, centre_x), (y, centre_y))
    ]
    return np.stack([centre_x, centre_y, total]), (
        float(np.sqrt(12.0 * spread[0])),
        float(np.sqrt(12.0 * spread[1])),
    )


def _boxes(values: Floats, longest_cm: float) -> NDArray[np.int64]:
    """Number of the stretch each value falls in: runs of close values first, then cut evenly.

    Cutting each run by itself keeps a lamp's emitters together instead of across a fixed grid.
    """
    order = np.argsort(values, kind="stable")
    ordered = values[order]
    run = np.concatenate([[0], np.cumsum(np.diff(ordered) > longest_cm)])
    first = ordered[np.searchsorted(run, run)]
    last = ordered[np.searchsorted(run, run, side="right") - 1]
    pieces = np.maximum(1, np.ceil((last - first) / longest_cm))
    share = np.where(last > first, (ordered - first) / np.maximum(last - first, 1e-9), 0.0)
    box = np.minimum(np.floor(share * pieces), pieces - 1)
    number = np.empty(values.size, dtype=np.int64)
    number[order] = run * 100_000 + box.astype(np.int64)
    return number
