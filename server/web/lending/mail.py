"""Carrying messages outside by SMTP: plain text, one letter at a time, never twice by itself."""

import smtplib
import socket
import ssl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from email.message import EmailMessage
from email.utils import format_datetime, formataddr
from urllib.parse import urlsplit

from server.db import lending_rule, members, messages
from server.db.engine import Database
from server.models import OutgoingMail
from server.settings import Settings

_TIMEOUT_S = 20
MOST_AT_ONCE = 50


@dataclass(frozen=True, kw_only=True)
class Letter:
    """Everything that one letter says."""

    message_id: str
    to_name: str
    to_address: str
    subject: str
    words: str
    sent_at: datetime
    link: str
    club: str


class ForGood(Exception):
    """The mail server will never take this letter."""


def send_waiting(club: Database, settings: Settings) -> int:
    """Hands over what is due; gives how many letters the mail server took.

    Any number of servers may do this at once: each letter is claimed by one of them, and the
    database knows before the letter itself is handed over that it may have arrived.
    """
    if not settings.smtp_host:
        return 0
    with club.write() as db:
        messages.put_into_post(db)
    sent = 0
    for _ in range(MOST_AT_ONCE):
        with club.write() as db:
            mail = messages.claim_mail(db)
        if mail is None:
            break
        sent += _send_one(club, settings, mail)
    return sent


def _send_one(club: Database, settings: Settings, mail: OutgoingMail) -> bool:
    letter = _letter(club, settings, mail)
    try:
        if letter is None:
            raise ForGood("The member has left or has no address.")
        with _connected(settings) as smtp:
            _address_it(smtp, settings, letter)
            with club.write() as db:
                ours = messages.begin_handing(db, mail)
            if not ours:
                return False
            _hand_over(smtp, settings, letter)
    except ForGood as reason:
        _failed(club, mail, str(reason), for_good=True)
        return False
    except (smtplib.SMTPException, OSError) as reason:
        _failed(club, mail, f"{type(reason).__name__}: {reason}")
        return False
    with club.write() as db:
        messages.mail_sent(db, mail)
    return True


def _failed(club: Database, mail: OutgoingMail, words: str, *, for_good: bool = False) -> None:
    with club.write() as db:
        messages.mail_failed(db, mail, " ".join(words.split()), for_good=for_good)


def _letter(club: Database, settings: Settings, mail: OutgoingMail) -> Letter | None:
    with club.read() as db:
        found = messages.letter(db, mail)
        named = members.club_of(db)
        host = lending_rule.calendar_name_of(db)
    if found is None:
        return None
    message, member = found
    base = settings.public_url.rstrip("/")
    domain = urlsplit(base).hostname or "underlamp.invalid"
    return Letter(
        message_id=f"<message-{message.id}.{host}@{domain}>",
        to_name=member.name,
        to_address=member.email or "",
        subject=" ".join(message.subject.split()),
        words=message.words,
        sent_at=message.sent_at,
        link=base + message.link if base and message.link else "",
        club=named.name if named else "",
    )


def compose(letter: Letter, *, sender: str) -> EmailMessage:
    """The letter as plain text. It says that a program wrote it (RFC 3834)."""
    written = EmailMessage()
    written["From"] = formataddr((" ".join(letter.club.split()), sender))
    written["To"] = formataddr((" ".join(letter.to_name.split()), letter.to_address))
    written["Subject"] = letter.subject
    written["Date"] = format_datetime(letter.sent_at.astimezone(UTC))
    written["Message-ID"] = letter.message_id
    written["Auto-Submitted"] = "auto-generated"
    parts = [f"Hello {letter.to_name},", letter.words]
    parts += [letter.link] if letter.link else []
    parts.append(f"{letter.club}, sent by Underlamp")
    written.set_content("\n\n".join(parts) + "\n")
    return written


@contextmanager
def _connected(settings: Settings) -> Iterator[smtplib.SMTP]:
    host, port = settings.smtp_host, settings.smtp_port
    own_name = socket.gethostname()
    smtp: smtplib.SMTP
    if settings.smtp_security == "tls":
        context = ssl.create_default_context()
        smtp = smtplib.SMTP_SSL(host, port, own_name, timeout=_TIMEOUT_S, context=context)
    else:
        smtp = smtplib.SMTP(host, port, own_name, timeout=_TIMEOUT_S)
    with smtp:
        if settings.smtp_security == "starttls":
            smtp.starttls(context=ssl.create_default_context())
        if settings.smtp_user and settings.smtp_password:
            smtp.login(settings.smtp_user, settings.smtp_password.get_secret_value())
        yield smtp


def _address_it(smtp: smtplib.SMTP, settings: Settings, letter: Letter) -> None:
    """Sender and recipient; up to here nothing can have arrived, so failing is harmless."""
    smtp.ehlo_or_helo_if_needed()
    if not letter.to_address.isascii() and not smtp.has_extn("smtputf8"):
        raise ForGood("The mail server does not take addresses with such letters.")
    options = ["SMTPUTF8"] if not letter.to_address.isascii() else []
    _check(smtp.mail(_sender(settings), options))
    _check(smtp.rcpt(letter.to_address))


def _hand_over(smtp: smtplib.SMTP, settings: Settings, letter: Letter) -> None:
    written = compose(letter, sender=_sender(settings))
    _check(smtp.data(written.as_bytes()))


def _check(answer: tuple[int, bytes]) -> None:
    """Codes 4xx are worth another try, 5xx are not (RFC 5321, section 4.2.1)."""
    code, words = answer
    if 200 <= code < 400:
        return
    said = f"The mail server said {code} {words.decode(errors='replace')}"
    if code >= 500:
        raise ForGood(said)
    raise smtplib.SMTPException(said)


def _sender(settings: Settings) -> str:
    return settings.mail_from or settings.smtp_user or "underlamp@localhost"
