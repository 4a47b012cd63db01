"""Mail without a mail server: each mail is a file of its own, which any mail program opens."""

import os
import secrets
from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend


class EmailBackend(BaseEmailBackend):
    """Write each mail into `EMAIL_FILE_PATH`; Django's own names files by second and object, so that two could share one.

    Raises ImproperlyConfigured if there can be no such folder, and OSError if a mail cannot be written there.
    """

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self._folder = Path(settings.EMAIL_FILE_PATH)
        try:
            self._folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise ImproperlyConfigured(f"no folder can be made at {self._folder}: {error.strerror}") from error

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        for mail in email_messages:
            name = f"{datetime.now():%Y%m%d-%H%M%S-%f}-{secrets.token_hex(3)}"  # noqa: DTZ005 (whoever looks knows the shop's own hour)
            half = self._folder / f".{name}.part"
            try:
                half.write_bytes(mail.message().as_bytes())
                os.replace(half, self._folder / f"{name}.eml")
            finally:
                half.unlink(missing_ok=True)
        return len(email_messages)
