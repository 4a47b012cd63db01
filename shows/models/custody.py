"""Who has what: rows derived from the scans by the fold. Delete them all and refold: they come back the same."""

from django.db import models
from django.db.models import Q

from company.models import Person
from inventory.calc.kinds import Evidence
from inventory.models import Item
from shows.calc.words import Ended
from shows.models.shows import Show


class CustodyHead(models.Model):
    """How far an item's scans have been folded, so that a newer scan continues from here instead of from its birth.

    Also the row that is locked, in item order, while an item's custody changes.
    """

    item = models.OneToOneField(Item, on_delete=models.CASCADE, primary_key=True, related_name="custody_head")
    last_effective_at = models.DateTimeField(null=True, blank=True)
    last_device = models.CharField(max_length=64, blank=True, default="")
    last_seq = models.BigIntegerField(default=0)
    last_uid = models.UUIDField(null=True, blank=True)
    seen_at = models.DateTimeField(null=True, blank=True)
    seen_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    evidence = models.CharField(max_length=8, blank=True, default="")
    folds = models.PositiveIntegerField(default=0)

    def __str__(self) -> str:
        return f"custody of {self.item_id}"


class Checkout(models.Model):
    """One item's stay with one show, from out to back or straight on. Known by its opening scan's uid."""

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="checkouts")
    show = models.ForeignKey(Show, on_delete=models.PROTECT, related_name="checkouts")
    opened_uid = models.UUIDField()
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    evidence = models.CharField(max_length=8, choices=[(e.value, e.value) for e in Evidence])
    truck_uid = models.UUIDField(null=True, blank=True)
    truck_at = models.DateTimeField(null=True, blank=True)
    closed_uid = models.UUIDField(null=True, blank=True)
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    closed_evidence = models.CharField(max_length=8, blank=True, default="")
    ended = models.CharField(max_length=14, blank=True, default="", choices=[(e.value, e.value) for e in Ended])

    class Meta:
        ordering = ["opened_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["item"],
                condition=Q(closed_at=None),
                name="checkout_one_open",
                violation_error_message="An item is out to one show at a time.",
            ),
            models.UniqueConstraint(
                fields=["item", "opened_uid"],
                name="checkout_once_a_scan",
                violation_error_message="A scan opens one checkout of an item.",
            ),
            models.CheckConstraint(
                condition=Q(closed_at=None, ended="") | (Q(closed_at__isnull=False) & ~Q(ended="")),
                name="checkout_ended_somehow",
                violation_error_message="A closed checkout says how it ended.",
            ),
        ]
        indexes = [
            models.Index(fields=["show", "closed_at"], name="checkout_of_show"),  # what is still out to a show?
        ]

    def __str__(self) -> str:
        return f"{self.item_id} with {self.show_id}"


class Contradiction(models.Model):
    """The record and a scan disagreed. Keyed by the scan, so that a refold neither doubles it nor forgets what was decided.

    `stands` says whether the fold still finds it; a decision is a person's and survives a refold.
    """

    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="contradictions")
    scan_uid = models.UUIDField()
    kind = models.CharField(max_length=24)
    said = models.CharField(max_length=400)
    happened_at = models.DateTimeField()
    show = models.ForeignKey(Show, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    stands = models.BooleanField(default=True)
    decided_at = models.DateTimeField(null=True, blank=True)
    decided_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    decided = models.CharField(max_length=300, blank=True, default="")

    class Meta:
        ordering = ["-happened_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["item", "scan_uid", "kind"],
                name="contradiction_once",
                violation_error_message="That contradiction is already known.",
            ),
        ]
        indexes = [
            models.Index(fields=["happened_at"], name="contradiction_open", condition=Q(stands=True, decided_at=None)),
        ]

    def __str__(self) -> str:
        return self.said
