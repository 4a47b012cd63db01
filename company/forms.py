"""Forms of who we are. They check shapes; what must hold is in the services and the database."""

from typing import Any

from django import forms
from django.contrib.auth.forms import PasswordChangeForm
from django.contrib.auth.validators import UnicodeUsernameValidator

from company.calc.roles import Role
from company.models import Person

ROLE_WORDS = [
    (Role.HAND, "hand: scans and reports"),
    (Role.TECHNICIAN, "technician: also tests, edits gear, prints labels"),
    (Role.OWNER, "owner: also manages people, deletes, sees prices"),
]


class PasswordForm(PasswordChangeForm):
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


class MeForm(forms.ModelForm):
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


class TokenForm(forms.Form):
    """Name a new API token."""

    name = forms.CharField(
        label="What is it for?", max_length=60, widget=forms.TextInput(attrs={"placeholder": "door scanner"})
    )


class PersonAddForm(forms.Form):
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


class PersonForm(forms.Form):
    """Change somebody."""

    first_name = forms.CharField(label="Name", max_length=150, required=False)
    email = forms.EmailField(label="E-mail", required=False)
    role = forms.ChoiceField(label="Role", choices=ROLE_WORDS, widget=forms.RadioSelect)
    is_active = forms.BooleanField(
        label="May sign in", required=False, help_text="Untick to switch somebody off. What they did stays on record."
    )
