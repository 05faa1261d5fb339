"""Over generated tanks and lamps of every control: no page or address proposes what cannot be."""

import html
import os
import re
from collections.abc import Callable
from datetime import date
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
from fastapi.testclient import TestClient

from server.db import members, tanks
from server.db.engine import Database
from server.models import LampModel, Member
from tests.conftest import Cast

SEEDS = range(200 if os.environ.get("UNDERLAMP_LONG") == "1" else 3)
KINDS = ("led_cluster", "led_panel", "fluorescent_tube", "metal_halide", "mixed")
CONTROLS = ("by_hand", "clock_switch", "programs", "full")
RANGES = ((30, 120), (80, 200), (120, 240), (200, 350))


def dims(row: LampModel) -> str:
    """Told here anew: what is stated counts, else tubes, halides and switches do not dim."""
    fixed = row.kind in ("fluorescent_tube", "metal_halide")
    if row.dims:
        return row.dims
    if fixed or row.control in ("by_hand", "clock_switch"):
        return "no"
    return "steps" if row.control == "programs" else "smooth"


def assert_can(row: LampModel, power: float, height_cm: float, headroom_cm: float | None) -> None:
    kind = dims(row)
    if kind == "no":
        assert power in (0.0, 1.0)
    elif power:
        step = (row.step_percent or {"steps": 5.0, "smooth": 1.0}[kind]) / 100
        assert power >= (row.least_percent or 10.0) / 100 - 1e-6
        assert power == 1.0 or abs(power / step - round(power / step)) < 1e-3
    low = row.min_height_cm or 15.0
    high = row.max_height_cm or max(60.0, low)
    high = high if headroom_cm is None else min(high, headroom_cm)
    assert low - 0.06 <= height_cm <= high + 0.06


class Made:
    """One generated tank on a member's account, its lamp models by id."""

    def __init__(self, club: Database, cast: Cast, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.sides = (float(rng.integers(60, 180)), float(rng.integers(40, 70)))
        self.headroom = float(rng.integers(30, 70)) if rng.random() < 0.5 else None
        with club.write() as db:
            self.models = {}
            for n in range(3):
                row = self._model(rng, n)
                db.add(row)
                db.flush()
                self.models[row.id] = LampModel(**row.model_dump())
            words = tanks.TankWords(
                name="Generated", length_cm=self.sides[0], width_cm=self.sides[1],
                depth_cm=float(rng.integers(35, 60)), headroom_cm=self.headroom,
            )  # fmt: skip
            tank = tanks.add_tank(db, owner_id=cast.ivo.id, words=words)
            self.tank_id = tank.id
            self.places = [self._place(rng, n) for n in range(int(rng.integers(1, 3)))]
            setup = tanks.save_setup(
                db, tank_id=tank.id, lamps=self.places, since=date(2026, 5, 1), reason="first"
            )
            self.setup_id = setup.id
            for n in range(int(rng.integers(1, 5))):
                low, high = RANGES[int(rng.integers(len(RANGES)))]
                animal = tanks.AnimalWords(
                    name=f"Animal {n}", group="other", x_cm=float(rng.uniform(5, 55)),
                    y_cm=float(rng.uniform(5, 35)), depth_cm=float(rng.uniform(8, 33)),
                    low_ppfd=low, high_ppfd=high, range_source="", placed_on=date(2026, 5, 1),
                )  # fmt: skip
                tanks.add_animal(db, tank.id, animal)

    def _model(self, rng: np.random.Generator, n: int) -> LampModel:
        kind = KINDS[int(rng.integers(len(KINDS)))]
        stated = ("", "", "no", "steps", "smooth")[int(rng.integers(5))]
        low = float(rng.integers(8, 25))
        return LampModel(
            name=f"Made {n}", kind=kind, beam_deg=float(rng.integers(70, 120)),
            watts=float(rng.integers(40, 200)), ppf_umol_s=float(rng.integers(60, 400)),
            tube_length_cm=float(rng.integers(30, 150)) if kind == "fluorescent_tube" else None,
            control=CONTROLS[int(rng.integers(len(CONTROLS)))], dims=stated,
            least_percent=float(rng.choice([5.0, 20.0])) if stated == "smooth" else None,
            min_height_cm=low, max_height_cm=low + float(rng.integers(0, 30)),
            created_at=members.now(),
        )  # fmt: skip

    def _place(self, rng: np.random.Generator, n: int) -> tanks.LampPlace:
        model = list(self.models)[int(rng.integers(3))]
        row = self.models[model]
        power = 1.0 if dims(row) == "no" else float(rng.choice([0.5, 0.75, 1.0]))
        return tanks.LampPlace(
            lamp_model_id=model, x_cm=20.0 + 35 * n, y_cm=20.0, power=power,
            height_cm=min(row.min_height_cm or 20.0, self.headroom or 99.0),
        )  # fmt: skip

    def assert_lamps(self, addresses: list[str]) -> None:
        """Lamps as they stand in addresses: model,x,y,height,power[,turned]."""
        for text in addresses:
            model, _, _, height, power = (float(part) for part in text.split(",")[:5])
            row = self.models[int(model)]
            if any(
                p.lamp_model_id == int(model) and abs(p.height_cm - height) < 0.06
                for p in self.places
            ):
                assert dims(row) != "no" or power in (0.0, 1.0)
                continue
            assert_can(row, power, height, self.headroom)


def lamps_in(page: str) -> list[str]:
    """Every lamp written in a page: in its hidden fields and in addresses that it links to."""
    found = re.findall(r'name="lamp" value="([^"]*)"', page)
    for link in re.findall(r'href="([^"]*what-if\?[^"]*)"', page):
        found += parse_qs(urlsplit(html.unescape(link)).query).get("lamp", [])
    return found


@pytest.mark.parametrize("seed", SEEDS)
def test_no_page_or_address_leaves_what_the_lamps_can_do(
    ivo: TestClient,
    club: Database,
    cast: Cast,
    token_of: Callable[[Member], dict[str, str]],
    seed: int,
) -> None:
    made = Made(club, cast, seed)
    here = f"/tanks/{made.tank_id}"
    which = ivo.get(f"{here}/which-lamp")
    assert which.status_code == 200
    made.assert_lamps(lamps_in(which.text))
    for model in made.models:
        for query in ("solve=yes", f"swap={model}&solve=yes", f"add={model}", f"swap={model}"):
            tried = ivo.get(f"{here}/what-if?{query}")
            assert tried.status_code in (200, 422)
            made.assert_lamps(lamps_in(tried.text))
    told = ivo.get(f"/api/tanks/{made.tank_id}/account", headers=token_of(cast.ivo)).json()
    assert told["proposal"] is not None or told["why_none"]
    for page in (f"{here}/plan", f"{here}/measured", here):
        assert_addresses(made, ivo.get(page).text)


def assert_addresses(made: Made, page: str) -> None:
    """The plan page with a proposal tried: p0, h0, x0, y0 for each lamp that changes."""
    for link in re.findall(r'href="([^"]*/plan\?[^"]*)"', page):
        typed = parse_qs(urlsplit(html.unescape(link)).query)
        for n, place in enumerate(made.places):
            row = made.models[place.lamp_model_id]
            if f"p{n}" in typed:
                assert_can(row, float(typed[f"p{n}"][0]) / 100, row.min_height_cm or 20, None)
            if f"h{n}" in typed:
                assert_can(row, 1.0, float(typed[f"h{n}"][0]), made.headroom)
            if f"x{n}" in typed:
                assert 0 <= float(typed[f"x{n}"][0]) <= made.sides[0]
