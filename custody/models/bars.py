"""Bars: their types, the serials set aside for them, and every stamp. A mark, serial and year name one bar (I6)."""

from django.contrib.postgres.fields import ArrayField
from django.db import models

from custody.calc.bar_types import Making
from custody.terms import SerialFate


class BarType(models.Model):
    """A kind of bar that the house makes: what it weighs, what it holds at least, how it is made and marked.

    A bar weighs from ``least_mg`` to ``most_mg``; one of a nominal weight never below it. ``marks`` are the words that
    are stamped on it beside mark, serial and fineness.
    """

    writable = {"INSERT", "UPDATE"}

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=120)
    metal = models.CharField(max_length=2)
    nominal_mg = models.BigIntegerField(null=True)
    least_mg = models.BigIntegerField()
    most_mg = models.BigIntegerField()
    least_ppm = models.IntegerField()
    making = models.CharField(max_length=20, choices=Making.choices())
    marks = ArrayField(models.CharField(max_length=40), default=list)
    active = models.BooleanField(default=True)
    entered_by = models.ForeignKey("custody.User", null=True, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("metal", "least_mg", "code")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(least_mg__gt=0, most_mg__gte=models.F("least_mg"), least_ppm__gt=0)
                & models.Q(least_ppm__lte=1_000_000)
                & (models.Q(nominal_mg__isnull=True) | models.Q(nominal_mg=models.F("least_mg"))),
                name="bar_type_weighs_something",
            )
        ]

    def __str__(self) -> str:
        return self.name


class SerialRange(models.Model):
    """Serials of a mark and year set aside: ``head`` and a number of ``width`` digits, from ``first`` to ``last``.

    Where a mark and year have ranges, no bar is stamped with a serial outside them.
    """

    writable = {"INSERT"}

    mark = models.CharField(max_length=20)
    year = models.SmallIntegerField()
    head = models.CharField(max_length=20, default="", blank=True)
    width = models.PositiveSmallIntegerField()
    first = models.BigIntegerField()
    last = models.BigIntegerField()
    bar_type = models.ForeignKey(BarType, null=True, on_delete=models.PROTECT, related_name="ranges")
    set_by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("year", "mark", "head", "first")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(first__gte=0, last__gte=models.F("first"), width__gt=0, width__lte=12),
                name="range_of_serials",
            )
        ]

    def __str__(self) -> str:
        return f"{self.mark} {self.year} {self.serial(self.first)} to {self.serial(self.last)}"

    def serial(self, number: int) -> str:
        """The serial of a number of this range."""
        return f"{self.head}{number:0{self.width}d}"


class SerialEvent(models.Model):
    """What became of a serial that no bar bears: reserved for somebody, freed again, or spoiled for ever."""

    writable = {"INSERT"}

    mark = models.CharField(max_length=20)
    year = models.SmallIntegerField()
    serial = models.CharField(max_length=40)
    fate = models.CharField(max_length=20, choices=SerialFate.choices())
    reason = models.CharField(max_length=300)
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    request_key = models.UUIDField(null=True)

    class Meta:
        ordering = ("id",)
        indexes = [models.Index(fields=("mark", "year", "serial"), name="event_of_serial")]


class Bar(models.Model):
    """The stamp on one bar."""

    ledger = True

    lot = models.OneToOneField("custody.Lot", on_delete=models.PROTECT, related_name="bar")
    mark = models.CharField(max_length=20)
    serial = models.CharField(max_length=40)
    year = models.SmallIntegerField()
    replaces = models.OneToOneField("self", null=True, on_delete=models.PROTECT, related_name="replaced_by")
    cancelled_by = models.ForeignKey("custody.Operation", null=True, on_delete=models.PROTECT, related_name="+")
    bar_type = models.ForeignKey(BarType, null=True, on_delete=models.PROTECT, related_name="bars", db_index=False)

    class Meta:
        indexes = [models.Index(fields=("serial",), name="bar_serial")]
        constraints = [
            models.UniqueConstraint(
                fields=("mark", "serial", "year"),
                name="unique_uncancelled_bar",
                condition=models.Q(cancelled_by__isnull=True),
            )
        ]

    def __str__(self) -> str:
        return f"{self.mark} {self.serial} {self.year}"


class Box(models.Model):
    """Bars packed together under one seal. While it is closed its bars are counted by the seal; see ``BoxOpening``."""

    ledger = True

    number = models.CharField(max_length=40, unique=True)
    seal = models.CharField(max_length=60)
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    place = models.ForeignKey("custody.Place", on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=300, default="")
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("-id",)
        verbose_name_plural = "boxes"

    def __str__(self) -> str:
        return self.number


class BoxBar(models.Model):
    """One bar in a box."""

    ledger = True

    box = models.ForeignKey(Box, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveSmallIntegerField()
    lot = models.ForeignKey("custody.Lot", on_delete=models.PROTECT, related_name="boxed")

    class Meta:
        ordering = ("box", "position")
        constraints = [models.UniqueConstraint(fields=("box", "lot"), name="once_in_a_box")]


class BoxOpening(models.Model):
    """The box was opened: its seal is broken, its bars are counted one by one again."""

    ledger = True

    box = models.OneToOneField(Box, on_delete=models.PROTECT, related_name="opening")
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    reason = models.CharField(max_length=300)
