"""Scans: append-only evidence, stored once however often it is sent."""

from django.db import models
from django.db.models import Q

from company.models import Person
from shows.calc.words import Action, Condition, Outcome, Signal
from shows.models.shows import Show


class Scan(models.Model):
    """What a device read, when, to do what; and what it was first told. Never edited: an undo is another scan.

    `code` is `code_text` parsed (empty if it is no code of ours): the item is resolved when folding, so that a scan made
    before its label was bound counts later. A refused scan keeps what could not be understood in `as_sent`.
    """

    uid = models.UUIDField(unique=True)
    batch = models.UUIDField(help_text="The envelope it came in.")
    device = models.CharField(max_length=64, blank=True, default="")
    seq = models.BigIntegerField(default=0)
    code_text = models.CharField(max_length=4096)
    code = models.CharField(max_length=8, blank=True, default="")
    action = models.CharField(max_length=7, blank=True, default="")
    show = models.ForeignKey(Show, null=True, blank=True, on_delete=models.PROTECT, related_name="scans")
    condition = models.CharField(max_length=16, blank=True, default="")
    symptom = models.CharField(max_length=16, blank=True, default="")
    note = models.CharField(max_length=500, blank=True, default="")
    counted = models.PositiveIntegerField(null=True, blank=True)
    missing = models.JSONField(default=list, blank=True, help_text="Codes of contents that were not in the case.")
    undoes = models.UUIDField(null=True, blank=True)
    replaces = models.CharField(max_length=8, blank=True, default="", help_text="The dead item whose place this one takes.")
    into = models.CharField(max_length=8, blank=True, default="", help_text="The bench bag or case it was put in.")
    said = models.CharField(
        max_length=4, blank=True, default="", help_text="What the device said by itself, before it could ask: fine, look, stop."
    )
    ticked = models.BooleanField(default=False, help_text="Entered from a paper list or for a whole truck: said, not seen.")
    happened_at = models.DateTimeField(null=True, blank=True)
    received_at = models.DateTimeField()
    effective_at = models.DateTimeField()
    as_sent = models.JSONField(null=True, blank=True)
    caused = models.JSONField(
        null=True, blank=True, help_text="What it changed beside custody, so that taking it back can put that back."
    )
    actor = models.ForeignKey(Person, null=True, blank=True, on_delete=models.PROTECT, related_name="scans")
    outcome = models.CharField(max_length=13, choices=[(o.value, o.value) for o in Outcome])
    signal = models.CharField(max_length=4, choices=[(s.value, s.value) for s in Signal])
    reason = models.CharField(max_length=400, blank=True, default="")

    class Meta:
        ordering = ["effective_at", "device", "seq", "uid"]
        constraints = [
            models.CheckConstraint(
                condition=Q(action__in=["", *[a.value for a in Action]]),
                name="scan_action_known",
                violation_error_message="A scan goes out, on the truck, back, is an inspection or an undo.",
            ),
            models.CheckConstraint(
                condition=Q(condition__in=[c.value for c in Condition]),
                name="scan_condition_known",
                violation_error_message="That condition is not one the program knows.",
            ),
            models.CheckConstraint(
                condition=Q(outcome__in=[o.value for o in Outcome], signal__in=[s.value for s in Signal]),
                name="scan_answer_known",
                violation_error_message="A scan is answered with an outcome and a signal.",
            ),
            models.CheckConstraint(
                condition=Q(effective_at__lte=models.F("received_at")),
                name="scan_not_from_the_future",
                violation_error_message="A scan cannot be effective after it was received.",
            ),
        ]
        indexes = [
            # the fold: all scans of an item's codes, in order. Not partial: SQLite would not use it for `code IN (...)`
            models.Index(fields=["code", "effective_at"], name="scan_by_code"),
            models.Index(
                fields=["undoes"], name="scan_undoing", condition=Q(undoes__isnull=False)
            ),  # what takes this scan back?
            models.Index(fields=["device", "-received_at"], name="scan_by_device"),  # a device's last ten
            models.Index(fields=["show", "effective_at"], name="scan_of_show", condition=Q(show__isnull=False)),
        ]

    def __str__(self) -> str:
        return f"{self.code or self.code_text[:40]} {self.action}"
