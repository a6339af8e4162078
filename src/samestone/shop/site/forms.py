"""What the browser may send to the pages of no stage."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib.auth.forms import AuthenticationForm
from django.contrib.auth.password_validation import validate_password

from samestone.shop.form import Form
from samestone.shop.models import Member, Shop


class SignInForm(Form, AuthenticationForm):
    """Name and password; after a wrong one the keyboard is where it is needed."""

    error_messages = {
        **AuthenticationForm.error_messages,
        "invalid_login": "Found nobody with this name and password; expected both as they were set here, capitals "
        "included. Type the password again, or ask the shop's owner.",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Sign-in name"
        if self.data.get("username"):
            self.fields["username"].widget.attrs.pop("autofocus", None)
            self.fields["password"].widget.attrs["autofocus"] = True


class FirstStartForm(Form):
    """The shop's name and its owner."""

    shop_name = forms.CharField(label="The shop's name", max_length=120)
    street = forms.CharField(label="Street", max_length=200, required=False)
    town = forms.CharField(label="Town", max_length=120, required=False)
    name = forms.CharField(label="Your name", max_length=120)
    username = forms.SlugField(label="Sign-in name", max_length=40)
    password = forms.CharField(
        label="Password",
        help_text="Ten characters or more; a short sentence is good.",
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        validate_password(password)
        return password


class NewMemberForm(Form):
    """Someone new who works here."""

    name = forms.CharField(label="Name", max_length=120)
    username = forms.SlugField(label="Sign-in name", max_length=40)
    role = forms.ChoiceField(
        label="Works as", choices=Member.Role.choices, initial="goldsmith", widget=forms.RadioSelect
    )
    password = forms.CharField(
        label="First password", widget=forms.PasswordInput(attrs={"autocomplete": "new-password"})
    )

    def clean_username(self) -> str:
        username: str = self.cleaned_data["username"]
        if Member.objects.filter(username=username).exists():
            raise forms.ValidationError(f"“{username}” is taken; choose another sign-in name.")
        return username

    def clean_password(self) -> str:
        password: str = self.cleaned_data["password"]
        validate_password(password)
        return password


class ShopForm(Form):
    """What stands on the papers, and in which English. Terms: one a line, `topic: your lawyer's words`."""

    name = forms.CharField(label="The shop's name", max_length=120)
    street = forms.CharField(label="Street", max_length=200, required=False)
    town = forms.CharField(label="Town", max_length=120, required=False)
    language = forms.ChoiceField(
        label="Words on screens and papers",
        choices=Shop.Language.choices,
        widget=forms.RadioSelect,
        help_text="Our own words only: what was typed stays as typed, and a paper once given as it was given.",
    )
    terms = forms.CharField(
        label="Terms on the receipt",
        help_text="One a line: the topic, a colon, then your own lawyer's words.",
        required=False,
        widget=forms.Textarea(attrs={"rows": 6}),
    )

    def clean_terms(self) -> list[list[str]]:
        lines = [line.strip() for line in self.cleaned_data["terms"].splitlines() if line.strip()]
        pairs = [[part.strip() for part in line.split(":", 1)] for line in lines]
        for line, pair in zip(lines, pairs, strict=True):
            if len(pair) != 2 or not all(pair):
                raise forms.ValidationError(f"“{line}” has no topic; write it as “topic: words”.")
        return pairs
