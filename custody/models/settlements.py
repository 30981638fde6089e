"""What the house owes: metal accounts in milligrams, and settlements of receipts."""

from django.db import models

from custody.terms import METALS, Outturn


class MetalAccount(models.Model):
    """One party's claim on one metal, milligrams, never below zero."""

    ledger = True

    party = models.ForeignKey("custody.Party", on_delete=models.PROTECT, related_name="metal_accounts")
    metal = models.CharField(max_length=2, choices=[(m, m) for m in METALS])
    balance_mg = models.BigIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=("party", "metal"), name="one_metal_account")]
        ordering = ("party", "metal")


class AccountEntry(models.Model):
    """One change of a metal account, with the operation or settlement that made it."""

    ledger = True

    account = models.ForeignKey(MetalAccount, on_delete=models.PROTECT, related_name="entries")
    at = models.DateTimeField()
    mg = models.BigIntegerField()
    receipt = models.ForeignKey(
        "custody.Operation", null=True, on_delete=models.PROTECT, related_name="account_entries"
    )
    operation = models.ForeignKey("custody.Operation", null=True, on_delete=models.PROTECT, related_name="+")
    settlement = models.ForeignKey(
        "custody.Settlement", null=True, on_delete=models.PROTECT, related_name="account_entries"
    )

    class Meta:
        ordering = ("id",)


class Settlement(models.Model):
    """An issued statement for one receipt; it never changes, a correction is a new one that names it (I9).

    ``reason`` says why a correction was issued, ``note`` what the statement does not include.
    """

    ledger = True

    number = models.CharField(max_length=40, unique=True)
    receipt = models.ForeignKey("custody.Operation", on_delete=models.PROTECT, related_name="settlements")
    party = models.ForeignKey("custody.Party", on_delete=models.PROTECT, related_name="settlements")
    outturn = models.CharField(max_length=10, choices=Outturn.choices())
    currency = models.CharField(max_length=3)
    charges = models.DecimalField(max_digits=16, decimal_places=2)
    total = models.DecimalField(max_digits=16, decimal_places=2)
    terms = models.ForeignKey("custody.Terms", on_delete=models.PROTECT, related_name="settlements")
    corrects = models.OneToOneField("self", null=True, on_delete=models.PROTECT, related_name="corrected_by")
    reason = models.TextField(default="")
    note = models.TextField(default="")
    prepared_by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    approved_by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    approval_meaning = models.CharField(max_length=200)
    request_key = models.UUIDField(null=True, unique=True)
    issued_at = models.DateTimeField()

    class Meta:
        ordering = ("-id",)

    def __str__(self) -> str:
        return self.number


class SettlementLine(models.Model):
    """One metal of a settlement: payable + retained + returned = content, to the milligram (I9)."""

    ledger = True

    settlement = models.ForeignKey(Settlement, on_delete=models.PROTECT, related_name="lines")
    metal = models.CharField(max_length=2, choices=[(m, m) for m in METALS])
    content_mg = models.BigIntegerField()
    payable_mg = models.BigIntegerField()
    retained_mg = models.BigIntegerField()
    returned_mg = models.BigIntegerField()
    accountability_ppm = models.IntegerField()
    price = models.DecimalField(max_digits=16, decimal_places=4, null=True)
    price_unit = models.CharField(max_length=10, default="")
    price_source = models.CharField(max_length=120, default="")
    amount = models.DecimalField(max_digits=16, decimal_places=2, default=0)
    formula = models.TextField(default="")

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    content_mg=models.F("payable_mg") + models.F("retained_mg") + models.F("returned_mg")
                )
                & models.Q(payable_mg__gte=0)
                & models.Q(returned_mg__gte=0),
                name="settled_once_and_whole",
            ),
            models.UniqueConstraint(fields=("settlement", "metal"), name="one_line_per_metal"),
        ]
        ordering = ("id",)


class SettlementCharge(models.Model):
    """One charge of a settlement and how it was reckoned; the amount is negative, as it enters the total."""

    ledger = True

    settlement = models.ForeignKey(Settlement, on_delete=models.PROTECT, related_name="charge_lines")
    what = models.CharField(max_length=120)
    formula = models.TextField()
    amount = models.DecimalField(max_digits=16, decimal_places=2)

    class Meta:
        ordering = ("id",)
