"""A real mail server on this machine that keeps what it is sent, and refuses what it is told to."""

import email
import email.policy
from collections.abc import Callable
from types import TracebackType
from typing import Any

from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP


class MailSink:
    """Use it with `with`; `port` is where it listens. What it answers can be changed at any time."""

    def __init__(self) -> None:
        self.letters: list[Any] = []  # taken
        self.seen: list[Any] = []  # taken or refused at their content
        self.rcpts: list[str] = []
        self.tried: list[str] = []
        self.refuse: dict[str, str] = {}
        self.data = ""
        self.hang_up_after = 0
        self.connections = 0
        self.port = 0
        self.on_letter: Callable[[], object] = lambda: None
        self._controller: Controller | None = None

    def start(self) -> None:
        # a port of its own at first, the same one ever after
        self._controller = Controller(self, hostname="127.0.0.1", port=self.port, ready_timeout=10)
        if not self.port:
            import socket

            with socket.socket() as probe:
                probe.bind(("127.0.0.1", 0))
                self.port = probe.getsockname()[1]
            self._controller.port = self.port
        self._controller.start()

    def stop(self) -> None:
        if self._controller is not None:
            self._controller.stop()
            self._controller = None

    def __enter__(self) -> "MailSink":
        self.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self.stop()

    async def handle_EHLO(self, server: SMTP, session: Any, envelope: Any, hostname: str, responses: list[str]) -> list[str]:
        self.connections += 1
        session.host_name = hostname
        return responses

    async def handle_RCPT(self, server: SMTP, session: Any, envelope: Any, address: str, options: list[str]) -> str:
        self.tried.append(address)
        if address in self.refuse:
            return self.refuse[address]
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server: SMTP, session: Any, envelope: Any) -> str:
        letter = email.message_from_bytes(envelope.content, policy=email.policy.default)
        self.seen.append(letter)
        if self.data:
            return self.data
        if self.hang_up_after and len(self.letters) >= self.hang_up_after:
            self.hang_up_after = 0
            server.transport.close()
            return "421 going"
        self.letters.append(letter)
        self.rcpts += envelope.rcpt_tos
        return "250 OK"
