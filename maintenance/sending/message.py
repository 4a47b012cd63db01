"""What is told: a subject, a text and the same as HTML, with an identity that stays the same however often it is sent."""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Message:
    """One message. `key` becomes its Message-ID: letter boxes that know it already may show it once."""

    key: str
    subject: str
    text: str
    html: str = ""


def one_line(text: str, most: int = 160) -> str:
    """Return a text on one line, cut with an ellipsis: a line break in a subject would end the mail's head."""
    line = " ".join(text.split())
    return line if len(line) <= most else f"{line[: most - 1].rstrip()}…"
