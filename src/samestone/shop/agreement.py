"""What the client agreed to have changed on a stone itself: at pick-up only what must survive is compared."""

from __future__ import annotations

import datetime as dt
from collections.abc import Collection

from django.db import transaction
from django.utils.translation import gettext_lazy

from samestone.shop import ledger
from samestone.shop.models import Entry, Job, Member

KIND = "change agreed"
# The record's names, and what the counter calls them.
CHANGES = (
    ("repolish", "repolish a facet or the girdle"),
    ("recut", "recut"),
    ("new_head", gettext_lazy("a new head or other claws")),
)


def agreed_changes(job: Job) -> tuple[str, ...]:
    """What was agreed last, as the record names it."""
    newest = ledger.history(job, KIND).last()
    return tuple(newest.payload.data["changes"]) if newest else ()


def change_words(job: Job) -> tuple[str, ...]:
    """The same in the words of the counter."""
    names = dict(CHANGES)
    return tuple(str(names[change]) for change in agreed_changes(job))


@transaction.atomic
def agree_change(job: Job, changes: Collection[str], *, at: dt.datetime, by: Member) -> Entry | None:
    """Written down when it differs from what was agreed before; None when it does not."""
    wanted = [name for name, _ in CHANGES if name in changes]
    if tuple(wanted) == agreed_changes(job):
        return None
    return ledger.append(KIND, about=job, at=at, by=by, details={"changes": wanted})
