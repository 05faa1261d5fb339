"""Members, how they join, and how they stay signed in."""

from datetime import UTC, datetime, timedelta

from sqlmodel import Session, col, delete, func, select

from server.db import club_clock, secrets
from server.models import AccessToken, Club, Invitation, KnownBrowser, Member, SignIn

INVITATION_LIFE = timedelta(days=14)
SETUP_LIFE = timedelta(days=7)
RESET_LIFE = timedelta(hours=24)
SIGN_IN_LIFE = timedelta(days=30)
IDLE_LIFE = timedelta(days=14)
STEWARD_IDLE_LIFE = timedelta(days=2)
BROWSER_LIFE = timedelta(days=365)
MOST_BROWSERS = 20
_SEEN_EVERY = timedelta(minutes=10)  # not a write for every page


def now() -> datetime:
    return datetime.now(UTC)


# The club


def club_of(db: Session) -> Club | None:
    return db.get(Club, 1)


def is_set_up(db: Session) -> bool:
    return club_of(db) is not None


def change_club(
    db: Session, *, name: str, time_zone: str, currency: str, price_per_kwh: float
) -> None:
    """The club's own particulars, as a steward states them."""
    club = db.get_one(Club, 1)
    club.name, club.time_zone = name, time_zone
    club.currency, club.price_per_kwh = currency, price_per_kwh
    db.add(club)


def make_club(db: Session, *, name: str, time_zone: str, currency: str = "EUR") -> Club:
    club = Club(id=1, name=name, time_zone=time_zone, currency=currency, created_at=now())
    db.add(club)
    db.flush()
    return club


# People


def member_by_email(db: Session, email: str) -> Member | None:
    return db.exec(select(Member).where(Member.email == email.strip().lower())).first()


def member_by_feed(db: Session, secret: str) -> Member | None:
    """Whose calendar feed a secret address is; nobody's once they have left."""
    statement = select(Member).where(Member.feed_secret == secret, col(Member.left_at).is_(None))
    return db.exec(statement).first()


def all_members(db: Session) -> list[Member]:
    """Everybody who has not left, by name."""
    here = select(Member).where(col(Member.left_at).is_(None))
    return list(db.exec(here.order_by(func.lower(Member.name), col(Member.id))))


def some_members(db: Session, *, page: int, size: int, name: str = "") -> list[Member]:
    """A page of those who have not left, by name; one more than `size` when there are more."""
    here = select(Member).where(col(Member.left_at).is_(None))
    if name:
        here = here.where(func.lower(Member.name).contains(name.casefold(), autoescape=True))
    ordered = here.order_by(func.lower(Member.name), col(Member.id))
    return list(db.exec(ordered.offset((page - 1) * size).limit(size + 1)))


def steward_count(db: Session) -> int:
    stewards = select(func.count()).where(Member.role == "steward", col(Member.left_at).is_(None))
    return db.exec(stewards).one()


def add_member(
    db: Session, *, name: str, email: str, password_hash: str, role: str = "member"
) -> Member:
    member = Member(
        name=name.strip(),
        email=email.strip().lower(),
        password_hash=password_hash,
        role=role,
        feed_secret=secrets.new_token(),
        created_at=now(),
    )
    db.add(member)
    db.flush()
    return member


def member_here(db: Session, member_id: int | None) -> Member | None:
    """A member who has not left."""
    found = db.get(Member, member_id) if member_id is not None else None
    return None if found is None or found.left_at is not None else found


def set_preferences(
    db: Session, member_id: int, *, name: str, length_unit: str, volume_unit: str, clock: str
) -> None:
    member = db.get_one(Member, member_id)
    member.name, member.clock = name, clock
    member.length_unit, member.volume_unit = length_unit, volume_unit
    db.add(member)


def renew_feed(db: Session, member_id: int) -> bool:
    """A new secret address for a member's calendar; whether there was one before."""
    member = db.get_one(Member, member_id)
    had_one = member.feed_secret is not None
    member.feed_secret = secrets.new_token()
    db.add(member)
    return had_one


def set_password(db: Session, member_id: int, password_hash: str) -> None:
    member = db.get_one(Member, member_id)
    member.password_hash = password_hash
    db.add(member)


def set_role(db: Session, member_id: int, role: str) -> bool:
    """False, and nothing done, where the club would be left without a steward."""
    member = db.get_one(Member, member_id)
    if member.role == "steward" and role != "steward" and steward_count(db) < 2:
        return False
    member.role = role
    db.add(member)
    return True


# Invitations


def invitation(db: Session, invitation_id: int) -> Invitation | None:
    """An invitation to join that was not used yet."""
    found = db.get(Invitation, invitation_id)
    usable = found is not None and found.used_at is None and found.purpose == "join"
    return found if usable else None


def use_invitation(db: Session, used: Invitation) -> None:
    """The link works no more."""
    used.used_at = now()
    db.add(used)


def invite(
    db: Session,
    *,
    role: str = "member",
    for_whom: str = "",
    invited_by_id: int | None = None,
    purpose: str = "join",
    member_id: int | None = None,
) -> str:
    """A new link's token; only its hash is kept."""
    life = {"join": INVITATION_LIFE, "setup": SETUP_LIFE, "reset": RESET_LIFE}[purpose]
    token = secrets.new_token()
    db.add(
        Invitation(
            token_hash=secrets.token_hash(token),
            purpose=purpose,
            role=role,
            for_whom=for_whom,
            member_id=member_id,
            invited_by_id=invited_by_id,
            created_at=club_clock.now(db),
            expires_at=club_clock.now(db) + life,
        )
    )
    db.flush()
    return token


def setup_token(db: Session) -> str:
    """A fresh one-time link for the first steward; older ones no longer work."""
    db.exec(
        delete(Invitation).where(
            col(Invitation.purpose) == "setup", col(Invitation.used_at).is_(None)
        )
    )
    return invite(db, role="steward", purpose="setup")


def open_invitation(db: Session, token: str) -> Invitation | None:
    """The invitation behind a link, unless it was used or has run out."""
    found = db.exec(
        select(Invitation).where(Invitation.token_hash == secrets.token_hash(token))
    ).first()
    if found is None or found.used_at is not None or found.expires_at < club_clock.now(db):
        return None
    return found


def open_invitations(db: Session) -> list[Invitation]:
    waiting = select(Invitation).where(
        col(Invitation.used_at).is_(None),
        col(Invitation.purpose) == "join",
        col(Invitation.expires_at) >= club_clock.now(db),
    )
    return list(db.exec(waiting.order_by(col(Invitation.created_at).desc())))


def withdraw_invitation(db: Session, invitation_id: int) -> None:
    found = db.get(Invitation, invitation_id)
    if found is not None and found.used_at is None and found.purpose == "join":
        db.delete(found)


# Signed in


def sign_in(db: Session, member: Member, *, device: str) -> str:
    """Starts a signed-in stretch for one browser and gives its token."""
    token = secrets.new_token()
    db.add(
        SignIn(
            token_hash=secrets.token_hash(token),
            member_id=member.id,
            device=device[:200],
            created_at=club_clock.now(db),
            last_seen_at=club_clock.now(db),
            expires_at=club_clock.now(db) + SIGN_IN_LIFE,
        )
    )
    db.flush()
    return token


def signed_in(db: Session, token: str) -> tuple[Member, SignIn] | None:
    """Who holds this sign-in, unless it ended, ran out, or lay idle too long."""
    row = db.exec(
        select(Member, SignIn)
        .join(SignIn, col(SignIn.member_id) == col(Member.id))
        .where(SignIn.token_hash == secrets.token_hash(token))
    ).first()
    if row is None:
        return None
    member, entry = row
    idle = STEWARD_IDLE_LIFE if member.role == "steward" else IDLE_LIFE
    if member.left_at is not None or club_clock.now(db) > entry.expires_at:
        return None
    return None if club_clock.now(db) > entry.last_seen_at + idle else (member, entry)


def wants_touch(db: Session, entry: SignIn) -> bool:
    return club_clock.now(db) - entry.last_seen_at > _SEEN_EVERY


def sign_out(db: Session, token: str) -> None:
    db.exec(delete(SignIn).where(col(SignIn.token_hash) == secrets.token_hash(token)))


def sign_ins_of(db: Session, member_id: int) -> list[SignIn]:
    mine = select(SignIn).where(
        SignIn.member_id == member_id, col(SignIn.expires_at) >= club_clock.now(db)
    )
    return list(db.exec(mine.order_by(col(SignIn.last_seen_at).desc())))


def sign_in_of(db: Session, member_id: int, sign_in_id: int) -> SignIn | None:
    """One of a member's own sign-ins."""
    found = db.get(SignIn, sign_in_id)
    return found if found is not None and found.member_id == member_id else None


def end_sign_ins(db: Session, member_id: int, *, only_id: int | None = None) -> None:
    """Ends one of a member's sign-ins, or all."""
    ending = delete(SignIn).where(col(SignIn.member_id) == member_id)
    if only_id is not None:
        ending = ending.where(col(SignIn.id) == only_id)
    db.exec(ending)


# Browsers on which a member has signed in before


def know_browser(db: Session, member_id: int, token: str) -> str:
    """The browser's token: the one it has when it is this member's already, else a new one."""
    if token and known_browser(db, member_id, token) is not None:
        return token
    token = secrets.new_token()
    db.add(
        KnownBrowser(
            member_id=member_id,
            token_hash=secrets.token_hash(token),
            created_at=club_clock.now(db),
        )
    )
    db.flush()
    newest = select(KnownBrowser.id).where(KnownBrowser.member_id == member_id)
    kept = newest.order_by(col(KnownBrowser.id).desc()).limit(MOST_BROWSERS)
    db.exec(
        delete(KnownBrowser).where(
            col(KnownBrowser.member_id) == member_id, col(KnownBrowser.id).not_in(kept)
        )
    )
    return token


def known_browser(db: Session, member_id: int, token: str) -> int | None:
    """The browser's number, if this member has signed in on it within its life."""
    since = club_clock.now(db) - BROWSER_LIFE
    known = select(KnownBrowser.id).where(
        KnownBrowser.member_id == member_id,
        KnownBrowser.token_hash == secrets.token_hash(token),
        KnownBrowser.created_at > since,
    )
    return db.exec(known).first()


def forget_browsers(db: Session, member_id: int) -> None:
    db.exec(delete(KnownBrowser).where(col(KnownBrowser.member_id) == member_id))


# Personal access tokens


def make_access_token(db: Session, *, member_id: int, name: str) -> str:
    token = "ul_" + secrets.new_token()
    db.add(
        AccessToken(
            member_id=member_id,
            name=name,
            token_hash=secrets.token_hash(token),
            created_at=club_clock.now(db),
        )
    )
    db.flush()
    return token


def access_tokens_of(db: Session, member_id: int) -> list[AccessToken]:
    mine = select(AccessToken).where(
        AccessToken.member_id == member_id, col(AccessToken.revoked_at).is_(None)
    )
    return list(db.exec(mine.order_by(col(AccessToken.created_at).desc())))


def access_token_of(db: Session, member_id: int, token_id: int) -> AccessToken | None:
    """One of a member's own access tokens."""
    found = db.get(AccessToken, token_id)
    return found if found is not None and found.member_id == member_id else None


def revoke_access_token(db: Session, *, member_id: int, token_id: int) -> bool:
    found = db.get(AccessToken, token_id)
    if found is None or found.member_id != member_id:
        return False
    found.revoked_at = club_clock.now(db)
    db.add(found)
    return True


def bearer(db: Session, token: str) -> tuple[Member, AccessToken] | None:
    """Who made this access token, unless it was revoked."""
    row = db.exec(
        select(Member, AccessToken)
        .join(AccessToken, col(AccessToken.member_id) == col(Member.id))
        .where(
            AccessToken.token_hash == secrets.token_hash(token),
            col(AccessToken.revoked_at).is_(None),
            col(Member.left_at).is_(None),
        )
    ).first()
    return None if row is None else (row[0], row[1])


def wants_token_touch(db: Session, token: AccessToken) -> bool:
    return token.last_used_at is None or club_clock.now(db) - token.last_used_at > _SEEN_EVERY
