"""Strays: things that came back and are not ours."""

from django.db import models

from company.models import Person


class Stray(models.Model):
    """Something that came back with our gear; it waits here until its owner has it again."""

    what = models.CharField(max_length=120)
    code_text = models.CharField(max_length=200, blank=True, default="", help_text="What its label said, if it had one.")
    found_at = models.DateTimeField()
    show = models.BigIntegerField(null=True, blank=True, help_text="A show's key; shows is a floor above.")
    whose = models.CharField(max_length=80, blank=True, default="")
    where = models.CharField(max_length=80, blank=True, default="")
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    settled_on = models.DateField(null=True, blank=True)
    settled_how = models.CharField(max_length=120, blank=True, default="")

    class Meta:
        ordering = ["-found_at", "-pk"]

    def __str__(self) -> str:
        return self.what
