"""What a delivery says: an alert, or a digest, as subject, text and HTML, with times in the person's zone."""

from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from django.conf import settings
from django.template.loader import get_template
from django.utils import timezone

from company.models import Company
from maintenance.models import Alert, Delivery, Digest
from maintenance.sending.message import Message, one_line


@dataclass(frozen=True, kw_only=True)
class House:
    """What every message knows of the shop: its name, and the address its links start with (empty: no links)."""

    name: str
    base: str

    def link(self, url: str) -> str:
        return f"{self.base}{url}" if self.base else ""


def house_now() -> House:
    company = Company.current()
    return House(name=company.name, base=(settings.SITE_ADDRESS or company.site_address).rstrip("/"))


def alert_message(*, alert: Alert, house: House, zone: tzinfo, key: str) -> Message:
    """Say one alert."""
    again = alert.stage > 0
    context = {"alert": alert, "house": house, "link": house.link(alert.url), "again": again}
    subject = f"{'Urgent: ' if alert.urgent else ''}{'Again: ' if again else ''}{alert.title}"
    return _message(key, subject, "alert", context, zone)


def digest_message(*, digest: Digest, parts: Any, house: House, zone: tzinfo, key: str) -> Message:
    """Say a day's digest; `parts` is `digest_parts` of it."""
    with timezone.override(zone):
        said = [f"{digest.raised} new" if digest.raised else "", f"{digest.closed} seen to" if digest.closed else ""]
        subject = f"{digest.day:%a} {digest.day.day} {digest.day:%b}: {', '.join(one for one in said if one)}"
    return _message(key, subject, "digest", {"digest": digest, "parts": parts, "house": house}, zone)


def trial_message(*, house: House, key: str) -> Message:
    """Say that an address works."""
    text = f"This is a trial from {house.name}. You asked to be told here: it works, and nothing needs doing.\n"
    return Message(key=key, subject=f"A trial from {house.name}", text=text)


def key_of(delivery: Delivery) -> str:
    """Return the identity of a delivery: the same for every attempt, and another in every shop."""
    return f"delivery.{delivery.pk}.{delivery.made_at:%Y%m%d%H%M%S%f}"


def _message(key: str, subject: str, template: str, context: dict[str, Any], zone: tzinfo) -> Message:
    with timezone.override(zone):
        text = get_template(f"maintenance/mail/{template}.txt").render(context)
        html = get_template(f"maintenance/mail/{template}.html").render(context)
    return Message(key=key, subject=one_line(subject), text=text, html=html)
