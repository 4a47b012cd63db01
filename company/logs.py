"""What the program writes to its log: a line to read, or JSON lines to collect. Knows no Django; also used before it is set up.

Every line carries the request's or task's id, and the key, never the name, of the person. What opens a door by itself (a
calendar's address, a crew's pass, a token) is masked wherever it turns up.
"""

import json
import logging
import re
import uuid
from collections.abc import Callable
from contextvars import ContextVar
from datetime import UTC, datetime
from typing import Any

LEVELS = ("debug", "info", "warning", "error", "critical")
REQUEST_ID: ContextVar[str] = ContextVar("request_id", default="")
PERSON: ContextVar[Callable[[], int | None]] = ContextVar("person", default=lambda: None)
TASK: ContextVar[str] = ContextVar("task", default="")

_WELL_FORMED = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{7,63}")
# an address whose last part is a secret, a token asked for or sent, a password in an address of a server (looked for from its
# :// on: from its first letter, a long word would cost the square of its length)
_SECRETS = (
    (re.compile(r"(/(?:calendar|pass)/)(?:secret:)?[^/\s?\"'<>]+"), r"\1***"),
    (re.compile(r"(?i)((?:token|secret|password|passwd|api_?key)[\"']?\s*[=:]\s*[\"']?)[^\s&\"',;]+"), r"\1***"),
    (re.compile(r"(?i)(bearer\s+)[^\s\"',;]+"), r"\1***"),
    (re.compile(r"(://[^\s:/@]*:)[^\s@/]+@"), r"\1***@"),
)
_ORDINARY = set(vars(logging.makeLogRecord({}))) | {"message", "asctime", "taskName", "request_id", "person", "task"}


def id_made() -> str:
    """Make an id for a request or a task."""
    return uuid.uuid4().hex


def id_taken(given: str) -> str:
    """Return an id somebody sent if it is well-formed, else nothing: a log must not be written by strangers."""
    return given if _WELL_FORMED.fullmatch(given) else ""


def masked(text: str) -> str:
    """Return a text without what opens a door by itself."""
    for pattern, instead in _SECRETS:
        text = pattern.sub(instead, text)
    return text


class About(logging.Filter):
    """Add to each line what it was said about; a task whose database was away is one sentence, not a page."""

    def filter(self, record: logging.LogRecord) -> bool:
        if record.name == "celery.app.trace" and (error := _database_away(record)):
            record.msg = f"The database did not answer ({error}). What was due stays there and is taken up at the next tick."
            record.args, record.exc_info, record.exc_text = (), None, None
        record.request_id = REQUEST_ID.get()
        record.task = TASK.get()
        try:
            record.person = PERSON.get()()
        except Exception:  # a log line must never fail for what it is about
            record.person = None
        return True


def _database_away(record: logging.LogRecord) -> str:
    error = record.exc_info[1] if record.exc_info else None
    return " ".join(str(error).split())[:200] if type(error).__name__ == "OperationalError" else ""


class Line(logging.Formatter):
    """One line to read: time, level, where from, what; then the id, if there is one."""

    def __init__(self) -> None:
        super().__init__("{asctime} {levelname} {name}: {message}", style="{")

    def format(self, record: logging.LogRecord) -> str:
        said = masked(super().format(record))
        request_id = getattr(record, "request_id", "")
        if not request_id:
            return said
        first, newline, rest = said.partition("\n")
        return f"{first} [{request_id}]{newline}{rest}"


class Json(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        line: dict[str, Any] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "from": record.name,
            "says": masked(record.getMessage()),
        }
        for name in ("request_id", "person", "task"):
            if getattr(record, name, None):
                line[name] = getattr(record, name)
        if record.exc_info:
            line["error"] = masked(self.formatException(record.exc_info))
        for name, value in record.__dict__.items():
            if name not in _ORDINARY and not name.startswith("_") and isinstance(value, str | int | float | bool):
                line.setdefault(name, masked(value) if isinstance(value, str) else value)
        return json.dumps(line, ensure_ascii=False)


def configuration(*, form: str, level: str) -> dict[str, Any]:
    """Return the logging of every process: web server, worker, clock, commands."""
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "filters": {"about": {"()": "company.logs.About"}},
        "formatters": {"line": {"()": "company.logs.Line"}, "json": {"()": "company.logs.Json"}},
        "handlers": {"console": {"class": "logging.StreamHandler", "formatter": form, "filters": ["about"]}},
        "root": {"handlers": ["console"], "level": level},
        # Django's own handlers would say it a second time, in another form, and mail it
        "loggers": {
            "django": {"handlers": [], "level": level, "propagate": True},
            "django.server": {"handlers": [], "level": level, "propagate": True},
        },
    }
