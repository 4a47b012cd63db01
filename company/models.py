"""Who we are: people with roles, the company's settings, tokens, and jobs with progress."""

import hashlib
import secrets
from datetime import datetime
from functools import cached_property
from zoneinfo import ZoneInfo, available_timezones

from django.contrib.auth.models import AbstractUser, UserManager
from django.core.exceptions import ValidationError
from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.urls import reverse

from company.calc.roles import Role, at_least
from company.guards import guard

CREW = "crew"  # no role: what stands for a phone that scans on a pass, and may do nothing that a role may


class PeopleManager(UserManager["Person"]):
    """People, with the ones who sign in told from the phones on a crew pass."""

    def with_accounts(self) -> "models.QuerySet[Person]":
        """Return the people who were given an account, switched off or not: no phones on a crew pass."""
        return self.exclude(role=CREW)


class Person(AbstractUser):
    """Someone who signs in. A hand scans and reports; a technician also tests, edits and prints; an owner does all."""

    role = models.CharField(max_length=12, choices=[(r.value, r.value) for r in Role], default=Role.HAND)
    theme = models.CharField(max_length=5, choices=[("dark", "dark desk"), ("paper", "paper")], default="dark")
    must_change_password = models.BooleanField(default=False)

    objects = PeopleManager()

    class Meta:
        verbose_name = "person"
        verbose_name_plural = "people"
        ordering = ["username"]
        constraints = [
            models.CheckConstraint(
                condition=Q(role__in=[*(r.value for r in Role), CREW]),
                name="person_role_known",
                violation_error_message="A person is a hand, a technician or an owner.",
            ),
        ]

    def __str__(self) -> str:
        return self.first_name or self.username

    def get_absolute_url(self) -> str:
        return reverse("person", args=[self.pk])

    def is_at_least(self, role: str) -> bool:
        """Say whether this person may do what `role` may do."""
        return self.is_active and at_least(self.role, role)

    @property
    def is_technician(self) -> bool:
        return self.is_at_least(Role.TECHNICIAN)

    @property
    def is_owner(self) -> bool:
        return self.is_at_least(Role.OWNER)


def check_time_zone(value: str) -> None:
    if value not in available_timezones():
        raise ValidationError(f"{value} is not a time zone this machine knows. Try Europe/London.")


class Company(models.Model):
    """The one row of settings; read it with `Company.current()`."""

    name = models.CharField(max_length=80, default="Our company")
    country = models.CharField(max_length=2, default="GB", help_text="Two letters: GB, DE, US. Sets the first guesses below.")
    time_zone = models.CharField(max_length=64, default="Europe/London", validators=[check_time_zone])
    units = models.CharField(max_length=8, choices=[("metric", "metres"), ("imperial", "feet")], default="metric")
    currency = models.CharField(max_length=3, default="GBP")
    paper = models.CharField(max_length=8, choices=[("a4", "A4"), ("letter", "US Letter")], default="a4")
    mains_hz = models.PositiveSmallIntegerField(choices=[(50, "50 Hz"), (60, "60 Hz")], default=50)
    phantom_first = models.BooleanField(
        default=True, help_text="Feed active boxes from the desk's phantom power where it gives any; cells are the spare."
    )
    bench_minutes_a_month = models.PositiveIntegerField(default=240, validators=[MaxValueValidator(44_640)])
    cell_show_limit = models.PositiveIntegerField(
        default=50,
        validators=[MinValueValidator(2), MaxValueValidator(10_000)],
        help_text="One show in so many may lose a channel to a cell.",
    )
    unbalanced_limit_mm = models.PositiveIntegerField(
        default=6_000, validators=[MinValueValidator(500), MaxValueValidator(100_000)]
    )
    site_address = models.CharField(
        max_length=120,
        blank=True,
        default="",
        help_text="The address that labels will carry for good, as https://gear.example.org. Empty: they carry the bare code.",
    )
    set_up_at = models.DateTimeField(null=True, blank=True)
    is_demo = models.BooleanField(default=False)
    demo_dated = models.DateField(null=True, blank=True)

    class Meta:
        verbose_name = verbose_name_plural = "company settings"
        constraints = [
            models.CheckConstraint(
                condition=Q(pk=1), name="company_only_one", violation_error_message="There is only one company."
            ),
            models.CheckConstraint(
                condition=Q(mains_hz__in=[50, 60]),
                name="company_mains_hz",
                violation_error_message="Mains is 50 or 60 Hz.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def current(cls) -> "Company":
        """Return the settings, making them with defaults the first time."""
        found = cls.objects.filter(pk=1).first()
        return found or cls.objects.get_or_create(pk=1)[0]

    @cached_property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)


class ApiToken(models.Model):
    """A bearer token for the HTTP API. Only its hash is kept; a person may have several."""

    person = models.ForeignKey(Person, on_delete=models.CASCADE, related_name="api_tokens")
    name = models.CharField(max_length=60, default="token")
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    used_at = models.DateTimeField(null=True, blank=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-made_at"]

    def __str__(self) -> str:
        return f"{self.name} of {self.person}"

    @staticmethod
    def hash_of(token: str) -> str:
        return hashlib.sha256(token.encode()).hexdigest()

    @classmethod
    def make(cls, *, person: Person, name: str, made_at: datetime) -> tuple["ApiToken", str]:
        """Make a token; the readable text is returned once and stored nowhere."""
        text = secrets.token_urlsafe(32)
        return cls.objects.create(person=person, name=name, digest=cls.hash_of(text), made_at=made_at), text


class Job(models.Model):
    """A piece of work that takes longer than a page may: its row is the work, a broker message only wakes a worker.

    A worker takes a job by a lease; a worker that dies leaves a lease that runs out, and the next tick takes it again.
    """

    class State(models.TextChoices):
        QUEUED = "queued"
        RUNNING = "running"
        DONE = "done"
        FAILED = "failed"

    kind = models.CharField(max_length=40)
    title = models.CharField(max_length=160)
    state = models.CharField(max_length=8, choices=State.choices, default=State.QUEUED)
    done = models.PositiveIntegerField(default=0)
    total = models.PositiveIntegerField(default=0)
    said = models.CharField(
        max_length=400, blank=True, default="", help_text="One sentence: what is happening, or why it failed."
    )
    given = models.JSONField(default=dict, blank=True)
    result = models.JSONField(default=dict, blank=True)
    file = models.FileField(upload_to="jobs/", null=True, blank=True)
    result_file = models.FileField(upload_to="jobs/", null=True, blank=True)
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="jobs")
    made_at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)

    class Meta:
        ordering = ["-made_at", "-pk"]
        indexes = [
            # the tick's question: what is queued, or running with a lease that ran out?
            models.Index(fields=["state", "lease_until"], name="job_to_take"),
        ]
        constraints = [
            models.CheckConstraint(
                condition=Q(state__in=["queued", "running", "done", "failed"]),
                name="job_state_known",
                violation_error_message="A job is queued, running, done or failed.",
            ),
        ]

    def __str__(self) -> str:
        return self.title

    def get_absolute_url(self) -> str:
        return reverse("job", args=[self.pk])


class Pulse(models.Model):
    """When a process of one kind was last seen alive: "worker" and "clock", one row each."""

    name = models.CharField(max_length=20, primary_key=True)
    at = models.DateTimeField()
    started_at = models.DateTimeField(null=True, blank=True)
    boot = models.CharField(max_length=36, blank=True, default="", help_text="Which start of the machine.")
    awake_s = models.FloatField(default=0, help_text="Its clock that stands still in sleep.")
    since_boot_s = models.FloatField(default=0, help_text="Its clock that runs on in sleep.")

    class Meta:
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Absence(models.Model):
    """A stretch during which the program was closed, or its machine asleep: what came due in it is shown on waking.

    `machine_on`: the machine was awake and the program open; the worker alone stood still.
    """

    since = models.DateTimeField()
    until = models.DateTimeField(unique=True)
    machine_on = models.BooleanField(default=False)

    class Meta:
        ordering = ["-until"]
        constraints = [
            models.CheckConstraint(
                condition=Q(until__gt=models.F("since")),
                name="absence_ends_after_it_began",
                violation_error_message="It ends after it began.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.since} to {self.until}"


guard(ApiToken, Company, Job, Pulse)
