"""Printed labels that the bench obeys: a page that shows what each does, and the same as PDF on the shop's paper."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from company.access import technician_required
from company.models import Company
from inventory.calc.qr import matrix_of, path_of
from inventory.pdf.cards import Card, cards_pdf
from maintenance.calc.bench_cards import BENCH_CARDS


@require_safe
@technician_required
def bench_cards(request: HttpRequest) -> HttpResponse:
    """Show every label with what it does."""
    drawn = []
    for card in BENCH_CARDS:
        matrix = matrix_of(card.text)
        drawn.append({"card": card, "side": len(matrix), "path": path_of(matrix)})
    return render(request, "maintenance/bench/cards.html", {"section": "Bench", "cards": drawn})


@require_safe
@technician_required
def bench_cards_pdf(request: HttpRequest) -> HttpResponse:
    """Return the labels as PDF, eight a page."""
    cards = [Card(carries=card.text, word=card.name, note=card.does) for card in BENCH_CARDS]
    body = cards_pdf(cards, paper=Company.current().paper, title="Labels for the bench")
    answer = HttpResponse(body, content_type="application/pdf")
    answer["Content-Disposition"] = 'inline; filename="bench-labels.pdf"'
    return answer
