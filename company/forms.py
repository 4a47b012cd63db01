"""Forms of who we are. They check shapes; what must hold is in the services and the database."""

from decimal import Decimal
from ipaddress import ip_address
from typing import Any
from urllib.parse import urlsplit

from django import forms
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.validators import UnicodeUsernameValidator

from company.calc.countries import COUNTRIES
from company.calc.roles import Role
from company.models import Company, Person
from company.plain import Form, ModelForm, Sentences

ROLE_WORDS = [
    (Role.HAND, "hand: scans and reports"),
    (Role.TECHNICIAN, "technician: also tests, edits gear, prints labels"),
    (Role.OWNER, "owner: also manages people, deletes, sees prices"),
]


class Plain:
    """A form whose labels end in no colon."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **{"label_suffix": "", **kwargs})


class PasswordForm(Plain, Sentences, PasswordChangeForm):
    """Change one's own password."""

    error_messages = {
        **PasswordChangeForm.error_messages,
        "password_incorrect": "That is not your present password.",
        "password_mismatch": "The two new passwords differ.",
    }

    def __init__(self, user: Person, *args: Any, **kwargs: Any) -> None:
        super().__init__(user, *args, **kwargs)
        self.was_asked = user.must_change_password
        self.fields["old_password"].label = "Password you signed in with" if self.was_asked else "Present password"
        self.fields["new_password1"].label = "New password"
        self.fields["new_password1"].help_text = "At least 8 characters, and not one of the passwords everybody uses."
        self.fields["new_password2"].label = "New password again"
        self.fields["new_password2"].help_text = ""

    def clean_new_password1(self) -> str:
        chosen = self.cleaned_data["new_password1"]
        if self.user.check_password(chosen):
            raise forms.ValidationError("That is the password you have already. Choose another.")
        return chosen


class MeForm(Plain, ModelForm):
    """What somebody may change about themselves."""

    class Meta:
        model = Person
        fields = ["first_name", "email", "theme"]
        labels = {"first_name": "Name", "email": "E-mail", "theme": "Look"}
        help_texts = {
            "first_name": "What others call you: it stands beside your scans.",
            "email": "For notices. May stay empty.",
        }
        widgets = {
            "first_name": forms.TextInput(attrs={"autocomplete": "given-name"}),
            "email": forms.EmailInput(attrs={"autocomplete": "email"}),
        }


class TokenForm(Plain, Form):
    """Name a new API token."""

    name = forms.CharField(
        label="What is it for?", max_length=60, widget=forms.TextInput(attrs={"placeholder": "door scanner"})
    )


class PersonAddForm(Plain, Form):
    """Add somebody."""

    username = forms.CharField(
        label="Signs in as",
        max_length=150,
        validators=[UnicodeUsernameValidator(message="Letters, figures and @ . + - _ only.")],
        widget=forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "none", "spellcheck": "false"}),
        help_text="Short and easy on a phone: ines.",
    )
    first_name = forms.CharField(label="Name", max_length=150, required=False, help_text="What others call them.")
    email = forms.EmailField(label="E-mail", required=False, help_text="For notices. May stay empty.")
    role = forms.ChoiceField(label="Role", choices=ROLE_WORDS, initial=Role.HAND, widget=forms.RadioSelect)

    def clean_username(self) -> str:
        name = self.cleaned_data["username"]
        if Person.objects.filter(username__iexact=name).exists():
            raise forms.ValidationError("Somebody signs in with that name already.")
        return name


class PersonForm(Plain, Form):
    """Change somebody."""

    first_name = forms.CharField(label="Name", max_length=150, required=False)
    email = forms.EmailField(label="E-mail", required=False)
    role = forms.ChoiceField(label="Role", choices=ROLE_WORDS, widget=forms.RadioSelect)
    is_active = forms.BooleanField(
        label="May sign in", required=False, help_text="Untick to switch somebody off. What they did stays on record."
    )


def country_choices(now: str = "") -> list[tuple[str, str]]:
    """Every country of the table by name, and the one chosen now even if it is not in it."""
    rows = sorted(((c.code, c.name) for c in COUNTRIES.values()), key=lambda row: row[1])
    return rows if not now or now in COUNTRIES else [(now, now), *rows]


class CountryForm(Plain, Form):
    """Choose the country; the rest follows as a first guess."""

    country = forms.ChoiceField(label="Country")

    def __init__(self, *args: Any, company: Company, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["country"].choices = country_choices(company.country)
        self.initial.setdefault("country", company.country)


class SettingsForm(Plain, ModelForm):
    """All settings but the country, in groups a person can find their way in."""

    unbalanced_limit_m = forms.DecimalField(
        label="Longest unbalanced lead (m)",
        min_value=Decimal("0.5"),
        max_value=100,
        max_digits=5,
        decimal_places=2,
        help_text="Between an instrument and its box. Above this the plan asks for a box nearer the source.",
    )

    class Meta:
        model = Company
        fields = [
            "name",
            "time_zone",
            "currency",
            "units",
            "paper",
            "mains_hz",
            "phantom_first",
            "bench_minutes_a_month",
            "cell_show_limit",
            "site_address",
        ]
        labels = {
            "name": "Company name",
            "time_zone": "Time zone",
            "currency": "Currency",
            "units": "Lengths in",
            "paper": "Paper",
            "mains_hz": "Mains",
            "phantom_first": "Phantom power first",
            "bench_minutes_a_month": "Bench minutes a month",
            "cell_show_limit": "Shows to one lost to a cell",
            "site_address": "Address on labels",
        }
        help_texts = {
            "time_zone": "All times are drawn in it, and a day ends at its midnight.",
            "currency": "Three letters, as GBP. Prices are seen by owners only.",
            "paper": "For pull lists and label sheets.",
            "mains_hz": "Hum is looked for at this frequency and its multiples.",
            "bench_minutes_a_month": "How long somebody can stand at the bench: what is most worth testing is fitted into it.",
            "cell_show_limit": "50: at most one show in 50 may lose a channel to a cell. More means more swaps.",
        }
        widgets = {
            "time_zone": forms.TextInput(attrs={"list": "time-zones", "autocomplete": "off"}),
            "currency": forms.TextInput(attrs={"autocapitalize": "characters"}),
            "site_address": forms.URLInput(attrs={"placeholder": "https://gear.example.org", "autocomplete": "off"}),
        }

    GROUPS = [
        ("Who and where", ["name", "time_zone", "currency"]),
        ("Measures", ["units", "paper", "mains_hz"]),
        ("How you work", ["phantom_first", "cell_show_limit", "bench_minutes_a_month", "unbalanced_limit_m"]),
        ("Labels", ["site_address"]),
    ]

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["cell_show_limit"].required = False
        self.initial["unbalanced_limit_m"] = f"{self.instance.unbalanced_limit_mm / 1000:g}"

    @property
    def groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        return [(heading, [self[name] for name in names]) for heading, names in self.GROUPS]

    def clean_name(self) -> str:
        return named(self.cleaned_data["name"])

    def clean_cell_show_limit(self) -> int:
        return self.cleaned_data["cell_show_limit"] or Company._meta.get_field("cell_show_limit").default

    def clean_currency(self) -> str:
        return three_letters(self.cleaned_data["currency"])

    def clean_site_address(self) -> str:
        return label_address(self.cleaned_data["site_address"])


class WelcomeForm(Plain, ModelForm):
    """The questions of the first day; the country is asked first, on a page of its own."""

    class Meta:
        model = Company
        fields = ["name", "time_zone", "paper", "phantom_first", "bench_minutes_a_month"]
        labels = {
            "name": "What is your company called?",
            "time_zone": "Which time zone does your day run in?",
            "paper": "Which paper is in the printer?",
            "phantom_first": "Feed active boxes from the desk's phantom power where it gives any",
            "bench_minutes_a_month": "How many minutes a month can somebody stand at the bench?",
        }
        help_texts = {
            "time_zone": "Guessed from the country. Change it if you live elsewhere.",
            "phantom_first": "Cells are then the spare. Untick if you would rather run on cells.",
            "bench_minutes_a_month": "240 is an hour a week. It decides how many tests are asked of you.",
        }
        widgets = {"time_zone": forms.TextInput(attrs={"list": "time-zones", "autocomplete": "off"})}

    def clean_name(self) -> str:
        return named(self.cleaned_data["name"])


def named(value: str) -> str:
    if not value.strip():
        raise forms.ValidationError("The company needs a name.")
    return value.strip()


def three_letters(value: str) -> str:
    value = value.strip().upper()
    if not (len(value) == 3 and value.isascii() and value.isalpha()):
        raise forms.ValidationError("A currency has three letters, as GBP or EUR.")
    return value


def label_address(value: str) -> str:
    """Check the address labels will carry: a scheme and a host, nothing behind it."""
    value = value.strip().rstrip("/")
    if not value:
        return ""
    try:
        parts = urlsplit(value)
        host, _port = parts.hostname or "", parts.port
    except ValueError:
        raise forms.ValidationError("That is no address. Write it as https://gear.example.org.") from None
    if parts.scheme not in {"http", "https"} or not host:
        raise forms.ValidationError("Start it with https:// (or http://) and a host name, as https://gear.example.org.")
    if parts.path or parts.query or parts.fragment or parts.username:
        raise forms.ValidationError("Only the host, please: nothing behind it, as https://gear.example.org.")
    if not host.isascii() or any(c.isspace() for c in host):
        raise forms.ValidationError("Plain letters, figures, dots and hyphens only.")
    try:
        ip_address(host)
    except ValueError:
        return f"{parts.scheme}://{parts.netloc.lower()}"
    raise forms.ValidationError("Not a number: labels outlive the machine. Use a name you can point elsewhere later.")
