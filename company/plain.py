"""The forms every page's forms are made from: what is wrong is said in the house's words, and nothing typed is cut off."""

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

# the framework's sentence: ours
_SAID = {
    "This field is required.": "This is needed.",
    "This field cannot be null.": "This is needed.",
    "This field cannot be blank.": "This is needed.",
    "Enter a number.": "Write a number, as 149.50.",
    "Enter a whole number.": "Write a whole number, as 12.",
    "Enter a valid date.": "Write a day, as 2026-09-25.",
    "Enter a valid date/time.": "Write a day and a time, as 2026-09-25 18:30.",
    "Enter a valid email address.": "That is no e-mail address. Write it as ines@example.org.",
    "Enter a valid URL.": "That is no address. Write it as https://gear.example.org.",
    "Enter a valid value.": "That cannot be read. Write it another way.",
    "Enter a valid UUID.": "That form is out of date. Load the page again.",
    "Ensure this value is greater than or equal to %(limit_value)s.": "At least %(limit_value)s.",
    "Ensure this value is less than or equal to %(limit_value)s.": "At most %(limit_value)s.",
    "Null characters are not allowed.": "There is a character in it that cannot be kept.",
    "%(model_name)s with this %(field_label)s already exists.": "There is already one of that name.",
    "%(model_name)s with this %(field_labels)s already exists.": "There is already one like that.",
    "Select a valid choice. That choice is not one of the available choices.": "Pick one from the list.",
    "Select a valid choice. %(value)s is not one of the available choices.": "Pick one from the list.",
    "Value %(value)r is not a valid choice.": "Pick one from the list.",
    "No file was submitted. Check the encoding type on the form.": "Choose a file first.",
    "No file was submitted.": "Choose a file first.",
    "The submitted file is empty.": "There is nothing in that file.",
    "Upload a valid image. The file you uploaded was either not an image or a corrupted image.": "That is no picture.",
}
# what the framework says in the singular and the plural is known by its code alone
_COUNTED = {
    "max_length": "At most %(limit_value)d characters.",
    "min_length": "At least %(limit_value)d characters.",
    "max_digits": "At most %(max)s figures.",
    "max_decimal_places": "At most %(max)s figures behind the point.",
    "max_whole_digits": "At most %(max)s figures before the point.",
}


def in_our_words(error: Any) -> Any:
    """Return an error with the framework's own sentences said our way; what we wrote ourselves stays as it is."""
    if not isinstance(error, ValidationError):
        return error
    if hasattr(error, "error_dict"):
        return ValidationError({name: [_ours(each) for each in errors] for name, errors in error.error_dict.items()})
    return ValidationError([_ours(each) for each in error.error_list])


def _ours(error: ValidationError) -> ValidationError:
    said = _SAID.get(str(error.message))
    if said is None and not isinstance(error.message, str):  # the framework's are translated late, ours are plain strings
        said = _COUNTED.get(error.code or "")
    return ValidationError(said, code=error.code, params=error.params) if said else error


class Sentences:
    """Says what is wrong in the house's words. A field's limit is checked here, not in the browser, which would cut off
    silently what was typed or pasted."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for field in self.fields.values():  # type: ignore[attr-defined]
            field.widget.attrs.pop("maxlength", None)

    def add_error(self, field: str | None, error: Any) -> None:
        super().add_error(field, in_our_words(error))  # type: ignore[misc]


class Form(Sentences, forms.Form):
    """A form."""


class ModelForm(Sentences, forms.ModelForm):
    """A form of a model's columns."""
