"""A shop that takes in jobs as fast as it can; says each envelope when it is safely written. Run by the fault tests."""

from __future__ import annotations

import datetime as dt
import sys
from pathlib import Path

from samestone.cli.counter import open_data


def main(folder: str, prefix: str, count: int, room: int | None = None) -> None:
    """`room`: so many pages more than now, then SQLite finds the disk full."""
    open_data(Path(folder))
    from samestone.shop import vault
    from samestone.shop.intake import actions as intake
    from samestone.shop.models import Member
    from samestone.shop.site.actions import open_shop

    at = dt.datetime(2026, 3, 2, 9, 30, tzinfo=dt.UTC)
    by = Member.objects.first() or open_shop(
        shop_name="Larkfield Goldsmiths",
        street="",
        town="",
        name="Ines Marlow",
        username="ines",
        password="a long enough one",
        at=at,
    )
    if room is not None:
        leave_little_room(room)
    print("ready", flush=True)
    for number in range(count):
        envelope = f"{prefix}{number}"
        job = intake.open_job(envelope=envelope, person={"name": "Odile Farrow"}, at=at, by=by)
        piece = intake.describe_piece(job, kind="ring", words="x" * 200, at=at, by=by)
        stone = intake.describe_stone(piece, at=at, by=by)
        intake.place_claws(intake.received_examination(stone, at=at, by=by), 4, at=at, by=by)
        vault.store(envelope.encode() * 500)
        print(envelope, flush=True)


def leave_little_room(pages: int) -> None:
    from django.db import connection

    with connection.cursor() as cursor:
        (now,) = cursor.execute("PRAGMA page_count").fetchone()
        cursor.execute(f"PRAGMA max_page_count = {now + pages}")


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], *map(int, sys.argv[3:]))
