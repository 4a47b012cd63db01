"""Gear types, places and items."""

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import F, Q
from django.db.models.functions import Length
from django.db.models.lookups import Exact
from django.urls import reverse

from inventory.calc.kinds import KIND_NAMES, KINDS_WITHOUT_STANDING, Kind
from inventory.querysets import ItemQuerySet

LENGTH_MM = [MinValueValidator(0), MaxValueValidator(1_000_000)]


class GearType(models.Model):
    """A kind of thing we own; its electrical facts hang on it one-to-one, in the facts table of its kind."""

    key = models.SlugField(max_length=60, unique=True, null=True, blank=True, help_text="The catalogue's name for it.")
    name = models.CharField(max_length=80, unique=True)
    kind = models.CharField(max_length=16, choices=[(k.value, KIND_NAMES[k]) for k in Kind])
    has_standing = models.BooleanField(default=True, editable=False)
    counted_at_first = models.BooleanField(
        default=False, help_text="Usually counted by type and length, not labelled one by one."
    )
    mass_g = models.PositiveIntegerField(null=True, blank=True, help_text="Grams.")
    replacement_cents = models.PositiveIntegerField(null=True, blank=True)
    bays = models.PositiveSmallIntegerField(default=0, help_text="Places for cells.", validators=[MaxValueValidator(24)])
    cell_size = models.CharField(max_length=12, blank=True, default="", help_text="The cell it takes, such as 6LR61 or LR6.")
    label_diameter_mm = models.DecimalField(
        max_digits=4,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="Millimetres: what a flag wraps around.",
        validators=[MinValueValidator(1), MaxValueValidator(200)],
    )
    notes = models.TextField(blank=True, default="", max_length=2000)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=[k.value for k in Kind]),
                name="gear_type_kind_known",
                violation_error_message="That kind of gear is not one the program knows.",
            ),
            models.CheckConstraint(
                condition=~Q(name=""), name="gear_type_named", violation_error_message="A gear type needs a name."
            ),
            models.CheckConstraint(
                condition=Q(has_standing=True, kind__in=[k.value for k in Kind if k not in KINDS_WITHOUT_STANDING])
                | Q(has_standing=False, kind__in=[k.value for k in Kind if k in KINDS_WITHOUT_STANDING]),
                name="gear_type_standing_by_kind",
                violation_error_message="Stands, cases and consumables have no standing; everything else has one.",
            ),
        ]
        indexes = [
            models.Index(fields=["kind", "name"], name="gear_type_by_kind"),  # the list of types, by kind
        ]

    def __str__(self) -> str:
        return self.name

    def get_absolute_url(self) -> str:
        return reverse("gear-type", args=[self.pk])

    @property
    def facts(self) -> models.Model | None:
        """Return the facts of its kind, or None while nobody has entered any."""
        from inventory.models.facts import FACTS_OF_KIND

        return getattr(self, FACTS_OF_KIND[Kind(self.kind)]._meta.get_field("type").remote_field.related_name, None)


class Place(models.Model):
    """Somewhere gear stays that is not a case or a show: a shelf, the bench, a repairer."""

    class Sort(models.TextChoices):
        SHELF = "shelf"
        BENCH = "bench"
        REPAIRER = "repairer"

    name = models.CharField(max_length=60, unique=True)
    sort = models.CharField(max_length=8, choices=Sort.choices, default=Sort.SHELF)
    rank = models.PositiveSmallIntegerField(default=100, help_text="The order a person walks the shelves in.")

    class Meta:
        ordering = ["rank", "name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(sort__in=["shelf", "bench", "repairer"]),
                name="place_sort_known",
                violation_error_message="A place is a shelf, a bench or a repairer.",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Item(models.Model):
    """One labelled thing. Its public address is its code; is-it-good and where-is-it are two separate expressions.

    The columns of each question are written by one service alone:
    retired_on: inventory.services.item_retire; suspect_since, tested_on, test_by, taken_as_good_on, excepts:
    maintenance.services; custody, custody_show, custody_since: shows.services; in_case: inventory.services.placement_record;
    missing_since: shows.services.
    """

    code = models.CharField(max_length=8, unique=True)
    # no index of its own: item_by_type begins with it, and a second one would tempt the planner away from the list's order
    type = models.ForeignKey(GearType, on_delete=models.PROTECT, related_name="items", db_index=False)
    name = models.CharField(max_length=40, blank=True, default="", help_text="What tells it from its kind: A, 3, red.")
    length_mm = models.PositiveIntegerField(
        default=0, validators=LENGTH_MM, help_text="Millimetres; 0 where length means nothing."
    )
    serial = models.CharField(max_length=60, blank=True, default="")
    maker = models.CharField(max_length=60, blank=True, default="")
    bought_on = models.DateField(null=True, blank=True)
    price_cents = models.PositiveIntegerField(null=True, blank=True)
    photo = models.ImageField(upload_to="photos/", null=True, blank=True)
    thumbnail = models.ImageField(upload_to="photos/", null=True, blank=True)
    notes = models.TextField(blank=True, default="", max_length=4000)
    calibrated_on = models.DateField(null=True, blank=True)
    calibration_due_on = models.DateField(null=True, blank=True)
    added_at = models.DateTimeField()

    # ours, or borrowed from somebody until a day
    borrowed_from = models.CharField(max_length=80, blank=True, default="")
    give_back_by = models.DateField(null=True, blank=True)
    gone_home_on = models.DateField(null=True, blank=True)
    # lent by us to somebody
    lent_to = models.CharField(max_length=80, blank=True, default="")
    lent_on = models.DateField(null=True, blank=True)
    lent_home_by = models.DateField(null=True, blank=True)

    # is it good
    retired_on = models.DateField(null=True, blank=True)
    retired_because = models.CharField(max_length=200, blank=True, default="")
    suspect_since = models.DateTimeField(null=True, blank=True)
    test_by = models.DateField(null=True, blank=True)
    tested_on = models.DateField(null=True, blank=True)
    taken_as_good_on = models.DateField(null=True, blank=True)
    excepts = models.CharField(max_length=120, blank=True, default="", help_text="Dead channels, as 7 or 7, 14.")

    # where is it
    home = models.ForeignKey(Place, null=True, blank=True, on_delete=models.SET_NULL, related_name="homed_items")
    at = models.ForeignKey(Place, null=True, blank=True, on_delete=models.SET_NULL, related_name="items_there")
    in_case = models.ForeignKey("self", null=True, blank=True, on_delete=models.SET_NULL, related_name="contents")
    custody = models.CharField(max_length=5, blank=True, default="", editable=False)  # "", "show" or "truck"
    custody_show = models.BigIntegerField(null=True, blank=True, editable=False)  # a show's key: shows is a floor above
    custody_since = models.DateTimeField(null=True, blank=True, editable=False)
    missing_since = models.DateTimeField(null=True, blank=True)

    label_gone_since = models.DateTimeField(null=True, blank=True)

    objects = ItemQuerySet.as_manager()

    class Meta:
        ordering = ["type__name", "length_mm", "name", "code"]
        constraints = [
            models.CheckConstraint(
                condition=Exact(Length(F("code")), 8),
                name="item_code_shape",
                violation_error_message="A code is eight letters and figures, without I, L, O and U.",
            ),
            models.CheckConstraint(
                condition=Q(length_mm__lte=1_000_000),
                name="item_length_range",
                violation_error_message="A length lies between 0 and 1000 m.",
            ),
            models.CheckConstraint(
                condition=Q(custody__in=["", "show", "truck"]),
                name="item_custody_known",
                violation_error_message="An item is in the shop, at a show or on the truck.",
            ),
            models.CheckConstraint(
                condition=Q(custody="", custody_show=None) | (~Q(custody="") & Q(custody_show__isnull=False)),
                name="item_custody_names_show",
                violation_error_message="An item that is out is out to a show.",
            ),
            models.CheckConstraint(
                condition=Q(lent_to="", lent_on=None) | ~Q(lent_to=""),
                name="item_lent_to_somebody",
                violation_error_message="An item is lent to somebody.",
            ),
            models.CheckConstraint(
                condition=Q(in_case=None) | ~Q(in_case=F("id")),
                name="item_not_in_itself",
                violation_error_message="A case cannot be packed in itself.",
            ),
            models.CheckConstraint(
                condition=Q(retired_on=None) | ~Q(retired_because=""),
                name="item_retired_with_reason",
                violation_error_message="Say why it is retired.",
            ),
        ]
        indexes = [
            models.Index(fields=["type", "length_mm", "name", "code"], name="item_by_type"),  # the gear list, in its order
            models.Index(fields=["custody_show"], name="item_out", condition=Q(custody_show__isnull=False)),  # out to a show
            models.Index(
                fields=["suspect_since"], name="item_suspect", condition=Q(suspect_since__isnull=False)
            ),  # needs a person
            models.Index(fields=["test_by"], name="item_test_by", condition=Q(test_by__isnull=False)),  # due on or before a day
            models.Index(fields=["retired_on"], name="item_retired", condition=Q(retired_on__isnull=False)),
            models.Index(fields=["missing_since"], name="item_missing", condition=Q(missing_since__isnull=False)),
            models.Index(fields=["give_back_by"], name="item_give_back", condition=Q(give_back_by__isnull=False)),
            models.Index(fields=["lent_home_by"], name="item_lent", condition=Q(lent_home_by__isnull=False)),
            models.Index(fields=["label_gone_since"], name="item_label_gone", condition=Q(label_gone_since__isnull=False)),
            models.Index(fields=["excepts"], name="item_good_except", condition=~Q(excepts="")),  # good except 7
            models.Index(fields=["lent_to"], name="item_lent_to", condition=~Q(lent_to="")),  # lent, with or without a day
            models.Index(fields=["gone_home_on"], name="item_gone_home", condition=Q(gone_home_on__isnull=False)),
            # how many of a type and length we own, and how many are fit to go, for a pull list: every column such a count asks
            # for, so that it reads the index alone and not a type's thousands of rows
            models.Index(
                fields=[
                    *("type", "length_mm", "custody", "lent_to", "suspect_since", "test_by", "at", "lent_home_by"),
                    *("give_back_by", "retired_on", "gone_home_on", "missing_since"),
                ],
                name="item_stock",
                condition=Q(retired_on=None, gone_home_on=None, missing_since=None),
            ),
        ]

    def __str__(self) -> str:
        return self.label

    def get_absolute_url(self) -> str:
        return reverse("item", args=[self.code])

    @property
    def label(self) -> str:
        """Return what a person calls it: Active direct box A; Microphone lead 10 m."""
        from company.templatetags.tape import metres

        return " ".join(part for part in (self.type.name, self.name, metres(self.length_mm)) if part)


class GoesWith(models.Model):
    """What a thing needs beside it: a microphone wants a clip, a stand and a lead."""

    type = models.ForeignKey(GearType, on_delete=models.CASCADE, related_name="goes_with")
    needs = models.ForeignKey(GearType, on_delete=models.CASCADE, related_name="goes_with_of")
    length_mm = models.PositiveIntegerField(default=0, validators=LENGTH_MM)
    count = models.PositiveSmallIntegerField(default=1, validators=[MinValueValidator(1), MaxValueValidator(100)])

    class Meta:
        ordering = ["type", "needs"]
        constraints = [
            models.UniqueConstraint(
                fields=["type", "needs", "length_mm"],
                name="goes_with_once",
                violation_error_message="That already goes with it.",
            ),
            models.CheckConstraint(
                condition=~Q(type=F("needs")),
                name="goes_with_another",
                violation_error_message="A thing cannot go with itself.",
            ),
            models.CheckConstraint(
                condition=Q(count__gte=1, count__lte=100),
                name="goes_with_count",
                violation_error_message="Between 1 and 100 go with it.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.type}: {self.count} {self.needs}"
