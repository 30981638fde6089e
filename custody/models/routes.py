"""The plant's settings from a date on, and the routes that qualified persons ordered."""

from django.contrib.postgres.fields import ArrayField
from django.db import models

from custody.calc.charge import SilverWay
from custody.models.fields import Amounts


class PlantSettings(models.Model):
    """Limits, excess factors and acids from a date on; a change is a new row, never an edit.

    Shares, strengths and excesses are parts per million, densities mg/mL. The defaults are those of calc.route,
    calc.charge and common practice; empty batch limits mean that the plant sets none.
    """

    writable = {"INSERT"}

    valid_from = models.DateField()
    least_gold_ppm = models.IntegerField(default=650_000)
    direct_silver_ppm = models.IntegerField(default=100_000)
    crust_silver_ppm = models.IntegerField(default=180_000)
    silver_feed_ppm = models.IntegerField(default=900_000)
    gold_share_ppm = models.IntegerField(default=250_000)
    precipitated_ppm = models.IntegerField(default=999_500)
    batch_gross_mg = models.BigIntegerField(null=True)
    batch_gold_ppm = models.IntegerField(null=True, default=650_000)
    batch_silver_ppm = models.IntegerField(null=True, default=180_000)
    nitric_strength_ppm = models.IntegerField(default=680_000)
    nitric_density = models.IntegerField(default=1410)
    hydrochloric_strength_ppm = models.IntegerField(default=370_000)
    hydrochloric_density = models.IntegerField(default=1180)
    nitric_excess_ppm = models.IntegerField(default=500_000)
    hydrochloric_excess_ppm = models.IntegerField(default=250_000)
    metabisulfite_excess_ppm = models.IntegerField(default=500_000)
    salt_excess_ppm = models.IntegerField(default=100_000)
    caustic_excess_ppm = models.IntegerField(default=500_000)
    glucose_excess_ppm = models.IntegerField(default=200_000)
    copper_excess_ppm = models.IntegerField(default=50_000)
    iron_excess_ppm = models.IntegerField(default=200_000)
    ammonium_excess_ppm = models.IntegerField(default=500_000)
    glyoxime_excess_ppm = models.IntegerField(default=100_000)
    silver_way = models.CharField(max_length=40, choices=SilverWay.choices(), default=SilverWay.CHLORIDE)
    note = models.CharField(max_length=300, default="", blank=True)
    set_by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("-valid_from", "-id")
        verbose_name_plural = "plant settings"

    def __str__(self) -> str:
        return f"from {self.valid_from}"


class RouteOrder(models.Model):
    """A route that a qualified person ordered for lots as they stood then; a later order of a lot replaces it."""

    writable = {"INSERT"}

    number = models.CharField(max_length=40, unique=True)
    steps = ArrayField(models.CharField(max_length=60))
    advised = ArrayField(models.CharField(max_length=60))
    reasons = ArrayField(models.TextField(), default=list)
    flags = ArrayField(models.TextField(), default=list)
    wanted_ppm = models.IntegerField()
    silver_to_add_mg = models.BigIntegerField(default=0)
    settings = models.ForeignKey(PlantSettings, null=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=500, default="", blank=True)
    ordered_by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("-id",)
        constraints = [
            models.CheckConstraint(
                condition=models.Q(steps__len__gt=0, wanted_ppm__gt=0, wanted_ppm__lte=1_000_000),
                name="route_of_something",
            ),
            models.CheckConstraint(
                condition=models.Q(steps=models.F("advised")) | ~models.Q(note=""), name="own_route_says_why"
            ),
        ]

    def __str__(self) -> str:
        return self.number


class RouteOrderLot(Amounts):
    """One lot of an order with what it held when it was ordered."""

    writable = {"INSERT"}

    order = models.ForeignKey(RouteOrder, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveSmallIntegerField()
    lot = models.ForeignKey("custody.Lot", on_delete=models.PROTECT, related_name="route_lines")

    class Meta:
        ordering = ("order", "position")
        constraints = [models.UniqueConstraint(fields=("order", "lot"), name="one_line_per_lot")]


class RouteOrderWork(models.Model):
    """One operation that was recorded as work on an order, and at which of its stations."""

    writable = {"INSERT"}

    order = models.ForeignKey(RouteOrder, on_delete=models.PROTECT, related_name="works")
    operation = models.OneToOneField("custody.Operation", on_delete=models.PROTECT, related_name="route_work")
    station = models.CharField(max_length=60)

    class Meta:
        ordering = ("id",)
