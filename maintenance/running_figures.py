"""Figures of alerts and deliveries for whoever watches the program."""

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Count

from company.registries import Figure
from maintenance.calc.alert_words import DeliveryState
from maintenance.models import Alert, Delivery


def figures(at: datetime) -> Iterable[Figure]:
    """Give open alerts, and deliveries that wait or were put aside."""
    yield Figure(name="alerts_open", means="Alerts nobody has closed.", value=Alert.objects.filter(closed_at=None).count())
    states = (DeliveryState.WAITING, DeliveryState.ASIDE)
    waiting = Delivery.objects.filter(state__in=states).order_by()
    counted = dict(waiting.values_list("state").annotate(number=Count("pk")))
    for state in states:
        number = counted.get(state.value, 0)
        yield Figure(name="deliveries", means="Deliveries not made.", value=number, labels={"state": state.value})
