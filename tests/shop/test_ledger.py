"""The log, and what `check` notices when tables, log and vault do not fit."""

from __future__ import annotations

import datetime as dt
from types import SimpleNamespace

import pytest
from django.db import DatabaseError, connection, transaction

from samestone.shop import audit, ledger, vault
from samestone.shop.finding import ExaminationFinished, TakenBackAlready, record_finding, take_back
from samestone.shop.intake import actions as intake
from samestone.shop.models import Entry, Examination, Instrument, Job, Mark, Member, Piece, Reading, Stone

pytestmark = pytest.mark.django_db


@pytest.fixture
def reading(received: Examination, at: dt.datetime, owner: Member) -> Reading:
    gauge = Instrument.objects.get(name="gauge")
    return record_finding(
        Reading,
        received,
        at=at,
        by=owner,
        property="diameter_min_mm",
        indications=["6.67", "6.66", "6.67"],
        instrument=gauge,
    )


def breaks() -> list[str]:
    return [f"{problem.where}: {problem.says}" for problem in audit.check_shop() if problem.breaks]


def test_a_job_that_was_played_by_the_rules_checks_out(reading: Reading) -> None:
    assert audit.check_shop() == ()
    assert Entry.objects.count() == 6  # shop, job, piece, stone, examination, reading


def test_an_entry_needs_the_transaction_of_its_rows(owner: Member, at: dt.datetime, monkeypatch: object) -> None:
    monkeypatch.setattr(ledger, "connection", SimpleNamespace(in_atomic_block=False))  # type: ignore[attr-defined]
    with pytest.raises(ledger.OutsideTransaction):
        ledger.append("note", about="shop", at=at, by=owner)


def test_a_correction_is_a_new_row_and_the_old_one_stays(reading: Reading, at: dt.datetime, owner: Member) -> None:
    corrected = record_finding(
        Reading,
        reading.examination,
        at=at,
        by=owner,
        replaces=reading,
        property="diameter_min_mm",
        indications=["6.67", "6.67", "6.67"],
        instrument=reading.instrument,
    )
    assert list(reading.examination.readings.current()) == [corrected]
    assert Reading.objects.count() == 2
    with pytest.raises(TakenBackAlready):
        take_back(reading, at=at, by=owner)
    take_back(corrected, at=at, by=owner)
    assert not reading.examination.readings.current()
    assert audit.check_shop() == ()


def test_the_same_form_sent_twice_writes_once(received: Examination, at: dt.datetime, owner: Member) -> None:
    fields = {"category": "damage", "kind": "chip", "r": "0.97", "angle_deg": "30"}
    first = record_finding(Mark, received, at=at, by=owner, once="form-1", **fields)
    assert record_finding(Mark, received, at=at, by=owner, once="form-1", **fields) == first
    assert Mark.objects.count() == 1


def test_a_finished_examination_takes_nothing_more(
    received: Examination, job: Job, at: dt.datetime, owner: Member
) -> None:
    intake.finish_take_in(job, at=at, by=owner)
    with pytest.raises(ExaminationFinished):
        record_finding(Mark, received, at=at, by=owner, category="damage", angle_deg="0")


@pytest.mark.parametrize("statement", ["UPDATE {} SET by_id = by_id", "DELETE FROM {}"])
def test_the_database_refuses_to_change_what_is_written_once(reading: Reading, statement: str) -> None:
    with pytest.raises(DatabaseError, match="written once"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement.format("shop_reading"))
    with pytest.raises(DatabaseError, match="written once"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM shop_payload")


def without_triggers(table: str, statement: str) -> None:
    """What someone with the database file in their hands could do."""
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute(f"DROP TRIGGER {table}_no_update")
            cursor.execute(f"DROP TRIGGER {table}_no_delete")
            cursor.execute(statement)
        else:
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
            cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER USER")
            cursor.execute(statement)


def test_a_missing_trigger_is_noticed(owner: Member) -> None:
    without_triggers("shop_mark", "SELECT 1")
    assert breaks() == [
        "database: the trigger shop_mark_no_update is missing",
        "database: the trigger shop_mark_no_delete is missing",
    ]


def test_a_changed_reading_is_noticed(reading: Reading) -> None:
    without_triggers("shop_reading", "UPDATE shop_reading SET property = 'depth_mm'")
    assert f"reading {reading.pk}: differs from entry 5 in property" in breaks()


def test_a_deleted_reading_is_noticed(reading: Reading) -> None:
    without_triggers("shop_reading", "DELETE FROM shop_reading")
    assert f"reading {reading.pk}: entry 5 tells of it, but it is not in the tables" in breaks()


def test_a_row_that_no_entry_tells_of_is_noticed(job: Job) -> None:
    smuggled = Piece.objects.create(job=job, kind="ring")
    assert breaks() == [f"piece {smuggled.pk}: stands in the tables, but no entry of the log tells of it"]


def test_a_station_changed_behind_the_log_is_noticed(job: Job) -> None:
    Job.objects.update(station="ready")
    assert breaks() == [
        f"job {job.pk}: differs from entry 1 in station",
        "job 1042: stands at “ready”, but its entries lead to “taken in”",
    ]


def test_a_stone_set_behind_the_log_is_noticed(stone: Stone) -> None:
    Stone.objects.update(setting="loose")
    assert any("differs from entry 3 in setting" in line for line in breaks())


def test_a_changed_payload_is_noticed(reading: Reading) -> None:
    new = '\'{"by": "ines", "rows": []}\''
    without_triggers("shop_payload", f"UPDATE shop_payload SET data = {new} WHERE entry_id = 5")
    assert "entry 5: what it says was changed" in breaks()


def test_a_log_cut_short_is_noticed_through_the_receipt(job: Job, at: dt.datetime, owner: Member) -> None:
    receipt = ledger.issue_receipt(job, at=at)
    for table in ("shop_payload", "shop_entry"):
        column = "entry_id" if table == "shop_payload" else "number"
        without_triggers(table, f"DELETE FROM {table} WHERE {column} >= 2")
    assert any("shortened" in problem.says for problem in audit.check_shop([receipt.printed]))
    assert any("shortened" in problem.says for problem in audit.check_shop([receipt.qr]))


def test_a_receipt_that_was_given_binds_the_log(job: Job, at: dt.datetime, owner: Member) -> None:
    with transaction.atomic():
        receipt = ledger.issue_receipt(job, at=at)
        ledger.append("receipt given", about=job, at=at, by=owner, details={"receipt": receipt.as_json()})
    assert ledger.receipts_given(job) == [receipt]
    assert audit.check_shop([receipt.printed]) == ()


def test_a_lost_and_a_changed_photograph_are_noticed(settings: object, owner: Member, at: dt.datetime) -> None:
    kept, orphan = vault.store(b"one"), vault.store(b"two")
    with transaction.atomic():
        ledger.append("paper kept", about="shop", at=at, by=owner, details={"pdf_kept": kept})
    assert [(problem.where, problem.breaks) for problem in audit.check_shop()] == [(f"vault {orphan[:12]}…", False)]
    path = settings.DATA / "vault" / kept[:2] / kept  # type: ignore[attr-defined]
    path.write_bytes(b"another")
    assert breaks() == [f"vault {kept[:12]}…: the file was changed: its bytes no longer have their digest"]
    path.unlink()
    assert breaks() == [f"vault {kept[:12]}…: a row names this file, but it is not in the vault"]
    with pytest.raises(vault.NotInVault):
        vault.read("../../etc/passwd")


def test_no_client_enters_the_log(job: Job, at: dt.datetime, owner: Member) -> None:
    intake.agree_work(
        job,
        work="retip",
        risks=["heat"],
        due=None,
        gift=True,
        declared_value="4,000",
        collector="Aunt Farrow",
        at=at,
        by=owner,
    )
    said = "".join(str(entry.payload.data) for entry in Entry.objects.select_related("payload"))
    assert "Farrow" not in said
    job.person.delete()
    assert audit.check_shop() == ()
