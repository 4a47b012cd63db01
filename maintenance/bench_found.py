"""What the search box finds at the bench beside faults of things: reports on a channel, what got wet, dead channels."""

import re
from collections.abc import Iterable

from django.db.models import Q
from django.http import HttpRequest
from django.urls import reverse

from company.registries import Found
from company.templatetags.tape import code as spelled
from company.templatetags.tape import moment
from inventory.calc.excepts import dead_channels, dead_words
from inventory.models import Item
from inventory.registries import show_names
from inventory.search import asked
from maintenance.models import Fault, TestCall
from maintenance.querysets import open_calls
from maintenance.standing import call_words

LEAST = 3  # letters of a word that is looked for
MOST_DEAD = 500  # part-good things looked through
# how people ask for a call: each of these words means its kind
_CALLED = {
    "wet": TestCall.Why.WET,
    "rain": TestCall.Why.WET,
    "rained": TestCall.Why.WET,
    "damp": TestCall.Why.WET,
    "dropped": TestCall.Why.DROPPED,
}
_AROUND = frozenset({"got", "was", "it", "on", "us"})
_EXCEPT = re.compile(r"\s*(?:good\s+)?except(?:\s+(?:channel\s+)?(\d{1,4}))?\s*", re.IGNORECASE)


def _words(text: str) -> list[str]:
    return [word.casefold() for word in asked(text).words]


def channels_found(request: HttpRequest, text: str, most: int) -> Iterable[Found]:
    """Answer with the open reports on a channel whose thing nobody knows: what it does, what was said, or "channel 7"."""
    words = [word for word in _words(text) if word != "channel"]
    if not words or not ("channel" in _words(text) or max(map(len, words)) >= LEAST):
        return
    rows = Fault.objects.filter(item=None, closed_at=None, withdrawn_at=None)
    for word in words:
        rows = rows.filter(Q(symptom__icontains=word) | Q(note__icontains=word) | Q(line__iexact=word))
    faults = list(rows.order_by("-opened_at")[:most])
    names = show_names(fault.show for fault in faults)
    for fault in faults:
        name, url = names.get(fault.show, ("", "")) if fault.show else ("", "")
        technician = request.user.is_technician  # type: ignore[union-attr]
        yield Found(
            name=f"Channel {fault.line} {fault.symptom}",
            url=reverse("fault-close", args=[fault.pk]) if technician else url or reverse("needs"),
            code=name,
            note="; ".join(part for part in (moment(fault.opened_at), fault.note) if part),
            kind="Reports on a channel",
        )


def calls_found(request: HttpRequest, text: str, most: int) -> Iterable[Found]:
    """Answer with what waits for a test because it got wet or was dropped."""
    words = [word for word in _words(text) if word not in _AROUND]
    if not words or any(word not in _CALLED for word in words):
        return
    calls = open_calls().filter(why__in={_CALLED[word] for word in words}, item__retired_on=None).order_by("-at", "-pk")
    found = list({call.item_id: call for call in calls.select_related("item__type", "person")[: 4 * most]}.values())[:most]
    names = show_names(call.show for call in found)
    for call in found:
        yield Found(
            name=call.item.label,
            url=call.item.get_absolute_url(),
            code=spelled(call.item.code),
            note=call_words(call, names.get(call.show, ("", ""))[0] if call.show else ""),
            kind="To be tested",
            standing="suspect" if call.item.suspect_since else "test-due",
        )


def excepts_found(request: HttpRequest, text: str, most: int) -> Iterable[Found]:
    """Answer "except 14" with what is dead on that channel, "good except" with all that is dead in part."""
    read = _EXCEPT.fullmatch(text)
    if read is None:
        return
    channel = int(read[1]) if read[1] else None
    rows = Item.objects.owned().filter(~Q(excepts="")).select_related("type").order_by("type__name", "name", "code")
    dead = (item for item in rows[:MOST_DEAD] if channel is None or channel in dead_channels(item.excepts))
    for item, _place in zip(dead, range(most), strict=False):
        yield Found(
            name=item.label,
            url=item.get_absolute_url(),
            code=spelled(item.code),
            note=f"good except {item.excepts}: {dead_words(item.excepts)}",
            kind="Good in part",
            standing="suspect" if item.suspect_since else "good-except",
        )
