"""What is wrong with a form is said in the house's words, and the browser cuts nothing off."""

import pytest
from django import forms
from django.core.exceptions import ValidationError

from company.forms import PersonAddForm, SettingsForm, TokenForm
from company.models import Company
from company.plain import Form, in_our_words
from inventory.forms_gear import MoneyField
from inventory.forms_shelf import PlaceForm
from inventory.models import Place
from shows.forms import RigForm
from shows.models import Rig


class Asking(Form):
    count = forms.IntegerField(min_value=1, required=False)
    price = forms.DecimalField(max_digits=5, decimal_places=2, required=False)
    name = forms.CharField(max_length=20)


@pytest.mark.parametrize(
    ("given", "field", "said"),
    [
        ({}, "name", "This is needed."),
        ({"name": "x", "count": "0"}, "count", "At least 1."),
        ({"name": "x", "count": "a"}, "count", "Write a whole number, as 12."),
        ({"name": "x", "price": "a"}, "price", "Write a number, as 149.50."),
        ({"name": "x", "price": "1.234"}, "price", "At most 2 figures behind the point."),
        ({"name": "x" * 4000}, "name", "At most 20 characters."),
        ({"name": "x\x00"}, "name", "There is a character in it that cannot be kept."),
    ],
)
def test_each_sentence_is_ours(given, field, said):
    assert Asking(given).errors[field] == [said]


def test_what_we_wrote_ourselves_stays():
    ours = ValidationError("Keep it under 500 characters.", code="max_length")
    assert in_our_words(ours).messages == ["Keep it under 500 characters."]


@pytest.mark.django_db
def test_a_name_that_is_taken_is_said():
    Rig.objects.create(name="Duo")
    assert RigForm({"name": "Duo"}).errors["name"] == ["There is already one of that name."]
    Place.objects.create(name="Shelf A")
    assert PlaceForm({"name": "Shelf A", "sort": "shelf"}).errors["name"] == ["There is a place of that name already."]


@pytest.mark.django_db
def test_no_field_cuts_off_what_is_typed():
    for form in (PersonAddForm(), TokenForm(), SettingsForm(instance=Company.current()), PlaceForm(), RigForm()):
        assert "maxlength" not in str(form)


@pytest.mark.parametrize(
    ("text", "cents"), [("149.50", 14_950), ("£149,50", 14_950), ("EUR 12", 1200), ("1.234,50", 123_450), ("", None)]
)
def test_a_price_is_read_as_people_write_it(text, cents):
    assert MoneyField().clean(text) == cents


@pytest.mark.parametrize("text", ["-5", "abc", "1,234", "9" * 30, "1e5"])
def test_an_odd_price_is_a_sentence(text):
    with pytest.raises(ValidationError):
        MoneyField().clean(text)
