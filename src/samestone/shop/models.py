"""The tables: an index of the log. Readings, photographs, marks and entries are only ever added.

Every row of a `Finding` table is written once. A correction is a new row that names the old one (`replaces`); taking
something back is a new row with `withdrawn` set. `Model.objects.current()` leaves out what was replaced or taken back.
Triggers (guard.py) refuse UPDATE and DELETE on the append-only tables, on SQLite and on PostgreSQL.

Numbers are decimal strings, times are aware datetimes. A person's name and address stand in `Person` alone.
"""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING, Any, ClassVar, Self

from django.contrib.auth.base_user import AbstractBaseUser, BaseUserManager
from django.db import models

from samestone.shop.life import State, Station

# The value of the observation `characteristics` that says: looked for with the microscope, and nothing there. Without
# it and without a mark the record says nothing about characteristics, which is not the same.
NONE_SEEN = "none seen"
# The observation of the stone as received that says `NONE_SEEN`: looked over, and no damage.
DAMAGE = "damage"
# A piece that is nothing but its stone: no metal, no setting.
LOOSE_STONE = "loose stone"


class Shop(models.Model):
    """The one row that says whose counter this is."""

    class Language(models.TextChoices):
        UK = "en-gb", "English (UK)"
        US = "en-us", "English (US)"

    name = models.CharField(max_length=120)
    street = models.CharField(max_length=200, blank=True)
    town = models.CharField(max_length=120, blank=True)
    terms = models.JSONField(default=list, blank=True)  # [[topic, the shop's own words], …]
    simulated = models.BooleanField(default=False)  # a demo shop: everything in it is invented
    language = models.CharField(max_length=10, choices=Language.choices, default=Language.UK)


class MemberManager(BaseUserManager["Member"]):
    def enrol(self, *, username: str, password: str, name: str, role: str) -> Member:
        member = self.model(username=username, name=name, role=role)
        member.set_password(password)
        member.save()
        return member


class Member(AbstractBaseUser):
    """Someone who works here: signs in, examines, works at the bench."""

    class Role(models.TextChoices):
        OWNER = "owner"
        GOLDSMITH = "goldsmith"

    username = models.CharField(max_length=40, unique=True)
    name = models.CharField(max_length=120)
    role = models.CharField(max_length=20, choices=Role.choices, default=Role.GOLDSMITH)
    is_active = models.BooleanField(default=True)

    USERNAME_FIELD = "username"
    objects: ClassVar[MemberManager] = MemberManager()

    @property
    def is_owner(self) -> bool:
        return self.role == self.Role.OWNER

    @property
    def initials(self) -> str:
        return "".join(part[0] for part in self.name.split()).upper()

    def __str__(self) -> str:
        return self.name


class Person(models.Model):
    """A client. Deletable at any time: the evidence of a job stays, without the person."""

    name = models.CharField(max_length=120)
    phone = models.CharField(max_length=60, blank=True)
    email = models.EmailField(blank=True)
    address = models.CharField(max_length=300, blank=True)
    since = models.DateTimeField()

    def __str__(self) -> str:
        return self.name


class Job(models.Model):
    """One repair and the numbered envelope it travels in."""

    envelope = models.CharField(max_length=20, unique=True)
    person = models.ForeignKey(Person, null=True, blank=True, on_delete=models.SET_NULL, related_name="jobs")
    collector = models.CharField(max_length=120, blank=True)  # who may collect it, if not the client
    opened_at = models.DateTimeField()
    opened_by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    due = models.DateField(null=True, blank=True)
    work = models.TextField(blank=True)  # the work agreed
    risks = models.JSONField(default=list, blank=True)  # topics talked about
    declared_value = models.CharField(max_length=60, blank=True)  # the client's figure
    gift = models.BooleanField(default=False)  # a surprise: the value is hidden
    express = models.BooleanField(default=False)  # cleaned while the client waits
    station = models.CharField(max_length=20, default=Station.TAKEN_IN.value)
    held = models.CharField(max_length=200, blank=True)  # why nothing may move
    place = models.CharField(max_length=60, default="counter")  # counter, safe, bench, client, …
    holder = models.ForeignKey(Member, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    closed_at = models.DateTimeField(null=True, blank=True)
    once = models.CharField(max_length=36, null=True, blank=True, unique=True)

    @property
    def stones(self) -> models.QuerySet[Stone]:
        return Stone.objects.filter(piece__job=self).order_by("pk")

    @property
    def state(self) -> State:
        stones = self.stones.select_related("piece")
        loose = sum(stone.setting == "loose" and not stone.piece.is_loose_stone for stone in stones)
        return State(Station(self.station), self.held, loose, self.express)

    def __str__(self) -> str:
        return self.envelope


class Piece(models.Model):
    """The jewel in the envelope."""

    job = models.ForeignKey(Job, on_delete=models.PROTECT, related_name="pieces")
    kind = models.CharField(max_length=40)  # ring, pendant, earrings, loose stone, …
    words = models.TextField(blank=True)  # what it looks like
    metal = models.CharField(max_length=80, blank=True)
    hallmark = models.CharField(max_length=120, blank=True)
    size = models.CharField(max_length=40, blank=True)  # ring size, length
    grams = models.CharField(max_length=20, blank=True)
    condition = models.TextField(blank=True)

    @property
    def is_loose_stone(self) -> bool:
        return self.kind == LOOSE_STONE


class Stone(models.Model):
    """A stone of a piece: what it is, on what basis, and whether it sits in its setting now."""

    class Basis(models.TextChoices):
        TESTED = "tested"
        CLIENT = "client says"
        REPORT = "report says"
        NOT_TESTED = "not tested"

    piece = models.ForeignKey(Piece, on_delete=models.PROTECT, related_name="stones")
    position = models.CharField(max_length=60, default="centre")
    count = models.PositiveIntegerField(default=1)  # a row of small stones is counted, not examined one by one
    places = models.CharField(max_length=120, blank=True, default="")  # which places of the row: 1-2, 4-6
    cut = models.CharField(max_length=40, default="round brilliant")
    material = models.CharField(max_length=60, default="diamond")
    treatment = models.CharField(max_length=60, default="unknown")  # none, filled, coated, laser-drilled, unknown …
    basis = models.CharField(max_length=20, choices=Basis.choices, default=Basis.NOT_TESTED)
    setting = models.CharField(max_length=10, default="set")  # set | loose
    claws = models.PositiveSmallIntegerField(default=0)

    @property
    def words(self) -> str:
        """What it is said to be, and on what basis."""
        count = f"{self.count} × " if self.count > 1 else ""
        places = f" at {self.places}" if self.places else ""
        return f"{count}{self.cut} {self.material.replace('_', ' ')}{places} ({self.basis})"

    @property
    def job(self) -> Job:
        return self.piece.job


class Instrument(models.Model):
    """A gauge, scale, lamp, probe, microscope or camera. A new uncertainty is a new row; the old one retires."""

    name = models.CharField(max_length=60)
    kind = models.CharField(max_length=40)  # gauge, scale, probe, uv lamp, microscope, camera
    unit = models.CharField(max_length=20, blank=True)
    resolution = models.CharField(max_length=20, blank=True)
    u = models.CharField(max_length=20, blank=True)
    u_common = models.CharField(max_length=20, blank=True)
    dof = models.PositiveIntegerField(null=True, blank=True)
    declared = models.BooleanField(default=True)  # the shop's word; false: from its own repeats or a study
    basis = models.CharField(max_length=200, blank=True)
    since = models.DateTimeField()
    retired_at = models.DateTimeField(null=True, blank=True)

    def __str__(self) -> str:
        return self.name


class InstrumentCheck(models.Model):
    """One check of an instrument: what it was tried on, what it showed, whether that is good enough."""

    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="checks")
    at = models.DateTimeField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=40)  # zero, gauge block, known weight, known diamond, …
    nominal = models.CharField(max_length=20, blank=True)
    indications = models.JSONField(default=list, blank=True)
    passed = models.BooleanField()
    note = models.CharField(max_length=300, blank=True)
    detail = models.JSONField(default=dict, blank=True)


class Examination(models.Model):
    """One look at one stone on one occasion: by whom, when, set or loose."""

    class Occasion(models.TextChoices):
        RECEIVED = "received"  # as it came over the counter, before cleaning
        TAKE_IN = "take-in"
        BENCH = "bench"
        PICK_UP = "pick-up"

    stone = models.ForeignKey(Stone, on_delete=models.PROTECT, related_name="examinations")
    occasion = models.CharField(max_length=20, choices=Occasion.choices)
    setting = models.CharField(max_length=10)  # set | loose
    at = models.DateTimeField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    declared_changes = models.JSONField(default=list, blank=True)  # repolish, recut, new_head
    finished_at = models.DateTimeField(null=True, blank=True)

    @property
    def job(self) -> Job:
        return self.stone.piece.job

    @property
    def blind(self) -> bool:
        """At pick-up whoever examines is not shown what was found before."""
        return self.occasion == self.Occasion.PICK_UP


class FindingQuerySet(models.QuerySet[Any]):
    def current(self) -> Self:
        """Without what was replaced or taken back, oldest first."""
        return self.filter(withdrawn=False, replaced_by__isnull=True).order_by("pk")


class Finding(models.Model):
    """What one examination found or could not find; written once."""

    examination = models.ForeignKey(Examination, on_delete=models.PROTECT, related_name="%(class)ss")
    at = models.DateTimeField()
    by = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    replaces = models.OneToOneField("self", null=True, blank=True, on_delete=models.PROTECT, related_name="replaced_by")
    withdrawn = models.BooleanField(default=False)
    once = models.CharField(max_length=36, null=True, blank=True, unique=True)

    if TYPE_CHECKING:
        objects: ClassVar[Any]
    else:
        objects = FindingQuerySet.as_manager()

    class Meta:
        abstract = True


class Reading(Finding):
    """A measured property: everything that the instrument showed, as typed."""

    property = models.CharField(max_length=40)
    indications = models.JSONField()  # decimal strings
    instrument = models.ForeignKey(Instrument, on_delete=models.PROTECT, related_name="readings")


class Reaction(Finding):
    """What a stone did under a lamp or a probe."""

    test = models.CharField(max_length=40)  # uv_long_wave, uv_short_wave, thermal_probe, …
    strength = models.CharField(max_length=20, blank=True)
    colour = models.CharField(max_length=20, blank=True)
    result = models.CharField(max_length=40, blank=True)
    instrument = models.ForeignKey(
        Instrument, null=True, blank=True, on_delete=models.PROTECT, related_name="reactions"
    )
    distance_mm = models.CharField(max_length=20, blank=True)


class Observation(Finding):
    """Something seen and named: girdle finish, culet, inscription, tightness, …"""

    what = models.CharField(max_length=40)
    value = models.CharField(max_length=120)


class NotExamined(Finding):
    """Something that could not be looked at, and why. Never the same as “nothing there”."""

    examination = models.ForeignKey(Examination, on_delete=models.PROTECT, related_name="not_examined")
    what = models.CharField(max_length=40)
    why = models.CharField(max_length=120)


class Photograph(Finding):
    """A picture in the vault. The original bytes are kept; `digest` is their SHA-256."""

    digest = models.CharField(max_length=64)
    view = models.CharField(max_length=30)  # as received, face-up, tilt, side, prongs, girdle, inscription, uv
    taken_at = models.DateTimeField()
    media_type = models.CharField(max_length=40)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    simulated = models.BooleanField(default=False)
    usable = models.BooleanField(default=True)
    reason = models.CharField(max_length=200, blank=True)  # why it does not count
    reading = models.JSONField(default=dict, blank=True)  # what was read from it; numbers as strings
    instrument = models.ForeignKey(
        Instrument, null=True, blank=True, on_delete=models.PROTECT, related_name="photographs"
    )  # the camera or microscope, where it has a diary


class Mark(Finding):
    """Something placed on the clock face: hallmark at 6 o'clock, r in girdle radii, angle counter-clockwise from 3.

    `category` characteristic | damage | agreed | claw | hidden. A hidden arc runs counter-clockwise from `angle_deg` to
    `to_deg`. `words` of an agreed mark are the client's own.
    """

    category = models.CharField(max_length=20)
    kind = models.CharField(max_length=30, blank=True)  # crystal, feather, chip …; for a claw: tight, worn, broken …
    r = models.CharField(max_length=20, blank=True)
    angle_deg = models.CharField(max_length=20)
    to_deg = models.CharField(max_length=20, blank=True)
    size = models.CharField(max_length=20, blank=True)
    words = models.CharField(max_length=200, blank=True)


class Entry(models.Model):
    """One line of the log. Hash-linked; what it says stands in `Payload`."""

    number = models.PositiveBigIntegerField(primary_key=True)
    at = models.CharField(max_length=40)  # RFC 3339, UTC, exactly as hashed
    kind = models.CharField(max_length=40)
    subject = models.CharField(max_length=60)
    payload_digest = models.CharField(max_length=64)
    previous = models.CharField(max_length=64)
    digest = models.CharField(max_length=64, unique=True)

    @property
    def when(self) -> dt.datetime:
        return dt.datetime.fromisoformat(self.at)


class Payload(models.Model):
    """What an entry says, with the salt that keeps its digest from being guessed."""

    entry = models.OneToOneField(Entry, primary_key=True, on_delete=models.PROTECT, related_name="payload")
    salt = models.CharField(max_length=64)
    data = models.JSONField()
