"""What the browser may send to the pages of no stage."""

from __future__ import annotations

from django import forms
from django.contrib.auth.password_validation import validate_password


class FirstStartForm(forms.Form):
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
