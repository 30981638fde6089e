"""The house itself, its places and vessels, and what its water may carry out."""

from django.db import models

from custody.terms import PlaceKind


class Refinery(models.Model):
    """The one refinery that this book belongs to; one row."""

    name = models.CharField(max_length=200)
    address = models.TextField(blank=True)
    mark = models.CharField(max_length=20)
    time_zone = models.CharField(max_length=60, default="UTC")
    receipt_terms = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=1)

    class Meta:
        verbose_name_plural = "refineries"
        constraints = [models.CheckConstraint(condition=models.Q(id=1), name="one_refinery")]

    def __str__(self) -> str:
        return self.name


class Place(models.Model):
    """Where metal can be: counter, furnace, vessel, vault. A vessel holds at most one content.

    Where ``two_person`` is set, lots are touched only while two people have the place open (see ``VaultAccess``). What
    is changed of a place is kept (see ``PlaceChange``).
    """

    writable = {"INSERT"}

    code = models.CharField(max_length=30, unique=True)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=20, choices=PlaceKind.choices())
    active = models.BooleanField(default=True)
    two_person = models.BooleanField(default=False)

    class Meta:
        ordering = ("code",)

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class PlaceChange(models.Model):
    """A place was set out of use or into use, or two people open it from then on, or no longer; who said so."""

    ledger = True

    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="changes")
    active = models.BooleanField()
    two_person = models.BooleanField()
    was_two_person = models.BooleanField()
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("-id",)


class Vessel(models.Model):
    """What a vessel, tank or cell holds at most, and into which one it overflows."""

    place = models.OneToOneField(Place, primary_key=True, on_delete=models.PROTECT, related_name="vessel")
    capacity_ml = models.BigIntegerField(null=True)
    overflows_to = models.ForeignKey(Place, null=True, on_delete=models.PROTECT, related_name="overflows_from")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(capacity_ml__isnull=True) | models.Q(capacity_ml__gt=0),
                name="vessel_holds_something",
            ),
            models.CheckConstraint(
                condition=~models.Q(overflows_to=models.F("place")), name="vessel_overflows_elsewhere"
            ),
        ]

    def __str__(self) -> str:
        return str(self.place)


class EffluentLimit(models.Model):
    """What water that is discharged may carry, from a date on; the permit's own figures, entered by a manager.

    ``most`` is micrograms per litre. For ``pH`` the limits are hundredths: from ``least`` to ``most``.
    """

    writable = {"INSERT"}

    valid_from = models.DateField()
    substance = models.CharField(max_length=8)
    least = models.BigIntegerField(null=True)
    most = models.BigIntegerField()
    note = models.CharField(max_length=300, default="", blank=True)
    set_by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField()
    request_key = models.UUIDField(null=True)

    class Meta:
        ordering = ("substance", "-valid_from", "-id")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(most__gte=0)
                & (models.Q(least__isnull=True) | models.Q(least__gte=0, least__lte=models.F("most"))),
                name="limit_of_something",
            )
        ]

    def __str__(self) -> str:
        return f"{self.substance} from {self.valid_from}"
