"""Speaking up: what a rule found, who is told at which address, and every attempt to tell them."""

from datetime import time

from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse

from company.calc.roles import Role
from company.models import Person
from maintenance.calc.alert_words import AddressKind, Closed, DeliveryState


class RuleSetting(models.Model):
    """What the owner changed of a rule; a rule without a row goes by its defaults."""

    rule = models.CharField(max_length=40, primary_key=True)
    on = models.BooleanField(default=True)
    digest = models.BooleanField(default=True, help_text="In the digest; else told by itself, at once.")
    urgent = models.BooleanField(default=False, help_text="Told at any hour, also in quiet hours.")
    role = models.CharField(max_length=12, choices=[(r.value, r.value) for r in Role], default=Role.TECHNICIAN)
    people = models.ManyToManyField(
        Person, blank=True, related_name="+", help_text="Only these; nobody: everybody of the role."
    )
    lead_minutes = models.PositiveIntegerField(null=True, blank=True, validators=[MaxValueValidator(366 * 24 * 60)])
    stage_minutes = models.JSONField(default=list, blank=True, help_text="Further times to tell, minutes of the same count.")

    class Meta:
        ordering = ["rule"]

    def __str__(self) -> str:
        return self.rule


class RuleRun(models.Model):
    """How the last run of each rule went; `said` holds the sentence of one that threw.

    `began_at` is the instant of the whole run, which its alerts carry as well; `took_ms` is this rule's own share.
    """

    rule = models.CharField(max_length=40, primary_key=True)
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    ended_well_at = models.DateTimeField(null=True, blank=True)
    found = models.PositiveIntegerField(default=0)
    raised = models.PositiveIntegerField(default=0)
    closed = models.PositiveIntegerField(default=0)
    took_ms = models.PositiveIntegerField(null=True, blank=True, help_text="To find and to write, in milliseconds.")
    said = models.CharField(max_length=400, blank=True, default="")

    class Meta:
        ordering = ["rule"]

    def __str__(self) -> str:
        return self.rule


class Alert(models.Model):
    """Something a person must do by a time. The same rule, subject and occasion are one alert for ever.

    It closes by itself when its cause is gone. Should that prove untrue (a scan taken back), it opens again and is not told
    again; what a person closed stays closed.
    """

    rule = models.CharField(max_length=40)
    subject = models.CharField(max_length=60)
    occasion = models.CharField(max_length=80)
    title = models.CharField(max_length=160)
    says = models.CharField(max_length=500)
    url = models.CharField(max_length=300)
    show = models.BigIntegerField(null=True, blank=True, help_text="A show's key; shows is a floor above.")
    by = models.DateTimeField(null=True, blank=True)
    stage = models.PositiveSmallIntegerField(default=0)
    urgent = models.BooleanField(default=False)
    digest = models.BooleanField(default=True)
    role = models.CharField(max_length=12, choices=[(r.value, r.value) for r in Role], default=Role.TECHNICIAN)
    raised_at = models.DateTimeField()
    while_closed = models.BooleanField(default=False, help_text="Found on waking: it came while the program was closed.")
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_how = models.CharField(max_length=12, blank=True, default="", choices=[(c.value, c.value) for c in Closed])
    closed_says = models.CharField(max_length=200, blank=True, default="")
    snoozed_until = models.DateTimeField(null=True, blank=True)
    snoozed_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    handed_to = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="alerts_handed")
    handed_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    handed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-raised_at", "-pk"]
        indexes = [
            # the inbox: what is open, what came lately
            models.Index(fields=["closed_at", "raised_at"], name="alert_open"),
            # the engine: what of this rule is open?
            models.Index(fields=["rule", "closed_at"], name="alert_of_rule"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["rule", "subject", "occasion"],
                name="alert_once",
                violation_error_message="That was said before.",
            ),
            models.CheckConstraint(
                condition=~Q(occasion="") & ~Q(subject=""),
                name="alert_has_occasion",
                violation_error_message="An alert has a subject and an occasion.",
            ),
            models.CheckConstraint(
                condition=Q(closed_at=None, closed_how="") | (Q(closed_at__isnull=False) & ~Q(closed_how="")),
                name="alert_closed_with_how",
                violation_error_message="A closed alert says how it closed.",
            ),
        ]

    def __str__(self) -> str:
        return self.title

    def get_absolute_url(self) -> str:
        return reverse("alert", args=[self.pk])


class Telling(models.Model):
    """How a person is told: the hour of the digest, quiet hours, their zone, and the secret of their calendar (its hash)."""

    person = models.OneToOneField(Person, on_delete=models.CASCADE, primary_key=True, related_name="telling")
    time_zone = models.CharField(max_length=64, blank=True, default="", help_text="Empty: the company's.")
    digest_at = models.TimeField(null=True, blank=True, default=time(8, 0), help_text="Empty: no digest.")
    quiet_from = models.TimeField(null=True, blank=True, default=time(22, 0))
    quiet_until = models.TimeField(null=True, blank=True, default=time(7, 0))
    calendar_digest = models.CharField(max_length=64, null=True, blank=True, unique=True)
    calendar_made_at = models.DateTimeField(null=True, blank=True)
    calendar_read_at = models.DateTimeField(null=True, blank=True)
    calendar_tag = models.CharField(max_length=64, blank=True, default="", help_text="What the calendar held when last read.")
    calendar_changed_at = models.DateTimeField(null=True, blank=True, help_text="When it was first read so.")
    calendar_mail_on = models.BooleanField(default=False, help_text="Mail the calendar as a file, once a week.")
    calendar_mailed_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return str(self.person)


class Address(models.Model):
    """Where a person is told. `sealed` is the address under the program's key: it is shown once, then only `shown`, masked."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="addresses")
    kind = models.CharField(max_length=8, choices=[(k.value, k.value) for k in AddressKind])
    service = models.CharField(max_length=20, default="email", help_text="A name from the list of allowed services.")
    shown = models.CharField(max_length=120)
    sealed = models.TextField()
    fingerprint = models.CharField(max_length=64, help_text="A keyed hash: the same address is not added twice.")
    made_at = models.DateTimeField()
    tried_at = models.DateTimeField(null=True, blank=True)
    tried_well = models.BooleanField(default=False)
    off_at = models.DateTimeField(null=True, blank=True)
    off_why = models.CharField(max_length=300, blank=True, default="")
    removed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["person", "made_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["person", "fingerprint"],
                condition=Q(removed_at=None),
                name="address_once_a_person",
                violation_error_message="That address is on your list already.",
            ),
        ]

    def __str__(self) -> str:
        return self.shown


class Digest(models.Model):
    """One person's digest of one day: what was raised and what closed since the one before, up to `upto`."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="digests")
    day = models.DateField(help_text="In the person's zone.")
    since = models.DateTimeField()
    upto = models.DateTimeField()
    raised = models.PositiveIntegerField(default=0)
    closed = models.PositiveIntegerField(default=0)
    still_open = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["-day", "person"]
        constraints = [
            models.UniqueConstraint(
                fields=["person", "day"], name="digest_once_a_day", violation_error_message="That day's digest was made."
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person}, {self.day}"


class Delivery(models.Model):
    """Somebody to be told of one thing at one address. Leased, retried, at least once; never doubled by a second run.

    Its row is written with the alert, in one transaction. What cannot be sent is put aside with its sentence, and shown.
    """

    alert = models.ForeignKey(Alert, null=True, blank=True, on_delete=models.CASCADE, related_name="deliveries")
    digest = models.ForeignKey(Digest, null=True, blank=True, on_delete=models.CASCADE, related_name="deliveries")
    stage = models.PositiveSmallIntegerField(default=0)
    address = models.ForeignKey(Address, on_delete=models.CASCADE, related_name="deliveries")
    state = models.CharField(max_length=8, choices=[(s.value, s.value) for s in DeliveryState], default=DeliveryState.WAITING)
    made_at = models.DateTimeField()
    not_before = models.DateTimeField(help_text="Quiet hours, or the pause after a failure.")
    lease_until = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    sent_at = models.DateTimeField(null=True, blank=True)
    said = models.CharField(max_length=300, blank=True, default="")

    class Meta:
        verbose_name_plural = "deliveries"
        ordering = ["-made_at", "-pk"]
        indexes = [
            # the outbox: what is to be sent now, the oldest first?
            models.Index(fields=["state", "not_before"], name="delivery_to_send"),
        ]
        constraints = [
            models.UniqueConstraint(
                fields=["alert", "stage", "address"],
                name="delivery_once",
                violation_error_message="That was told there before.",
            ),
            models.UniqueConstraint(
                fields=["digest", "address"],
                name="delivery_digest_once",
                violation_error_message="That digest was sent there before.",
            ),
            models.CheckConstraint(
                condition=Q(alert__isnull=False, digest=None) | Q(alert=None, digest__isnull=False),
                name="delivery_of_one_thing",
                violation_error_message="A delivery is of an alert or of a digest.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.alert or self.digest} to {self.address}"


class Attempt(models.Model):
    """One attempt at a delivery, written before it is made: one without an end fell between sending and recording."""

    delivery = models.ForeignKey(Delivery, on_delete=models.CASCADE, related_name="attempts")
    number = models.PositiveSmallIntegerField()
    began_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    went = models.BooleanField(default=False)
    said = models.CharField(max_length=300, blank=True, default="")

    class Meta:
        ordering = ["delivery", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["delivery", "number"],
                name="attempt_numbered",
                violation_error_message="That attempt was made.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.delivery}, attempt {self.number}"
