"""Messages through an allowed service. The library answers yes or no alone; what the service said is read from its log."""

import logging
import re
import threading

from apprise import NotifyFormat

from maintenance.sending.message import Message, one_line
from maintenance.sending.outcome import WENT, Fate, Outcome
from maintenance.sending.services import SERVICES, NoSuchAddressError, plugin_of

CONNECT_S, READ_S = 4.0, 8.0
MOST = 1_000  # what the briefest of the services takes whole; the page says the rest

# not ours to send there any more: unauthorised, forbidden (a bot that was shut out), not there, gone
_GONE = {401, 403, 404, 410}
_REFUSED = {400, 405, 406, 413, 415, 422}
_CODE = re.compile(r"\berror=\(?(\d{3})\b|\((\d{3})\)")


def push_send(service_key: str, address: str, message: Message) -> Outcome:
    """Send one message; raises nothing of the network's."""
    service = SERVICES.get(service_key)
    if service is None:
        return Outcome(fate=Fate.GONE, said=f"The service {service_key} is no longer on the list of allowed ones.")
    try:
        plugin = plugin_of(service, address)
    except NoSuchAddressError as error:
        return Outcome(fate=Fate.GONE, said=str(error))
    plugin.socket_connect_timeout, plugin.socket_read_timeout = CONNECT_S, READ_S
    with _Heard() as heard:
        went = plugin.notify(body=_cut(message.text), title=one_line(message.subject), body_format=NotifyFormat.TEXT)
    return WENT if went else _judged(service.name, heard.lines)


def _judged(name: str, lines: list[str]) -> Outcome:
    codes = [int(found[1] or found[2]) for line in lines for found in _CODE.finditer(line)]
    if not codes:
        return Outcome(fate=Fate.LATER, said=f"{name} does not answer.", down=True)
    code = codes[-1]
    if code in _GONE:
        return Outcome(fate=Fate.GONE, said=f"{name} does not know that address, or not any more ({code}).")
    if code in _REFUSED:
        return Outcome(fate=Fate.REFUSED, said=f"{name} did not take this message ({code}).")
    if code == 429:
        return Outcome(fate=Fate.LATER, said=f"{name} asks for a pause ({code}).")
    return Outcome(fate=Fate.LATER, said=f"{name} could not take it just now ({code}).", down=code >= 500)


def _cut(text: str) -> str:
    return text if len(text) <= MOST else f"{text[: MOST - 1].rstrip()}…"


class _Heard(logging.Handler):
    """Hear what the library says in this thread, and keep it out of the program's own log: it may hold addresses."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.lines: list[str] = []
        self._thread = threading.get_ident()

    def emit(self, record: logging.LogRecord) -> None:
        if record.thread == self._thread:
            self.lines.append(record.getMessage())

    def __enter__(self) -> "_Heard":
        logger = logging.getLogger("apprise")
        logger.propagate = False
        logger.addHandler(self)
        return self

    def __exit__(self, *_: object) -> None:
        logging.getLogger("apprise").removeHandler(self)
