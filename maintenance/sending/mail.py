"""Mail, by SMTP or into files. One connection is kept for a batch of messages."""

import logging
import smtplib
from email.utils import parseaddr
from typing import Any

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.mail import EmailMultiAlternatives, get_connection
from django.core.mail.backends.smtp import EmailBackend as SmtpBackend

from maintenance.sending.message import Message, one_line
from maintenance.sending.outcome import WENT, Fate, Outcome

log = logging.getLogger(__name__)

# a mail costs four questions and answers: together they must end well within a lease
TIMEOUT_S = 15.0


class Mailer:
    """Sends mail over one connection, opened when first needed; `close` it in the end."""

    def __init__(self, timeout_s: float | None = None) -> None:
        self._timeout_s = timeout_s or TIMEOUT_S
        self._connection: Any = None
        self._keeps = False
        self._open = False

    def open(self) -> Outcome | None:
        """Open the connection; return an outcome if the mail server cannot be reached, None if all is well."""
        if self._open:
            return None
        try:
            self._connection = get_connection()
        except ImproperlyConfigured as error:
            return _down(f"The folder for mail did not take it ({_short(error)}).")
        self._keeps = isinstance(self._connection, SmtpBackend)
        if not self._keeps:
            return None
        self._connection.timeout = min(self._connection.timeout or TIMEOUT_S, self._timeout_s)
        try:
            self._connection.open()
        except smtplib.SMTPAuthenticationError as error:
            self._shut()
            return _down(f"The mail server did not take our user and password ({error.smtp_code}).")
        except (smtplib.SMTPException, OSError) as error:
            self._shut()
            return _down(f"The mail server {settings.EMAIL_HOST} does not answer ({_short(error)}).")
        self._open = True
        return None

    def send(self, to: str, message: Message) -> Outcome:
        """Hand one message over; the connection must be open. Raises nothing of the network's."""
        try:
            self._connection.send_messages([compose(to, message, self._connection)])
        except smtplib.SMTPRecipientsRefused as error:
            code, said = next(iter(error.recipients.values()))
            self._reset()
            return _recipient(int(code), _words(said))
        except smtplib.SMTPSenderRefused as error:
            self._reset()
            return _down(f"The mail server does not take mail from {settings.DEFAULT_FROM_EMAIL} ({error.smtp_code}).")
        except smtplib.SMTPDataError as error:
            self._reset()
            fate = Fate.REFUSED if error.smtp_code >= 500 else Fate.LATER
            return Outcome(fate=fate, said=f"The mail server did not take it: {error.smtp_code} {_words(error.smtp_error)}")
        except smtplib.SMTPServerDisconnected:
            self._shut()
            return Outcome(fate=Fate.LATER, said="The mail server hung up in the middle.")
        except (smtplib.SMTPException, OSError) as error:
            self._shut()
            who = "The mail server" if self._keeps else "The folder for mail"
            return _down(f"{who} did not take it ({_short(error)}).")
        return WENT

    def close(self) -> None:
        if self._open:
            self._shut()

    def _reset(self) -> None:
        """After a refusal the library may have hung up: begin anew with the next message."""
        server = getattr(self._connection, "connection", None)
        try:
            if server is not None and server.noop()[0] == 250:
                server.rset()
                return
        except (smtplib.SMTPException, OSError):
            log.debug("the mail server hung up after a refusal")
        self._shut()

    def _shut(self) -> None:
        self._open = False
        try:
            self._connection.close()
        except (smtplib.SMTPException, OSError):
            log.debug("the mail server was gone already")
        self._connection.connection = None


def compose(to: str, message: Message, connection: object = None) -> EmailMultiAlternatives:
    """Return the mail, with a Message-ID of its own that does not change from one attempt to the next."""
    host = parseaddr(settings.DEFAULT_FROM_EMAIL)[1].rpartition("@")[2] or "localhost"
    mail = EmailMultiAlternatives(
        subject=one_line(message.subject),
        body=message.text,
        to=[to],
        connection=connection,  # type: ignore[arg-type]
        headers={
            "Message-ID": f"<{message.key}@{host}>",
            "Auto-Submitted": "auto-generated",  # RFC 3834: an absent person's letter box need not answer
        },
    )
    if message.html:
        mail.attach_alternative(message.html, "text/html")
    return mail


def _recipient(code: int, words: str) -> Outcome:
    said = f"The mail server refused the address: {code} {words}"[:300]
    return Outcome(fate=Fate.GONE if code >= 500 else Fate.LATER, said=said)


def _down(said: str) -> Outcome:
    return Outcome(fate=Fate.LATER, said=said[:300], down=True)


def _words(said: bytes | str) -> str:
    text = said.decode("utf-8", "replace") if isinstance(said, bytes) else said
    return one_line(text, 160)


def _short(error: Exception) -> str:
    return one_line(getattr(error, "strerror", None) or str(error) or type(error).__name__, 120)
