"""A plain photon tracer: follows photons one by one and shares no short cut with the engine.

Photons carry a weight. At the water's surface, at glass and on diffuse faces the weight is
multiplied by what is passed or returned; faint photons are played off (Russian roulette), which
leaves every mean unchanged. Fields are cell averages over level planes with standard errors from
independent batches.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from server.optics.emitters import Emitter
from server.optics.photometry import cosine_power
from server.optics.tank import Tank, Water

Floats = NDArray[np.float64]


@dataclass
class Traced:
    """depths × ny × nx fields with standard errors; where the light went, as shares of emitted."""

    ppfd: Floats
    se: Floats
    share_into_water: float
    fate: dict[str, float] = field(default_factory=dict)


def fresnel(cosine: Floats, n_from: float, n_to: float) -> tuple[Floats, Floats]:
    """Reflectance of both polarisations, written straight from the angles."""
    inside = np.arccos(np.clip(cosine, 0.0, 1.0))
    sine = n_from / n_to * np.sin(inside)
    total = sine >= 1.0
    outside = np.arcsin(np.clip(sine, 0.0, 1.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        rs = (np.sin(inside - outside) / np.sin(inside + outside)) ** 2
        rp = (np.tan(inside - outside) / np.tan(inside + outside)) ** 2
    level = ((n_from - n_to) / (n_from + n_to)) ** 2
    rs, rp = (np.where(inside < 1e-6, level, r) for r in (rs, rp))
    return np.where(total, 1.0, np.nan_to_num(rs)), np.where(total, 1.0, np.nan_to_num(rp))


def surface_reflectance(cosine: Floats, n_from: float, n_to: float) -> Floats:
    return sum(fresnel(cosine, n_from, n_to)) / 2


def sheet_reflectance(cosine: Floats, n_from: float, n_beyond: float) -> Floats:
    """Glass sheet as a sum over inner bounces, forty of them, without the geometric series."""
    sine = np.sqrt(np.maximum(1 - cosine**2, 0)) * n_from / 1.52
    within = np.sqrt(np.maximum(1 - sine**2, 0))
    total = np.zeros_like(cosine)
    for first, second in zip(
        fresnel(cosine, n_from, 1.52), fresnel(within, 1.52, n_beyond), strict=True
    ):
        back, ray = first.copy(), (1 - first) * second
        for _ in range(400):
            back += ray * (1 - first)
            ray = ray * first * second
        total += np.where(second >= 1.0, 1.0, back)
    return np.minimum(total / 2, 1.0)


def trace(
    tank: Tank,
    water: Water,
    emitters: Sequence[Emitter],
    *,
    depths_cm: Sequence[float],
    cells: tuple[int, int],
    photons: int,
    seed: int = 1,
    batches: int = 20,
) -> Traced:
    """Follow `photons` photons in batches; cells = (nx, ny)."""
    rng = np.random.default_rng(seed)
    fields = [
        _Batch(tank, water, emitters, depths_cm, cells, photons // batches, rng).run()
        for _ in range(batches)
    ]
    stack = np.array([batch.ppfd for batch in fields])
    fate = {key: float(np.mean([b.fate[key] for b in fields])) for key in fields[0].fate}
    return Traced(
        ppfd=stack.mean(axis=0),
        se=stack.std(axis=0, ddof=1) / np.sqrt(batches),
        share_into_water=fate["entered"],
        fate=fate,
    )


_TABLE = np.linspace(0.0, 1.0, 20001)


@lru_cache(maxsize=8)
def _mirrors(n: float) -> tuple[Floats, Floats]:
    return sheet_reflectance(_TABLE, n, 1.0), surface_reflectance(_TABLE, n, 1.0)


def leaning(vectors: Floats, tilt_deg: float, toward_deg: float) -> Floats:
    """Vectors (3, n) of a lamp that faced down, turned with it: in steps of plain rotations."""
    turn, tilt = np.radians(toward_deg), np.radians(tilt_deg)
    x = vectors[0] * np.cos(turn) + vectors[1] * np.sin(turn)
    y = vectors[1] * np.cos(turn) - vectors[0] * np.sin(turn)
    x, z = (
        x * np.cos(tilt) - vectors[2] * np.sin(tilt),
        x * np.sin(tilt) + vectors[2] * np.cos(tilt),
    )
    return np.stack([x * np.cos(turn) - y * np.sin(turn), y * np.cos(turn) + x * np.sin(turn), z])


class _Batch:
    def __init__(self, tank, water, emitters, depths_cm, cells, photons, rng):
        self.tank, self.water, self.emitters = tank, water, emitters
        self.depths, self.cells, self.photons, self.rng = depths_cm, cells, photons, rng
        self.size = np.array([tank.length_cm, tank.width_cm, tank.depth_cm])
        self.counts = np.zeros((len(depths_cm), cells[1], cells[0]))
        self.fate = dict.fromkeys(
            ("entered", "water", "floor", "walls", "rocks", "out_of_walls", "out_of_surface"), 0.0
        )
        self.glass, self.skin = _mirrors(water.refractive_index)

    def run(self):
        emitted = sum(e.ppf_umol_s for e in self.emitters)
        for emitter in self.emitters:
            part = round(self.photons * emitter.ppf_umol_s / emitted)
            if part:
                self._follow(*self._enter(emitter, part, emitter.ppf_umol_s / part))
        area = self.size[0] * self.size[1] / (self.cells[0] * self.cells[1])
        self.ppfd = self.counts / area * 1e4
        self.fate = {key: value / emitted for key, value in self.fate.items()}
        return self

    def _enter(self, emitter, count, each):
        rng, n = self.rng, self.water.refractive_index
        long, wide = emitter.size_cm
        along, across = (rng.random(count) - 0.5) * long, (rng.random(count) - 0.5) * wide
        weight = np.full(count, each * self.tank.lid)
        phi = 2 * np.pi * rng.random(count)
        if emitter.intensity is None:
            cosine = rng.random(count) ** (1 / (cosine_power(emitter.beam_deg) + 1))
        else:
            cosine = rng.random(count)
            theta = np.degrees(np.arccos(cosine))
            weight *= emitter.intensity.per_flux(theta, np.degrees(phi)) * 2 * np.pi
        sine = np.sqrt(1 - cosine**2)
        own = np.stack([sine * np.cos(phi), sine * np.sin(phi), -cosine])
        out, spot = (
            leaning(v, emitter.tilt_deg, emitter.toward_deg)
            for v in (own, np.stack([along, across, np.zeros(count)]))
        )
        cosine = np.maximum(-out[2], 1e-9)
        sine, phi = np.hypot(out[0], out[1]), np.arctan2(out[1], out[0])
        height = emitter.height_cm + spot[2]
        x = emitter.x_cm + spot[0] + height * out[0] / cosine
        y = emitter.y_cm + spot[1] + height * out[1] / cosine
        inside = (x > 0) & (x < self.size[0]) & (y > 0) & (y < self.size[1]) & (out[2] < 0)
        inside &= ~self._under_brace(x, y)
        x, y, cosine, sine, phi, weight = (a[inside] for a in (x, y, cosine, sine, phi, weight))
        weight = weight * (1 - surface_reflectance(cosine, 1.0, n))
        if self.tank.cover:
            weight *= 1 - sheet_reflectance(cosine, 1.0, 1.0)
        self.fate["entered"] += weight.sum()
        down = np.sqrt(1 - (sine / n) ** 2)
        place = np.stack([x, y, np.zeros_like(x)])
        way = np.stack([sine / n * np.cos(phi), sine / n * np.sin(phi), down])
        absorption = emitter.absorption or self.water.absorption
        shares = np.array([share for share, _ in absorption])
        fade = np.array([a for _, a in absorption])[
            rng.choice(len(shares), x.size, p=shares / shares.sum())
        ]
        return place, way, weight, fade / 100, each

    def _follow(self, place, way, weight, fade, each):
        size = self.size[:, None]
        while weight.size:
            with np.errstate(divide="ignore"):
                ahead = np.where(way > 0, (size - place) / way, -place / way)
            ahead = np.where(way == 0, np.inf, ahead)
            axis = ahead.argmin(axis=0)
            length = np.maximum(ahead.min(axis=0), 0.0)
            rock, rock_axis, length = self._first_rock(place, way, length)
            self._count(place, way, weight, fade, length)
            after = weight * np.exp(-fade * length)
            self.fate["water"] += (weight - after).sum()
            place, weight = place + way * length, after
            place = np.clip(place, 0.0, size)
            before, on_rock = weight.copy(), rock >= 0
            turned = way.copy()
            weight = self._meet(place, way, weight, np.where(on_rock, -1, axis))
            if on_rock.any():
                way[:, on_rock] = turned[:, on_rock]
                albedo = np.array([r.albedo for r in self.tank.rocks])[rock[on_rock]]
                self.fate["rocks"] += (before[on_rock] * (1 - albedo)).sum()
                weight[on_rock] = before[on_rock] * albedo
                for a in range(3):
                    for sign in (-1.0, 1.0):
                        here = on_rock & (rock_axis == a) & (np.sign(turned[a]) == -sign)
                        self._scatter(way, here, a, sign)
            place, way, weight, fade = self._play_off(place, way, weight, fade, each)

    def _film(self, axis, high):
        film = self.tank.film
        return ((film.left, film.right), (film.front, film.back))[axis][high]

    def _under_brace(self, x, y):
        under = np.zeros(x.shape, dtype=bool)
        for b in self.tank.braces:
            under |= (x > b.left_cm) & (x < b.right_cm) & (y > b.front_cm) & (y < b.back_cm)
        return under

    def _first_rock(self, place, way, length):
        """Number of the first rock on each leg and the axis of the face met; −1 where none."""
        rock, axis = np.full(length.size, -1), np.zeros(length.size, dtype=int)
        for number, r in enumerate(self.tank.rocks):
            bottom = self.size[2] if r.bottom_cm is None else r.bottom_cm
            low = np.array([[r.left_cm], [r.front_cm], [r.top_cm]])
            high = np.array([[r.right_cm], [r.back_cm], [bottom]])
            with np.errstate(divide="ignore", invalid="ignore"):
                one, other = (low - place) / way, (high - place) / way
            enters, leaves = np.minimum(one, other), np.maximum(one, other)
            near, far = enters.max(axis=0), leaves.min(axis=0)
            hit = (near < far) & (near > 1e-7) & (near < length)
            length = np.where(hit, near, length)
            rock[hit], axis[hit] = number, enters.argmax(axis=0)[hit]
        return rock, axis, length

    def _count(self, place, way, weight, fade, length):
        nx, ny = self.cells
        for k, depth in enumerate(self.depths):
            with np.errstate(divide="ignore", invalid="ignore"):
                s = (depth - place[2]) / way[2]
            hit = (way[2] > 0) & (s >= 0) & (s < length)
            x, y = (place[i][hit] + way[i][hit] * s[hit] for i in (0, 1))
            ix = np.clip((x / self.size[0] * nx).astype(int), 0, nx - 1)
            iy = np.clip((y / self.size[1] * ny).astype(int), 0, ny - 1)
            left = weight[hit] * np.exp(-fade[hit] * s[hit])
            self.counts[k] += np.bincount(iy * nx + ix, left, nx * ny).reshape(ny, nx)

    def _meet(self, place, way, weight, axis):
        walls = self.tank.walls
        sides = (((walls.left, walls.right), 0), ((walls.front, walls.back), 1))
        weight, upwards = weight.copy(), way > 0
        for pair, a in sides:
            for high, kind in enumerate(pair):
                here = (axis == a) & (upwards[a] == bool(high))
                if kind == "clear":
                    back = np.interp(np.abs(way[a][here]), _TABLE, self.glass)
                    back = back * self._film(a, high) ** 2
                    self._lose("out_of_walls", weight, here, back)
                    way[a, here] *= -1
                else:
                    albedo = 0.0 if kind == "black" else float(kind)
                    self._lose("walls", weight, here, albedo)
                    self._scatter(way, here, a, -1.0 if high else 1.0)
        floor = (axis == 2) & upwards[2]
        surface = (axis == 2) & ~floor
        self._lose("floor", weight, floor, self.tank.floor_albedo)
        self._scatter(way, floor, 2, -1.0)
        back = np.interp(np.abs(way[2][surface]), _TABLE, self.skin)
        back[self._under_brace(place[0][surface], place[1][surface])] = 0.0
        self._lose("out_of_surface", weight, surface, back)
        way[2, surface] *= -1
        return weight

    def _lose(self, name, weight, here, back):
        self.fate[name] += (weight[here] * (1 - back)).sum()
        weight[here] *= back

    def _scatter(self, way, here, axis, sign):
        count = int(here.sum())
        if not count:
            return
        up = np.sqrt(self.rng.random(count))
        side, phi = np.sqrt(1 - up**2), 2 * np.pi * self.rng.random(count)
        others = [a for a in range(3) if a != axis]
        way[axis, here] = sign * up
        way[others[0], here] = side * np.cos(phi)
        way[others[1], here] = side * np.sin(phi)

    def _play_off(self, place, way, weight, fade, each):
        faint = weight < 0.2 * each
        lucky = self.rng.random(weight.size) < weight / (0.4 * each)
        weight = np.where(faint & lucky, 0.4 * each, weight)
        stay = ~faint | lucky
        return place[:, stay], way[:, stay], weight[stay], fade[stay]
