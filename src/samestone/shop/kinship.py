"""Which rows are one stone: what was said at the counter, “we know it from before”."""

from __future__ import annotations

from typing import Any

from samestone.shop.models import Entry, Stone


def same_stones(stone: Stone) -> tuple[Stone, ...]:
    """The rows that are one stone, oldest job first."""
    rows = {entry.payload.data["stone"]: entry.payload.data["earlier"] for entry in _links()}
    group, grew = {stone.pk}, True
    while grew:
        more = {pk for link in rows.items() if group & set(link) for pk in link}
        grew = not more <= group
        group |= more
    return tuple(
        Stone.objects.filter(pk__in=group).select_related("piece__job").order_by("piece__job__opened_at", "pk")
    )


def _links() -> Any:
    return Entry.objects.filter(kind="stone known from before").select_related("payload").order_by("number")
