"""Crew passes: a link that lets a hand without an account scan for one show. Neither link nor cookie is stored in the clear."""

import hashlib

from django.db import models

from company.models import Person
from shows.calc.crew import Limits
from shows.models.shows import Show


class CrewPass(models.Model):
    """A pass for one show, shown once as a QR code; as many phones start on it as open it before the show is home."""

    show = models.ForeignKey(Show, on_delete=models.CASCADE, related_name="passes")
    digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    made_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_by = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ["-made_at", "-pk"]

    def __str__(self) -> str:
        return f"pass {self.pk}"

    @staticmethod
    def hash_of(token: str) -> str:
        """Return what is stored of a token: it is long and random, so a plain hash cannot be searched."""
        return hashlib.sha256(token.encode("utf-8", "replace")).hexdigest()


class PassHolder(models.Model):
    """One phone on a pass. `person` stands for it in the record of scans: it has no password and no role."""

    crew_pass = models.ForeignKey(CrewPass, on_delete=models.CASCADE, related_name="holders")
    person = models.OneToOneField(Person, on_delete=models.PROTECT, related_name="pass_holder")
    digest = models.CharField(max_length=64, unique=True)
    name = models.CharField(max_length=40, blank=True, default="")
    started_at = models.DateTimeField()
    seen_at = models.DateTimeField()
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["started_at", "pk"]

    def __str__(self) -> str:
        return self.name or f"phone {self.pk}"

    @property
    def limits(self) -> Limits:
        """Return what this phone may scan; needs the pass and its show read with it."""
        gone = [at for at in (self.withdrawn_at, self.crew_pass.withdrawn_at) if at is not None]
        show = self.crew_pass.show
        return Limits(
            show=show.pk,
            name=show.name,
            since=self.started_at,
            home_by=show.home_by,
            withdrawn_at=min(gone, default=None),
        )
