"""Which English the shop speaks, on screens and on papers; what is kept is the same in each."""

from __future__ import annotations

from contextlib import AbstractContextManager

from django.utils import translation

from samestone.shop.models import Shop


def spoken_here() -> AbstractContextManager[None]:
    """Within it, words are the shop's own; before there is a shop, those of the default."""
    return translation.override(Shop.objects.values_list("language", flat=True).first() or Shop.Language.UK.value)
