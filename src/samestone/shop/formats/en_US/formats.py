"""Dates and numbers as in the other English: 03/04 must not change its meaning with a word for claws."""

from django.conf.locale.en_GB.formats import *  # noqa: F403
