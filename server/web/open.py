"""Opening things for the one who asks: theirs, shown to them, or not there at all.

A route that has an id in its path takes one of these in its signature; a test refuses it
otherwise. What is not yours is a 404, like what does not exist, so that nobody can find out by
trying numbers.
"""

from typing import Annotated, NamedTuple, TypeVar

from fastapi import Depends, Path
from sqlmodel import Session

from server.db import days, lamps, loans, members, messages, meters, surveys, tanks, uploads
from server.models import (
    AccessToken,
    Invitation,
    LampChannel,
    LampModel,
    Loan,
    LoanRequest,
    MeasurementSession,
    Member,
    Meter,
    MeterRest,
    OutgoingMail,
    Reading,
    Schedule,
    Setup,
    SignIn,
    Tank,
    Upload,
)
from server.web.ask import Ask, Asked, TokenAsk
from server.web.signed_in import NotFound, Steward

T = TypeVar("T", Loan, LoanRequest)

Id = Annotated[int, Path(ge=1, le=2**31 - 1)]
"""An id in an address: no larger than what either database can hold."""


# Tanks


def tank_to_see(db: Session, who: Member, tank_id: int) -> Tank:
    """The tank, own or shared. Raises NotFound for any other."""
    tank = tanks.tank_seen(db, tank_id, who.id)
    if tank is None:
        raise NotFound("There is no such tank, or it is not shown to you.")
    return tank


def own_tank(db: Session, who: Member, tank_id: int) -> Tank:
    """The member's own tank. Raises NotFound for any other, also for a shared one."""
    tank = tank_to_see(db, who, tank_id)
    if tank.owner_id != who.id:
        raise NotFound("There is no such tank of yours. Only its keeper changes a tank.")
    return tank


def seen_tank_asked(ask: Ask, tank_id: int) -> Tank:
    with ask.read() as db:
        return tank_to_see(db, ask.who, tank_id)


def own_tank_asked(ask: Ask, tank_id: int) -> Tank:
    with ask.read() as db:
        return own_tank(db, ask.who, tank_id)


def tokens_own_tank_asked(ask: TokenAsk, tank_id: int) -> Tank:
    with ask.read() as db:
        return own_tank(db, ask.who, tank_id)


def tokens_seen_tank_asked(ask: TokenAsk, tank_id: int) -> Tank:
    with ask.read() as db:
        return tank_to_see(db, ask.who, tank_id)


SeenTank = Annotated[Tank, Depends(seen_tank_asked)]
OwnTank = Annotated[Tank, Depends(own_tank_asked)]
TokensOwnTank = Annotated[Tank, Depends(tokens_own_tank_asked)]
TokensSeenTank = Annotated[Tank, Depends(tokens_seen_tank_asked)]


# Setups


class SetupOfTank(NamedTuple):
    """A setup with the tank it belongs to."""

    setup: Setup
    tank: Tank


def setup_to_see(db: Session, who: Member, setup_id: int) -> tuple[Setup, Tank]:
    """A setup with its tank, own or shared. Raises NotFound for any other."""
    found = tanks.setup_seen(db, setup_id, who.id)
    if found is None:
        raise NotFound("There is no such setup, or it is not shown to you.")
    return found


def own_setup(db: Session, who: Member, setup_id: int) -> tuple[Setup, Tank]:
    """A setup of the member's own tank. Raises NotFound for any other."""
    setup, tank = setup_to_see(db, who, setup_id)
    if tank.owner_id != who.id:
        raise NotFound("There is no such setup of yours. Only its keeper changes a tank.")
    return setup, tank


def seen_setup_asked(ask: Ask, setup_id: int) -> SetupOfTank:
    with ask.read() as db:
        return SetupOfTank(*setup_to_see(db, ask.who, setup_id))


def own_setup_asked(ask: Ask, setup_id: int) -> SetupOfTank:
    with ask.read() as db:
        return SetupOfTank(*own_setup(db, ask.who, setup_id))


SeenSetup = Annotated[SetupOfTank, Depends(seen_setup_asked)]
OwnSetup = Annotated[SetupOfTank, Depends(own_setup_asked)]


# Days drawn up


def own_day_plan_asked(ask: Ask, tank: OwnTank, schedule_id: Id) -> Schedule:
    with ask.read() as db:
        plan = days.schedule_in(db, tank.id, schedule_id)
    if plan is None or plan.state != "plan":
        raise NotFound("There is no such planned day.")
    return plan


OwnDayPlan = Annotated[Schedule, Depends(own_day_plan_asked)]
"""A day of the member's own tank that is planned and does not run yet."""


# Measurement sessions


class SessionOfTank(NamedTuple):
    """A measurement session with the tank it was taken in."""

    session: MeasurementSession
    tank: Tank


def session_to_see(db: Session, who: Member, session_id: int) -> tuple[MeasurementSession, Tank]:
    """The session and its tank, own or shared. Raises NotFound for any other."""
    found = surveys.session_seen(db, session_id, who.id)
    if found is None:
        raise NotFound("There is no such measurement session, or it is not shown to you.")
    return found


def own_session(db: Session, who: Member, session_id: int) -> tuple[MeasurementSession, Tank]:
    """A session of the member's own tank. Raises NotFound for any other."""
    session, tank = session_to_see(db, who, session_id)
    if tank.owner_id != who.id:
        raise NotFound("There are no such readings of yours. Only their keeper changes them.")
    return session, tank


def seen_session_asked(ask: Ask, session_id: int) -> SessionOfTank:
    with ask.read() as db:
        return SessionOfTank(*session_to_see(db, ask.who, session_id))


def own_session_asked(ask: Ask, session_id: int) -> SessionOfTank:
    with ask.read() as db:
        return SessionOfTank(*own_session(db, ask.who, session_id))


def tokens_seen_session_asked(ask: TokenAsk, session_id: int) -> SessionOfTank:
    with ask.read() as db:
        return SessionOfTank(*session_to_see(db, ask.who, session_id))


SeenSession = Annotated[SessionOfTank, Depends(seen_session_asked)]
OwnSession = Annotated[SessionOfTank, Depends(own_session_asked)]
TokensSeenSession = Annotated[SessionOfTank, Depends(tokens_seen_session_asked)]


def own_reading_asked(ask: Ask, opened: OwnSession, reading_id: Id) -> Reading:
    with ask.read() as db:
        found = surveys.reading_in(db, opened.session, reading_id)
    if found is None:
        raise NotFound("This session has no such reading.")
    return found


OwnReading = Annotated[Reading, Depends(own_reading_asked)]


# Files that wait to be stored


class UploadOfTank(NamedTuple):
    """A file that waits, with the tank it is for."""

    upload: Upload
    tank: Tank


def own_upload_asked(ask: Ask, upload_id: int) -> UploadOfTank:
    with ask.read() as db:
        upload = uploads.waiting_upload(db, upload_id, ask.who.id)
        if upload is None:
            raise NotFound("This file is stored already, or was let go.")
        return UploadOfTank(upload, own_tank(db, ask.who, upload.tank_id))


OwnUpload = Annotated[UploadOfTank, Depends(own_upload_asked)]


# Lamps


class ChannelOfLamp(NamedTuple):
    """A channel with the lamp it belongs to."""

    channel: LampChannel
    lamp: LampModel


def may_change(who: Member, lamp: LampModel) -> bool:
    """Whoever added a lamp, and stewards."""
    return who.role == "steward" or lamp.created_by_id == who.id


def known_lamp_asked(ask: Ask, lamp_id: int) -> LampModel:
    with ask.read() as db:
        lamp = lamps.lamp(db, lamp_id)
    if lamp is None:
        raise NotFound("There is no such lamp on the shelf.")
    return lamp


def own_lamp_asked(ask: Ask, lamp_id: int) -> LampModel:
    lamp = known_lamp_asked(ask, lamp_id)
    if lamp.merged_into_id is not None:
        raise NotFound("This lamp was merged into another one.")
    if not may_change(ask.who, lamp):
        raise NotFound("Only the member who added this lamp, or a steward, can change it.")
    return lamp


OwnLamp = Annotated[LampModel, Depends(own_lamp_asked)]
"""A lamp this member may change; everybody may look at the shelf."""


def own_channel_asked(ask: Ask, lamp: OwnLamp, channel_id: int) -> ChannelOfLamp:
    with ask.read() as db:
        channel = lamps.channel(db, lamp.id, channel_id)
    if channel is None:
        raise NotFound("This lamp has no such channel.")
    return ChannelOfLamp(channel, lamp)


KnownLamp = Annotated[LampModel, Depends(known_lamp_asked)]
OwnChannel = Annotated[ChannelOfLamp, Depends(own_channel_asked)]


# People


def own_sign_in_asked(ask: Ask, sign_in_id: Id) -> SignIn:
    with ask.read() as db:
        found = members.sign_in_of(db, ask.who.id, sign_in_id)
    if found is None:
        raise NotFound
    return found


def own_access_token_asked(ask: Ask, token_id: Id) -> AccessToken:
    with ask.read() as db:
        found = members.access_token_of(db, ask.who.id, token_id)
    if found is None:
        raise NotFound
    return found


def member_here_asked(ask: Ask, member_id: Id) -> Member:
    with ask.read() as db:
        found = members.member_here(db, member_id)
    if found is None:
        raise NotFound
    return found


def open_invitation_asked(ask: Ask, who: Steward, invitation_id: Id) -> Invitation:
    with ask.read() as db:
        found = members.invitation(db, invitation_id)
    if found is None:
        raise NotFound
    return found


OwnSignIn = Annotated[SignIn, Depends(own_sign_in_asked)]
OwnAccessToken = Annotated[AccessToken, Depends(own_access_token_asked)]
MemberHere = Annotated[Member, Depends(member_here_asked)]
"""A member who has not left; what may be done to them, the route's own rule says."""
OpenInvitation = Annotated[Invitation, Depends(open_invitation_asked)]
"""An invitation of the club, for stewards."""


# Meters and their days


def meter_asked(ask: Ask, meter_id: Id) -> Meter:
    return _meter(ask, meter_id)


def tokens_meter_asked(ask: TokenAsk, meter_id: Id) -> Meter:
    return _meter(ask, meter_id)


def loan_asked(ask: Ask, loan_id: Id) -> Loan:
    return _loan(ask, loan_id)


def own_loan_asked(ask: Ask, loan_id: Id) -> Loan:
    return _own(ask, _loan(ask, loan_id))


def tokens_own_loan_asked(ask: TokenAsk, loan_id: Id) -> Loan:
    return _own(ask, _loan(ask, loan_id))


def request_asked(ask: Ask, who: Steward, request_id: Id) -> LoanRequest:
    return _request(ask, request_id)


def own_request_asked(ask: Ask, request_id: Id) -> LoanRequest:
    return _own(ask, _request(ask, request_id))


def rest_asked(ask: Ask, who: Steward, meter_id: Id, rest_id: Id) -> MeterRest:
    with ask.read() as db:
        found = meters.rest(db, rest_id)
    if found is None or found.meter_id != meter_id:
        raise NotFound("This meter has no such rest.")
    return found


def mail_asked(ask: Ask, who: Steward, mail_id: Id) -> OutgoingMail:
    with ask.read() as db:
        found = messages.mail(db, mail_id)
    if found is None:
        raise NotFound
    return found


def _meter(ask: Asked, meter_id: int) -> Meter:
    with ask.read() as db:
        found = meters.meter(db, meter_id)
    if found is None:
        raise NotFound("There is no such meter.")
    return found


def _loan(ask: Asked, loan_id: int) -> Loan:
    with ask.read() as db:
        found = loans.loan(db, loan_id)
    if found is None:
        raise NotFound("There is no such loan, or it is not yours.")
    return found


def _request(ask: Asked, request_id: int) -> LoanRequest:
    with ask.read() as db:
        found = loans.request(db, request_id)
    if found is None:
        raise NotFound("There is no such place in a queue, or it is not yours.")
    return found


def _own(ask: Asked, row: T) -> T:
    """Days of somebody else are not there."""
    if row.member_id != ask.who.id:
        raise NotFound("There is no such loan, or it is not yours.")
    return row


ClubMeter = Annotated[Meter, Depends(meter_asked)]
"""A meter of the club: every member may look at it and ask for its days."""
TokensMeter = Annotated[Meter, Depends(tokens_meter_asked)]
SeenLoan = Annotated[Loan, Depends(loan_asked)]
"""Days of a meter: every member sees who has which."""
OwnLoan = Annotated[Loan, Depends(own_loan_asked)]
TokensOwnLoan = Annotated[Loan, Depends(tokens_own_loan_asked)]
OwnRequest = Annotated[LoanRequest, Depends(own_request_asked)]
AnyRequest = Annotated[LoanRequest, Depends(request_asked)]
"""A place in a queue, for stewards; so are the two below."""
AnyRest = Annotated[MeterRest, Depends(rest_asked)]
AnyMail = Annotated[OutgoingMail, Depends(mail_asked)]
