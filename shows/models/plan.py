"""What is on stage: kinds of sources, input and output lines, lists to start from, and which thing was promised to a line."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q

from company.models import Person
from inventory.models import GearType, Item
from shows.calc.lines import Family, LineWay, PhantomWish, Side, Sort, Way, Whose
from shows.calc.words import Critical, Feed
from shows.models.shows import Show
from shows.models.stage import StagePlace

OHM = [MinValueValidator(0), MaxValueValidator(1e9)]
DBU = [MinValueValidator(-200), MaxValueValidator(200)]
NUMBER = [MinValueValidator(1), MaxValueValidator(999)]


class SourceType(models.Model):
    """A kind of source with what is known of it electrically: typical, and between which ends it lies.

    Levels are dBu with nothing connected, `spl_db` peaks at the usual distance of its microphone. `usual` names the catalogue
    types that suit it, the best first.
    """

    key = models.SlugField(max_length=40, unique=True)
    name = models.CharField(max_length=80, unique=True)
    family = models.CharField(max_length=10, choices=[(f.value, f.value) for f in Family])
    also = models.CharField(
        max_length=200, blank=True, default="", help_text="Other words it is written by, with commas between."
    )
    way = models.CharField(max_length=11, choices=[(w.value, w.value) for w in Way], default=Way.ELECTRIC)
    sort = models.CharField(max_length=9, choices=[(s.value, s.value) for s in Sort], default=Sort.RESISTIVE)
    lines = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1), MaxValueValidator(2)])
    ohm = models.FloatField(null=True, blank=True, validators=OHM)
    least_ohm = models.FloatField(null=True, blank=True, validators=OHM)
    most_ohm = models.FloatField(null=True, blank=True, validators=OHM)
    henry = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(100)])
    own_pf = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1e7)])
    across_ohm = models.FloatField(null=True, blank=True, validators=OHM)
    typical_dbu = models.FloatField(null=True, blank=True, validators=DBU)
    peak_dbu = models.FloatField(null=True, blank=True, validators=DBU)
    spl_db = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(200)])
    balanced = models.BooleanField(default=False)
    stereo_jack = models.BooleanField(default=False, help_text="Left and right in one three-pole jack.")
    mains_a = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1000)])
    is_mains = models.BooleanField(default=False, help_text="Plugged into the mains, itself or what feeds it.")
    wants_phantom = models.BooleanField(default=False, help_text="A player's own condenser microphone or box that lives on it.")
    draw_ma = models.FloatField(null=True, blank=True, validators=[MinValueValidator(0), MaxValueValidator(1000)])
    phantom_harm = models.CharField(max_length=80, blank=True, default="", help_text="What it is, where phantom would harm it.")
    lead_mm = models.PositiveIntegerField(default=3_000, validators=[MaxValueValidator(100_000)])
    usual = models.JSONField(default=list, blank=True)
    stand = models.SlugField(max_length=40, blank=True, default="", help_text="The catalogue key of its usual stand.")
    notes = models.CharField(max_length=300, blank=True, default="")
    source = models.CharField(max_length=200, blank=True, default="", help_text="Where the figures are from.")
    shipped = models.BooleanField(default=False)
    rank = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["rank", "name"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(name=""), name="source_type_named", violation_error_message="A kind of source needs a name."
            ),
            models.CheckConstraint(
                condition=Q(typical_dbu=None) | Q(peak_dbu=None) | Q(typical_dbu__lte=models.F("peak_dbu")),
                name="source_type_levels",
                violation_error_message="A peak is not below the typical level.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class InputLine(models.Model):
    """One line of a show: a source into the desk, or a mix out of it. `pickup` None: what the numbers advise."""

    show = models.ForeignKey(Show, on_delete=models.CASCADE, related_name="lines")
    way = models.CharField(max_length=3, choices=[(w.value, w.value) for w in LineWay], default=LineWay.IN)
    number = models.PositiveSmallIntegerField(validators=NUMBER)
    source = models.CharField(max_length=60)
    type = models.ForeignKey(SourceType, null=True, blank=True, on_delete=models.PROTECT, related_name="input_lines")
    side = models.CharField(max_length=5, blank=True, default="", choices=[(s.value, s.value or "whole") for s in Side])
    player = models.CharField(max_length=60, blank=True, default="")
    place = models.ForeignKey(StagePlace, null=True, blank=True, on_delete=models.SET_NULL, related_name="lines")
    pickup = models.ForeignKey(GearType, null=True, blank=True, on_delete=models.PROTECT, related_name="picks_up")
    stand = models.ForeignKey(GearType, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    desk_input = models.PositiveSmallIntegerField(null=True, blank=True, validators=NUMBER)
    box = models.ForeignKey(StagePlace, null=True, blank=True, on_delete=models.SET_NULL, related_name="patched")
    box_input = models.PositiveSmallIntegerField(null=True, blank=True, validators=NUMBER)
    phantom = models.CharField(
        max_length=3, blank=True, default="", choices=[(p.value, p.value or "as needed") for p in PhantomWish]
    )
    feed = models.CharField(max_length=8, blank=True, default="", choices=[(f.value, f.value or "nothing") for f in Feed])
    whose = models.CharField(max_length=6, choices=[(w.value, w.value) for w in Whose], default=Whose.OURS)
    critical = models.CharField(max_length=8, choices=[(c.value, c.value) for c in Critical], default=Critical.NORMAL)
    notes = models.CharField(max_length=200, blank=True, default="")

    class Meta:
        ordering = ["way", "number"]
        constraints = [
            models.UniqueConstraint(
                fields=["show", "way", "number"],
                name="input_line_number_once",
                violation_error_message="Two lines have that number.",
            ),
            models.CheckConstraint(
                condition=~Q(source=""), name="input_line_source", violation_error_message="A line needs a source."
            ),
        ]

    def __str__(self) -> str:
        return f"{self.number} {self.source}"

    @property
    def called(self) -> str:
        """Return how a pull list names the line: 5, or Out 2."""
        return str(self.number) if self.way == LineWay.IN else f"Out {self.number}"


class ListTemplate(models.Model):
    """An input list to start from. `lines` are rows of the grid by the names of its columns."""

    key = models.SlugField(max_length=40, null=True, blank=True, unique=True)
    name = models.CharField(max_length=80, unique=True)
    notes = models.CharField(max_length=300, blank=True, default="")
    lines = models.JSONField(default=list)
    shipped = models.BooleanField(default=False)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(name=""), name="list_template_named", violation_error_message="A list needs a name."
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Promised(models.Model):
    """Which actual thing goes to a line, with what speaks against it; `by_hand`: a person chose it and it stays."""

    line = models.OneToOneField(InputLine, on_delete=models.CASCADE, related_name="promised")
    item = models.ForeignKey(Item, on_delete=models.CASCADE, related_name="promised_to")
    doubts = models.CharField(max_length=300, blank=True, default="")
    by_hand = models.BooleanField(default=False)
    made_at = models.DateTimeField()

    class Meta:
        ordering = ["line__number", "pk"]

    def __str__(self) -> str:
        return f"{self.item_id} to {self.line_id}"


class ListSave(models.Model):
    """One save of an input list, and its rows as they were before it: the way back, and whose change came between.

    `was` and `became` are marks of the list's state before and after (`line_changes.digest`).
    """

    show = models.ForeignKey(Show, on_delete=models.CASCADE, related_name="list_saves")
    at = models.DateTimeField()
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    did = models.CharField(max_length=120, blank=True, default="", help_text="What it was, where it was more than typed.")
    before = models.JSONField(default=list, blank=True)
    was = models.CharField(max_length=16)
    became = models.CharField(max_length=16)

    class Meta:
        ordering = ["-pk"]

    def __str__(self) -> str:
        return f"list of {self.show_id} saved"
