"""The one Django app of the shop."""

from __future__ import annotations

from django.apps import AppConfig


class ShopConfig(AppConfig):
    name = "samestone.shop"
    label = "shop"
    verbose_name = "The shop"
    default_auto_field = "django.db.models.BigAutoField"
