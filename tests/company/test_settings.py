"""Company settings, countries, and the questions of the first day."""

from zoneinfo import available_timezones

import pytest
from django.db import IntegrityError, transaction

from company.calc.countries import COUNTRIES, first_guesses
from company.models import Company
from tests.builders import make_company, make_person
from tests.conftest import signed_in

GOOD = {
    "name": "Saltmarsh Sound",
    "time_zone": "Europe/London",
    "currency": "GBP",
    "units": "metric",
    "paper": "a4",
    "mains_hz": "50",
    "phantom_first": "on",
    "bench_minutes_a_month": "120",
    "unbalanced_limit_m": "5.5",
    "site_address": "",
}


def test_settings_are_saved_in_their_units(as_owner):
    assert as_owner.post("/settings/", {**GOOD, "site_address": "https://Gear.Example.org/"})["Location"] == "/settings/"
    company = Company.current()
    assert (company.name, company.bench_minutes_a_month, company.unbalanced_limit_mm) == ("Saltmarsh Sound", 120, 5500)
    assert company.site_address == "https://gear.example.org"
    page = as_owner.get("/settings/").content.decode()
    assert 'value="5.5"' in page and "Changing it here changes no label" in page


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("name", "  ", "required"),
        ("name", "x" * 81, "At most 80"),
        ("time_zone", "Mars/Olympus", "not a time zone"),
        ("time_zone", "../../etc/passwd", "not a time zone"),
        ("currency", "pounds", "At most 3"),
        ("currency", "12$", "three letters"),
        ("units", "cubits", "Pick one from the list"),
        ("mains_hz", "55", "Pick one from the list"),
        ("bench_minutes_a_month", "-1", "At least 0"),
        ("bench_minutes_a_month", "1e30", "whole number"),
        ("unbalanced_limit_m", "0.1", "At least 0.5"),
        ("unbalanced_limit_m", "NaN", "number"),
        ("unbalanced_limit_m", "1000", "At most 100"),
        ("site_address", "gear.example.org", "Start it with"),
        ("site_address", "ftp://gear.example.org", "Start it with"),
        ("site_address", "https://gear.example.org/x", "nothing behind"),
        ("site_address", "https://192.168.1.5", "Not a number"),
        ("site_address", "https://[::1", "no address"),
        ("site_address", "https://gear.example.org:99999999", "no address"),
    ],
)
def test_what_does_not_fit_is_said_and_nothing_is_saved(as_owner, field, value, said):
    page = as_owner.post("/settings/", {**GOOD, field: value})
    assert page.status_code == 200 and said in page.content.decode()
    assert Company.current().name == "Test Sound"


def test_country_brings_its_first_guesses_and_leaves_the_rest(as_owner):
    as_owner.post("/settings/", GOOD)
    as_owner.post("/settings/country/", {"country": "US"})
    company = Company.current()
    assert (company.country, company.time_zone, company.currency) == ("US", "America/New_York", "USD")
    assert (company.units, company.paper, company.mains_hz) == ("imperial", "letter", 60)
    assert (company.name, company.unbalanced_limit_mm) == ("Saltmarsh Sound", 5500)
    as_owner.post("/settings/", {**GOOD, "paper": "a4"})
    assert Company.current().paper == "a4" and Company.current().country == "US"


@pytest.mark.parametrize("country", ["", "XX", "us<script>", "\x00"])
def test_unknown_country_changes_nothing(as_owner, country):
    page = as_owner.post("/settings/country/", {"country": country}, follow=True)
    assert "from the list" in page.content.decode() and Company.current().country == "GB"


def test_every_country_s_guesses_are_ones_the_settings_take(as_owner):
    zones = available_timezones()
    choices = {f.name: {str(c[0]) for c in f.choices} for f in Company._meta.fields if f.choices}
    assert len(COUNTRIES) > 50
    for code, country in COUNTRIES.items():
        assert len(code) == 2 and code.isupper() and country.time_zone in zones, code
        assert len(country.currency) == 3 and country.currency.isupper(), code
        assert {country.units} <= choices["units"] and {country.paper} <= choices["paper"], code
        assert {str(country.mains_hz)} <= choices["mains_hz"], code
    assert first_guesses("de") == COUNTRIES["DE"] and first_guesses("QQ") is None


def test_there_is_only_one_company(company):
    with pytest.raises(IntegrityError), transaction.atomic():
        Company.objects.create(pk=2)


@pytest.fixture
def first_day(db):
    return make_company(set_up_at=None, name="Our company")


WELCOME = {"name": "Saltmarsh Sound", "time_zone": "Europe/London", "paper": "a4", "bench_minutes_a_month": "60"}


def test_owner_is_asked_five_things_on_the_first_day_and_never_again(first_day):
    client = signed_in(make_person("owner"))
    for address in ("/", "/shop/", "/people/"):
        assert client.get(address)["Location"] == "/welcome/", address
    page = client.get("/welcome/").content.decode()
    for question in ("Country", "called", "time zone", "paper", "phantom", "bench"):
        assert question in page
    client.post("/settings/country/", {"country": "US"})
    assert 'value="America/New_York"' in client.get("/welcome/").content.decode()
    assert client.post("/welcome/", WELCOME)["Location"] == "/"
    company = Company.current()
    assert company.set_up_at is not None and not company.phantom_first and company.bench_minutes_a_month == 60
    assert client.get("/shop/").status_code == 200
    assert client.get("/welcome/")["Location"] == "/settings/"


def test_questions_can_be_skipped(first_day):
    client = signed_in(make_person("owner"))
    assert client.post("/welcome/", {"skip": "1"})["Location"] == "/"
    assert client.get("/shop/").status_code == 200 and Company.current().name == "Our company"


@pytest.mark.parametrize(("field", "value"), [("name", ""), ("time_zone", "Nowhere"), ("bench_minutes_a_month", "99999999")])
def test_bad_answer_is_said_and_the_questions_stay(first_day, field, value):
    client = signed_in(make_person("owner"))
    page = client.post("/welcome/", {**WELCOME, field: value})
    assert page.status_code == 200 and 'class="error"' in page.content.decode()
    assert Company.current().set_up_at is None


def test_only_owners_are_asked(first_day):
    assert signed_in(make_person("hand")).get("/shop/").status_code == 200


def test_one_time_password_comes_before_the_questions(first_day):
    client = signed_in(make_person("owner", must_change_password=True))
    assert client.get("/")["Location"] == "/password/"


def test_what_an_owner_was_sending_is_not_thrown_away_for_the_questions(first_day):
    owner = make_person("owner")
    signed_in(owner).post("/me/", {"first_name": "Rowan", "email": "", "theme": "dark"})
    owner.refresh_from_db()
    assert owner.first_name == "Rowan"
