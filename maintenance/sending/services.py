"""The services a person may be told through, besides e-mail: one table.

Allowed are services that people commonly have on a phone or that a crew shares as a channel, each reached at one fixed public
host of its own over TLS. Not allowed, although the library knows them: anything whose host is named by the person (a web hook
of one's own, a server at home: it would let a person make this program call addresses inside the shop's network), anything on
this machine (desktop, D-Bus, syslog), plain HTTP, and mail (which goes by the shop's own mail server). Nothing a person types
becomes an address: it fills the gaps of a pattern below, and each gap takes only what its shape allows.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import import_module
from typing import Any
from urllib.parse import quote, urlsplit

from apprise import AppriseAsset
from apprise.common import PersistentStoreMode


@dataclass(frozen=True, kw_only=True)
class Gap:
    """One thing a person fills in: its name, where to find it, and the shape it must have."""

    name: str
    label: str
    hint: str
    shape: str
    secret: bool = True


@dataclass(frozen=True, kw_only=True)
class Service:
    """A service: the pattern of its address, its gaps, the plugin that must answer for it and the one host that one calls."""

    key: str
    name: str
    says: str
    pattern: str
    plugin: str
    host: str
    gaps: tuple[Gap, ...]
    calls: str  # the attribute of the plugin that holds the address it calls


_WORD = r"[A-Za-z0-9_-]"
_PHONE = r"[0-9]{8,15}"

SERVICES: dict[str, Service] = {
    one.key: one
    for one in (
        Service(
            key="ntfy",
            name="ntfy",
            says="A free app that listens to a topic. Whoever knows the topic's name can read it: choose a long one.",
            pattern="ntfys://{topic}?mode=cloud",
            plugin="ntfy.NotifyNtfy",
            host="ntfy.sh",
            gaps=(Gap(name="topic", label="Topic", hint="The long name your app listens to.", shape=rf"{_WORD}{{8,64}}"),),
            calls="cloud_notify_url",
        ),
        Service(
            key="pushover",
            name="Pushover",
            says="An app for a phone. It needs your user key and an application token, both from your page there.",
            pattern="pover://{user}@{token}",
            plugin="pushover.NotifyPushover",
            host="api.pushover.net",
            gaps=(
                Gap(name="user", label="User key", hint="30 letters and figures.", shape=r"[A-Za-z0-9]{30}"),
                Gap(name="token", label="Application token", hint="30 letters and figures.", shape=r"[A-Za-z0-9]{30}"),
            ),
            calls="notify_url",
        ),
        Service(
            key="telegram",
            name="Telegram",
            says="A bot of yours writes to you or to a group. Write to the bot once first, or it may not write to you.",
            pattern="tgram://{token}/{chat}",
            plugin="telegram.NotifyTelegram",
            host="api.telegram.org",
            gaps=(
                Gap(
                    name="token",
                    label="Bot token",
                    hint="Figures, a colon, letters: as the bot's maker was given it.",
                    shape=r"[0-9]{6,12}:[A-Za-z0-9_-]{30,50}",
                ),
                Gap(
                    name="chat",
                    label="Chat",
                    hint="The number of the chat; a group's starts with a minus.",
                    shape=r"-?[0-9]{4,20}",
                    secret=False,
                ),
            ),
            calls="notify_url",
        ),
        Service(
            key="slack",
            name="Slack",
            says="An incoming hook of a channel there. Its address ends in three parts: they go here.",
            pattern="slack://{a}/{b}/{c}",
            plugin="slack.NotifySlack",
            host="hooks.slack.com",
            gaps=(
                Gap(name="a", label="First part", hint="It starts with T.", shape=r"[A-Z0-9]{8,14}"),
                Gap(name="b", label="Second part", hint="It starts with B.", shape=r"[A-Z0-9]{8,14}"),
                Gap(name="c", label="Third part", hint="24 letters and figures.", shape=r"[A-Za-z0-9]{20,30}"),
            ),
            calls="webhook_url",
        ),
        Service(
            key="discord",
            name="Discord",
            says="A hook of a channel there. Its address ends in a number and a long word: they go here.",
            pattern="discord://{id}/{token}",
            plugin="discord.NotifyDiscord",
            host="discord.com",
            gaps=(
                Gap(name="id", label="Number", hint="17 to 20 figures.", shape=r"[0-9]{17,20}"),
                Gap(name="token", label="Long word", hint="About 68 letters and figures.", shape=rf"{_WORD}{{60,80}}"),
            ),
            calls="notify_url",
        ),
        Service(
            key="gchat",
            name="Google Chat",
            says="A hook of a space there. Its address names a space, a key and a token: they go here.",
            pattern="gchat://{space}/{key}/{token}",
            plugin="google_chat.NotifyGoogleChat",
            host="chat.googleapis.com",
            gaps=(
                Gap(name="space", label="Space", hint="The word behind “spaces/”.", shape=rf"{_WORD}{{6,40}}"),
                Gap(name="key", label="Key", hint="The word behind “key=”.", shape=rf"{_WORD}{{20,60}}"),
                Gap(
                    name="token",
                    label="Token",
                    hint="The word behind “token=”, without a final %3D.",
                    shape=rf"{_WORD}{{20,80}}",
                ),
            ),
            calls="notify_url",
        ),
        Service(
            key="threema",
            name="Threema",
            says="Through a gateway account of the shop, which pays for each message.",
            pattern="threema://{gateway}@{secret}/{who}",
            plugin="threema.NotifyThreema",
            host="msgapi.threema.ch",
            gaps=(
                Gap(name="gateway", label="Gateway ID", hint="8 signs, starting with *.", shape=r"\*[A-Z0-9]{7}"),
                Gap(name="secret", label="Secret", hint="16 letters and figures.", shape=r"[A-Za-z0-9]{16}"),
                Gap(name="who", label="Your ID", hint="8 letters and figures.", shape=r"[A-Z0-9]{8}", secret=False),
            ),
            calls="notify_url",
        ),
        Service(
            key="twilio",
            name="Text message (Twilio)",
            says="A text message to any phone, through an account of the shop, which pays for each.",
            pattern="twilio://{account}:{token}@{sender}/{phone}",
            plugin="twilio.NotifyTwilio",
            host="api.twilio.com",
            gaps=(
                Gap(name="account", label="Account", hint="AC and 32 letters and figures.", shape=r"AC[a-f0-9]{32}"),
                Gap(name="token", label="Token", hint="32 letters and figures.", shape=r"[a-f0-9]{32}"),
                Gap(
                    name="sender",
                    label="Sent from",
                    hint="The account's number, as 447700900123.",
                    shape=r"[0-9]{8,15}",
                    secret=False,
                ),
                Gap(
                    name="phone",
                    label="Your number",
                    hint="With the country, as 447700900123.",
                    shape=r"[0-9]{8,15}",
                    secret=False,
                ),
            ),
            calls="notify_sms_url",
        ),
    )
}

_ASSET = AppriseAsset(
    app_id="Knowngood",
    app_desc="Knowngood",
    app_url="",
    image_url_mask="",
    image_url_logo="",
    storage_mode=PersistentStoreMode.MEMORY,
)


class NoSuchAddressError(ValueError):
    """It is no address of an allowed service; the sentence says why."""


def address_of(service: Service, filled: Mapping[str, str]) -> str:
    """Return the service's address with its gaps filled; raise NoSuchAddressError if a gap has another shape."""
    parts = {}
    for gap in service.gaps:
        given = filled.get(gap.name, "").strip()
        if not re.fullmatch(gap.shape, given, re.ASCII):
            raise NoSuchAddressError(f"{gap.label} has another shape. {gap.hint}")
        parts[gap.name] = quote(given, safe=":")
    address = service.pattern.format(**parts)
    plugin_of(service, address)
    return address


def plugin_of(service: Service, address: str) -> Any:
    """Return the library's plugin for an address, after making sure that it is that service's and calls its one host."""
    if not _shape_of(service).fullmatch(address):
        raise NoSuchAddressError(f"That is no address of {service.name}.")
    module, _, name = service.plugin.partition(".")
    kind = getattr(import_module(f"apprise.plugins.{module}"), name)  # this one alone: the library knows 150
    taken = kind.parse_url(address)
    try:
        plugin = kind(**{**taken, "asset": _ASSET}) if taken else None
    except TypeError:
        plugin = None
    if plugin is None:
        raise NoSuchAddressError(f"{service.name} knows no such address. Look at each part again.")
    called = urlsplit(getattr(plugin, service.calls))
    if called.scheme != "https" or called.hostname != service.host or not plugin.secure_protocol:
        raise NoSuchAddressError(f"That would call another host than {service.host}.")
    plugin.redirects = False  # a secret is not handed on to wherever a host may point
    return plugin


@cache
def _shape_of(service: Service) -> re.Pattern[str]:
    """Return the shape of a whole address: the pattern, each gap taking what `quote` leaves of its own shape or an escape."""
    parts = re.split(r"\{\w+\}", service.pattern)
    gaps = ["(?:[A-Za-z0-9_:-]|%2A)+" for _ in parts[1:]]
    return re.compile("".join(a + b for a, b in zip(map(re.escape, parts), [*gaps, ""], strict=True)), re.ASCII)
