"""Scales, the reference weights that they are checked with, and every weighing, each on one scale."""

from django.db import models

from custody.calc.scales import Accuracy
from custody.calc.weights import WeightClass
from custody.terms import Purpose


class Scale(models.Model):
    """A scale by its plate. The plate never changes; a scale goes out of use, and another is entered."""

    writable = {"INSERT", "UPDATE"}

    code = models.CharField(max_length=30, unique=True)
    name = models.CharField(max_length=120)
    place = models.ForeignKey("custody.Place", on_delete=models.PROTECT, related_name="scales")
    accuracy = models.CharField(max_length=4, choices=[(one, one) for one in Accuracy])
    e_mg = models.BigIntegerField()
    d_ug = models.BigIntegerField()
    min_ug = models.BigIntegerField()
    max_mg = models.BigIntegerField()
    active = models.BooleanField(default=True)
    entered_by = models.ForeignKey("custody.User", null=True, on_delete=models.PROTECT, related_name="+")
    entered_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("code",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(e_mg__gt=0, d_ug__gt=0, min_ug__gt=0, max_mg__gt=0), name="scale_has_a_plate"
            )
        ]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class ReferenceWeight(models.Model):
    """One reference weight of the house. Without a certificate it may be off by its class (OIML R 111)."""

    writable = {"INSERT", "UPDATE"}

    code = models.CharField(max_length=30, unique=True)
    nominal_mg = models.BigIntegerField()
    weight_class = models.CharField(max_length=2, choices=[(one, one) for one in WeightClass])
    deviation_ug = models.BigIntegerField(default=0)
    uncertainty_ug = models.BigIntegerField(null=True)
    certificate = models.CharField(max_length=120, default="", blank=True)
    valid_until = models.DateField(null=True)
    active = models.BooleanField(default=True)

    class Meta:
        ordering = ("code",)

    def __str__(self) -> str:
        return self.code


class ScaleCheck(models.Model):
    """A check of a scale, or the word that it was found faulty (``passed`` False without loads, with a reason).

    A scale may be used on a local day from its last check of that day on, if that one passed.
    """

    ledger = True

    scale = models.ForeignKey(Scale, on_delete=models.PROTECT, related_name="checks")
    at = models.DateTimeField()
    day = models.DateField()
    passed = models.BooleanField()
    reason = models.CharField(max_length=300, default="")
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("id",)
        indexes = [models.Index(fields=("scale", "day", "at", "id"), name="check_of_scale")]


class ScaleCheckLoad(models.Model):
    """One load of a check: what the reference weights stand for, what the scale showed, and what it may be off by."""

    ledger = True

    check_of = models.ForeignKey(ScaleCheck, on_delete=models.PROTECT, related_name="loads")
    weights = models.CharField(max_length=300)
    load_mg = models.BigIntegerField()
    reference_ug = models.BigIntegerField()
    reading_ug = models.BigIntegerField()
    limit_ug = models.BigIntegerField()

    class Meta:
        ordering = ("id",)

    @property
    def error_ug(self) -> int:
        """Reading less reference, micrograms."""
        return self.reading_ug - self.reference_ug


class ScaleReading(models.Model):
    """What a scale sent by itself, micrograms; a form picks it up. ``read_at`` is what the sender's clock said."""

    writable = {"INSERT"}

    scale = models.ForeignKey(Scale, on_delete=models.PROTECT, related_name="readings")
    value_ug = models.BigIntegerField()
    stable = models.BooleanField()
    line = models.CharField(max_length=120, default="")
    read_at = models.DateTimeField()
    received_at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    request_key = models.UUIDField(unique=True)
    request_sha256 = models.BinaryField()

    class Meta:
        ordering = ("id",)
        indexes = [models.Index(fields=("scale", "-id"), name="reading_of_scale")]


class Weighing(models.Model):
    """One weighing of a lot, for ever; net = gross − tare. Without a reading of the scale it was keyed by hand."""

    writable = {"INSERT"}

    lot = models.ForeignKey("custody.Lot", on_delete=models.PROTECT, related_name="weighings")
    scale = models.ForeignKey(Scale, on_delete=models.PROTECT, related_name="weighings")
    gross_mg = models.BigIntegerField()
    tare_mg = models.BigIntegerField(default=0)
    net_mg = models.BigIntegerField()
    gross_reading = models.OneToOneField(ScaleReading, null=True, on_delete=models.PROTECT, related_name="gross_of")
    tare_reading = models.OneToOneField(ScaleReading, null=True, on_delete=models.PROTECT, related_name="tare_of")
    purpose = models.CharField(max_length=20, choices=Purpose.choices())
    request_key = models.UUIDField(null=True, unique=True)
    operation = models.ForeignKey("custody.Operation", null=True, on_delete=models.PROTECT, related_name="weighings")
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("id",)
        indexes = [models.Index(fields=("scale", "at"), name="weighing_on_scale")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(net_mg=models.F("gross_mg") - models.F("tare_mg"))
                & models.Q(net_mg__gte=0)
                & models.Q(tare_mg__gte=0),
                name="net_is_gross_less_tare",
            )
        ]

    @property
    def keyed(self) -> bool:
        """Whether a person typed the gross: the scale did not send it."""
        return self.gross_reading_id is None
