"""A form of the counter: what is missing is said by the page, beside the field, with everything typed still there."""

from __future__ import annotations

from django import forms


class Form(forms.Form):
    """Leaves nothing to the browser's own bubble: it goes away and says neither what is expected nor what next."""

    use_required_attribute = False

    def full_clean(self) -> None:
        for field in self.fields.values():
            field.error_messages["required"] = missing(field)
            if field.required and not isinstance(field.widget, forms.widgets.ChoiceWidget):
                field.widget.attrs["aria-required"] = "true"
        super().full_clean()


def missing(field: forms.Field) -> str:
    """Found, expected, what next, for a field that was left empty."""
    if isinstance(field, forms.MultipleChoiceField):
        return "Found nothing chosen; expected one answer or more. Tap what fits."
    if isinstance(field, forms.ChoiceField | forms.ModelChoiceField):
        return "Found nothing chosen; expected one answer. Tap the one that fits."
    if isinstance(field, forms.IntegerField) or hasattr(field, "unit"):
        unit = f" in {field.unit}" if getattr(field, "unit", "") else ""
        return f"Found nothing; expected a number{unit}. Type it here."
    if isinstance(field.widget, forms.PasswordInput):
        return "Found nothing; expected a password. Type it here."
    return "Found nothing; expected something here. Type it."
