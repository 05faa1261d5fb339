"""What stands folded away under the verdict: which factors were applied, and every number used."""

from server.db.measured import Survey
from server.models import Meter
from server.surveys.estimate import Known, MeasuredMap
from server.web import filters


def factors(survey: Survey, meters: dict[int, Meter]) -> tuple[str, str]:
    """Which sensor factors a session's readings were multiplied by, said once per session."""
    session = survey.session
    meter = meters.get(session.meter_id or 0)
    with_what = f", {meter.name}" if meter else ""
    head = f"Readings of {filters.day(session.taken_on)}{with_what}"
    immersion, calibration = session.immersion_factor, session.calibration_factor
    if immersion == 1.0 and calibration == 1.0:
        return head, "taken as the meter showed them: immersion and calibration factor are both 1"
    return head, (
        f"multiplied once by immersion factor {immersion:g} and calibration factor "
        f"{calibration:g}; the display's own value is kept beside"
    )


def worked_out(found: MeasuredMap) -> tuple[tuple[str, str], ...]:
    """Every number of the fit beside what was stated."""
    fit, plan = found.fit, found.plan
    rows = [
        ("Output of the lamps", f"{_percent(fit.output_factor)} of what is stated"),
        (
            "Absorption of the water",
            f"{_known(fit.absorption_per_m, 2)} per metre; stated {plan.absorption_per_m:.2f}",
        ),
        ("Height of the lamps", f"{_signed(fit.height_error_cm)} cm from what is stated"),
    ]
    if fit.beam_deg is not None and plan.beam_deg is not None:
        rows.insert(1, ("Beam", f"{_known(fit.beam_deg)}°; stated {plan.beam_deg:.0f}°"))
    rows += [
        (f"Light the {side} wall fails to return", _percent(loss))
        for side, loss in fit.wall_loss.items()
    ]
    rows += [
        ("Error of one reading, as learnt", f"{fit.reading_error_percent:.1f} %"),
        ("What no number explains, as learnt", f"{fit.remainder_percent:.1f} %"),
    ]
    return tuple(rows)


def _known(one: Known, digits: int = 0) -> str:
    low, high = filters.number(one.low, digits), filters.number(one.high, digits)
    return f"{filters.number(one.value, digits)} ({low} to {high})"


def _percent(one: Known) -> str:
    low, high = filters.number(100 * one.low), filters.number(100 * one.high)
    return f"{filters.number(100 * one.value)} % ({low} to {high} %)"


def _signed(one: Known) -> str:
    return _known(one, 1)
