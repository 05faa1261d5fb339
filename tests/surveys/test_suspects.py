"""What may be broken in a tank: each suspect against the engine, and what is said of it.

The light of a broken tank comes from the engine under changed numbers; nothing here is published.
The brute-force tanks of `test_faulty_tanks_study` share nothing with the engine.
"""

from dataclasses import replace

import numpy as np
import pytest

from server.surveys import changed, places, response, stories
from server.surveys.estimate import MeasuredMap, estimate
from server.surveys.findings import Finding, findings
from server.surveys.plan import Plan, Reading
from server.surveys.priors import Meters
from server.surveys.stories import Kind, Story, view
from tests.surveys.reef import read, reef, with_value

PLAN = reef()
ALL = (0, 1, 2)
SPREAD = places.even_grid(PLAN.tank, along=5, across=2, levels=2, edge=0.1)


def found_in(
    real: Plan, *, error: float = 0.03, seed: int = 3
) -> tuple[MeasuredMap, list[Finding]]:
    told = estimate(PLAN, read(real, SPREAD, error=error, seed=seed))
    return told, list(findings(told))


def leaning(plan: Plan) -> Plan:
    return changed.with_lean(plan, 8.0, 6.0)


def grown(plan: Plan) -> Plan:
    return replace(plan, tank=replace(plan.tank, film=replace(plan.tank.film, left=0.45)))


BROKEN = {
    "dead": (changed.with_output(PLAN, (1.0, 0.0, 1.0)), "lamp", "lamp 2", "out"),
    "weak": (changed.with_output(PLAN, (1.0, 1.0, 0.55)), "lamp", "lamp 3", "setting"),
    "moved": (changed.with_place(PLAN, 5.0, -4.0), "place", None, "measure"),
    "lens": (changed.with_wings(PLAN, 54.0, 0.4), "lens", None, "paper"),
    "lean": (leaning(PLAN), "lean", None, "spirit level"),
    "wall": (grown(PLAN), "wall", None, "finger"),
}


@pytest.mark.parametrize("what", BROKEN)
def test_what_is_broken_is_named_with_a_check_by_hand(what: str) -> None:
    real, kind, lamp, check = BROKEN[what]
    _, told = found_in(real)
    assert told and (told[0].kind, told[0].lamp) == (kind, lamp)
    assert 0.5 < told[0].chance <= 1 and check in told[0].words
    if kind == "wall":
        assert told[0].wall == "left"


@pytest.mark.parametrize("what", BROKEN)
def test_the_map_acts_on_it(what: str) -> None:
    """Error at other places, against the same with the suspect's tank taken as planned."""
    real = BROKEN[what][0]
    told, _ = found_in(real)
    elsewhere = places.even_grid(PLAN.tank, along=4, across=3, levels=3, edge=0.17)
    truth, planned = real.sensed(elsewhere), PLAN.sensed(elsewhere)
    off = np.median(np.abs(told.at(elsewhere).ppfd / truth - 1))
    assert off < 0.04
    assert off < np.median(np.abs(planned / truth - 1)) or what == "wall"


@pytest.mark.parametrize("seed", range(6))
def test_nothing_is_said_of_a_tank_as_planned(seed: int) -> None:
    factor = (0.8, 1.0, 1.25)[seed % 3]
    _, told = found_in(changed.with_output(PLAN, (factor,) * 3), error=0.04, seed=seed)
    assert told == []


def test_chances_of_all_stories_sum_to_one_before_any_reading() -> None:
    assert sum(story.prior for story in stories.stories(PLAN)) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("story", "real"),
    [
        (
            Story(kind=Kind.LAMP, lamp=1, prior=1, log_output=(0.0, stories.GONE, 0.0)),
            changed.with_output(PLAN, (1.0, 0.0, 1.0)),
        ),
        (
            Story(kind=Kind.WALL, side="left", prior=1, lost={"left": 1.0}),
            changed.with_wall(PLAN, "left", "black"),
        ),
        (
            Story(kind=Kind.PLACE, prior=1, who=ALL, aside=(3.0, 2.0, 1.0, 0.0, 0.0)),
            changed.with_height(changed.with_place(PLAN, 3.0, 2.0), 1.0),
        ),
        (
            Story(kind=Kind.LEAN, prior=1, who=ALL, aside=(0.0, 0.0, 0.0, 6.0, 0.0)),
            changed.with_lean(PLAN, 6.0, 0.0),
        ),
        (
            Story(kind=Kind.LENS, prior=1, wings=ALL),
            changed.with_wings(PLAN, response.WINGS_DEG[2], response.MIDDLE_DIP),
        ),
    ],
    ids=["dead", "black wall", "moved", "leaning", "wings"],
)
def test_a_story_tells_the_light_as_the_engine_does(story: Story, real: Plan) -> None:
    inside = places.even_grid(PLAN.tank, along=6, across=4, levels=3, edge=0.15)
    told = view(story, response.of(PLAN).at(inside), straight=False).log_plan
    off = np.abs(told - np.log(real.sensed(inside)))
    assert np.median(off) < 0.03 and np.percentile(off, 90) < 0.10


def test_looking_at_a_story_leaves_what_others_look_at() -> None:
    answers = response.of(PLAN).at(SPREAD)
    planned = stories.stories(PLAN)[0]
    before = view(planned, answers).log_at(np.array([-10.0, 10.0]))
    view(Story(kind=Kind.LENS, prior=1, wings=ALL), answers)
    after = view(planned, answers).log_at(np.array([-10.0, 10.0]))
    assert np.array_equal(before, after)
    with pytest.raises(ValueError, match="read-only"):
        answers.row("light")[0, 0] = 0.0


# Shade and mistakes


def in_a_corner() -> np.ndarray:
    return np.array([[x, y, d] for x in (8, 20) for y in (38, 46) for d in (25, 42)], dtype=float)


def shaded(readings: list[Reading], share: float) -> list[Reading]:
    """The same with the back left corner, below 20 cm, in the shade of something not drawn."""
    return [
        replace(r, ppfd=r.ppfd * share) if r.x_cm < 26 and r.y_cm > 34 and r.depth_cm > 20 else r
        for r in readings
    ]


@pytest.mark.parametrize("share", [0.5, 0.15, 0.02])
def test_neighbouring_low_readings_are_shade_and_spoil_nothing_else(share: float) -> None:
    points = np.concatenate([SPREAD, in_a_corner()[:4]])
    told = estimate(PLAN, shaded(read(PLAN, points, error=0.03, seed=2), share))
    kinds = {one.kind: one for one in findings(told)}
    assert "shade" in kinds and "back left" in kinds["shade"].words
    away = places.even_grid(PLAN.tank, along=4, across=2, levels=3, edge=0.3)
    away = away[away[:, 0] > 40]
    off = np.abs(told.at(away).ppfd / PLAN.sensed(away) - 1)
    assert np.median(off) < 0.04 and off.max() < 0.10


def test_between_shaded_readings_the_map_says_it_hardly_knows() -> None:
    points = np.concatenate([SPREAD, in_a_corner()[:4]])
    told = estimate(PLAN, shaded(read(PLAN, points, error=0.03, seed=2), 0.2))
    light = told.at(np.array([[14.0, 42.0, 32.0], [60.0, 20.0, 30.0]]))
    assert light.half_width[0] > 5 * light.half_width[1]
    assert light.ppfd[0] < 0.6 * PLAN.sensed(np.array([[14.0, 42.0, 32.0]]))[0]


@pytest.mark.parametrize("slip", [10.0, 0.1])
def test_a_slipped_digit_is_a_reading_and_not_shade(slip: float) -> None:
    good = read(PLAN, SPREAD, error=0.03, seed=4)
    told = list(findings(estimate(PLAN, with_value(good, 7, good[7].ppfd * slip))))
    assert [(one.kind, one.reading) for one in told] == [("reading", 7)]
    assert "once more" in told[0].words


# The meter


def test_a_meter_twenty_percent_low_is_held_by_its_stated_doubt() -> None:
    low = read(changed.with_output(PLAN, (0.8,) * 3), SPREAD, error=0.01)
    inside = places.even_grid(PLAN.tank, along=3, across=2, levels=2)
    truth = PLAN.sensed(inside)
    sure = estimate(PLAN, low).at(inside)
    unsure = estimate(PLAN, low, meters=Meters(unnamed=0.20)).at(inside)
    assert np.mean(sure.high < truth) > 0.9
    assert np.mean((unsure.low < truth) & (truth < unsure.high)) > 0.9


def test_two_meters_share_no_factor_and_two_sessions_of_one_do() -> None:
    """Two meters that are 8 % off by chance average out; one read twice does not."""
    one = read(PLAN, SPREAD, error=0.02)
    twice = [*(replace(r, meter="a") for r in one), *(replace(r, meter="a") for r in one)]
    both = [*(replace(r, meter="a") for r in one), *(replace(r, meter="b") for r in one)]
    inside = places.even_grid(PLAN.tank, along=3, across=2, levels=2)
    meters = Meters(unnamed=0.08)
    widths = [
        float(np.median(estimate(PLAN, told, meters=meters).at(inside).half_width))
        for told in (twice, both)
    ]
    assert widths[1] / widths[0] == pytest.approx(1 / np.sqrt(2), abs=0.08)


def test_a_meter_that_reads_otherwise_than_another_is_named() -> None:
    one = [replace(r, meter="blue one") for r in read(PLAN, SPREAD[:10], error=0.03)]
    other = [replace(r, meter="old one") for r in read(PLAN, SPREAD[10:], error=0.03, seed=2)]
    low = [replace(r, ppfd=0.7 * r.ppfd) for r in other]
    meters = Meters(unnamed=0.05, named={"blue one": 0.02})
    assert findings(estimate(PLAN, [*one, *other], meters=meters)) == ()
    (told,) = findings(estimate(PLAN, [*one, *low], meters=meters))
    assert told.kind == "sensor" and "old one" in told.words


def test_what_is_relative_does_not_pay_the_meters_factor() -> None:
    readings = read(PLAN, SPREAD, error=0.02)
    told = estimate(PLAN, readings, meters=Meters(unnamed=0.10))
    inside = places.even_grid(PLAN.tank, along=3, across=2, levels=2)
    sure = estimate(PLAN, readings).at(inside)
    assert np.allclose(told.relative.at(inside).half_width, sure.half_width)
    assert np.median(told.at(inside).half_width) > 2 * np.median(sure.half_width)


def test_no_wall_is_said_to_lose_more_than_all_its_light() -> None:
    for seed in range(5):
        told = estimate(PLAN, read(grown(PLAN), SPREAD, error=0.06, seed=seed))
        for loss in told.fit.wall_loss.values():
            assert 0 <= loss.low <= loss.value <= loss.high <= 1
