"""Suppliers and customers, and the terms agreed with them."""

from django.db import models


class Party(models.Model):
    """A person or company that brings, buys, carries or analyses metal."""

    code = models.CharField(max_length=30, unique=True)
    name = models.CharField(max_length=200)
    country = models.CharField(max_length=2)
    address = models.TextField(blank=True)
    contact = models.CharField(max_length=200, blank=True)
    note = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("code",)
        verbose_name_plural = "parties"

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class Terms(models.Model):
    """Agreed terms of one party from a date on; a change is a new row, never an edit.

    ``au_payable_ppm`` … are the accountability: parts per million of the settled content that the house owes.
    """

    writable = {"INSERT"}

    party = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="terms")
    valid_from = models.DateField()
    currency = models.CharField(max_length=3, default="USD")
    au_payable_ppm = models.IntegerField(default=990_000)
    ag_payable_ppm = models.IntegerField(default=950_000)
    pt_payable_ppm = models.IntegerField(default=0)
    pd_payable_ppm = models.IntegerField(default=0)
    cu_payable_ppm = models.IntegerField(default=0)
    refining_charge_per_g = models.DecimalField(max_digits=12, decimal_places=4, default=0)
    treatment_charge = models.DecimalField(max_digits=12, decimal_places=2, default=0)
    minimum_charge = models.DecimalField(max_digits=12, decimal_places=2, default=0)
    agreed_by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    agreed_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("party", "-valid_from", "-id")
        verbose_name_plural = "terms"

    def __str__(self) -> str:
        return f"{self.party.code} from {self.valid_from}"

    @property
    def payable_ppm(self) -> tuple[int, int, int, int, int]:
        """Accountability of Au, Ag, Pt, Pd, Cu in parts per million."""
        return (
            self.au_payable_ppm,
            self.ag_payable_ppm,
            self.pt_payable_ppm,
            self.pd_payable_ppm,
            self.cu_payable_ppm,
        )
