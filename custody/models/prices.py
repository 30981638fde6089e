"""Prices of metals as the house enters them: a table by metal, currency, fixing and day, each with its source."""

from django.db import models

from custody.calc.money import LARGEST
from custody.calc.rates import Unit
from custody.terms import METALS, PPM


class PriceImport(models.Model):
    """A file of prices as it was read, whole; the same file is read once."""

    writable = {"INSERT"}

    name = models.CharField(max_length=200)
    sha256 = models.CharField(max_length=64, unique=True)
    text = models.TextField()
    at = models.DateTimeField(auto_now_add=True)
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("-id",)

    def __str__(self) -> str:
        return self.name


class Price(models.Model):
    """One price of one local day, money per gram or troy ounce of fine metal, keyed by hand or read from a file.

    A wrong one stays and is replaced by a later row that says why. ``before``, ``limit_ppm`` and ``doubtful`` are
    PostgreSQL's own (sql/prices.sql): the price that it was judged against, by which limit, and whether it jumped.
    """

    writable = {"INSERT"}

    metal = models.CharField(max_length=2, choices=[(m, m) for m in METALS])
    currency = models.CharField(max_length=3)
    fixing = models.CharField(max_length=40)
    day = models.DateField()
    amount = models.DecimalField(max_digits=16, decimal_places=4)
    per = models.CharField(max_length=3, choices=[(unit.value, unit.value) for unit in Unit])
    source = models.CharField(max_length=120)
    replaces = models.OneToOneField("self", null=True, on_delete=models.PROTECT, related_name="replaced_by")
    reason = models.CharField(max_length=300, default="")
    before = models.ForeignKey("self", null=True, on_delete=models.PROTECT, related_name="+")
    limit_ppm = models.IntegerField(default=0)
    doubtful = models.BooleanField(default=False)
    imported = models.ForeignKey(PriceImport, null=True, on_delete=models.PROTECT, related_name="prices")
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("-day", "metal", "currency", "fixing", "-id")
        indexes = [models.Index(fields=("metal", "currency", "fixing", "day"), name="prices_by_day")]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(metal__in=METALS, per__in=list(Unit), amount__gt=0, amount__lt=LARGEST)
                & models.Q(currency__regex=r"^[A-Z]{3}$", fixing__regex=r"^[^\sA-Z]+( [^\sA-Z]+)*$")
                & ~models.Q(source=""),
                name="price_of_something",
            ),
            models.CheckConstraint(
                condition=models.Q(replaces__isnull=True, reason="")
                | models.Q(replaces__isnull=False) & ~models.Q(reason=""),
                name="price_replaced_with_a_reason",
            ),
            models.UniqueConstraint(
                fields=("metal", "currency", "fixing", "day"),
                condition=models.Q(replaces__isnull=True),
                name="one_first_price",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.metal} in {self.currency}, {self.fixing}, {self.day}"


class PriceConfirmation(models.Model):
    """The word of a second person that a doubtful price is right; before it, nothing is settled at that price."""

    writable = {"INSERT"}

    price = models.OneToOneField(Price, on_delete=models.PROTECT, related_name="confirmation")
    note = models.CharField(max_length=300)
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("-id",)
        constraints = [models.CheckConstraint(condition=~models.Q(note=""), name="price_confirmed_in_words")]


class PriceLimit(models.Model):
    """How far a metal's price may lie from the one before it without being doubtful, for days from a date on."""

    writable = {"INSERT"}

    metal = models.CharField(max_length=2, choices=[(m, m) for m in METALS])
    valid_from = models.DateField()
    jump_ppm = models.IntegerField()
    note = models.CharField(max_length=300, default="", blank=True)
    set_by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    set_at = models.DateTimeField(auto_now_add=True)
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("metal", "-valid_from", "-id")
        constraints = [
            models.CheckConstraint(
                condition=models.Q(metal__in=METALS, jump_ppm__gt=0, jump_ppm__lte=PPM),
                name="price_limit_of_something",
            )
        ]

    def __str__(self) -> str:
        return f"{self.metal} from {self.valid_from}"
