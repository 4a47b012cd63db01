"""One box finds anything."""

from itertools import groupby

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from company.marks import STANDING_MARKS
from company.registries import SEARCH
from inventory.models import Label
from inventory.search import EXACT_UP_TO, LONGEST, asked, code_of, item_of_code, matching_ids

MOST_A_GROUP = 25


@require_safe
def find(request: HttpRequest) -> HttpResponse:
    """Jump to the item of a code, or list what answers a word, group by group."""
    text = request.GET.get("q", "").replace("\x00", " ").strip()
    code = code_of(text)
    if code and (item_of_code(code) or Label.objects.filter(code=code).exists()):
        return redirect("item", code=code)
    wanted = asked(text)
    context: dict = {"section": "Gear", "q": text[:LONGEST], "why": wanted.why, "code": code, "marks": STANDING_MARKS}
    if wanted.words:
        found = [answer for source in SEARCH for answer in source(request, text, MOST_A_GROUP)]
        groups = [(kind, list(answers)) for kind, answers in groupby(found, key=lambda f: f.kind)]
        count = len(matching_ids("default", wanted.words, most=EXACT_UP_TO))
        context |= {
            "groups": groups,
            "count": count,
            "more": count > MOST_A_GROUP,
            "many": count > EXACT_UP_TO,
            "all_items": f"{reverse('gear')}?q=",
        }
    return render(request, "inventory/gear_find.html", context, status=422 if wanted.why else 200)
