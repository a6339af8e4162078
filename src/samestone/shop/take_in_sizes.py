"""What was measured before the bench, for a weight that is read there to be held against."""

from __future__ import annotations

from samestone.shop import blindness
from samestone.shop.models import Member, Reading, Stone


def sizes_at_take_in(stone: Stone, *, by: Member) -> dict[str, list[str]]:
    """Diameters and depth as they were read before the bench, the newest of each; none where `by` is to look blind."""
    if blindness.is_kept_back(stone.job, by):
        return {}
    rows = Reading.objects.current().filter(examination__stone=stone, examination__occasion="take-in")
    return {row.property: list(row.indications) for row in rows.filter(property__endswith="_mm").order_by("at", "pk")}
