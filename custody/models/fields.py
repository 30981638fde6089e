"""Column types that Django lacks."""

from django.db import models


class BitArrayField(models.Field):
    """PostgreSQL ``varbit[]``: how a movement's milligrams fall on its pool's origins, two bits an origin."""

    def db_type(self, connection) -> str:
        return "varbit[]"


class Amounts(models.Model):
    """Gross mass and the mass of each metal of account, whole milligrams."""

    gross_mg = models.BigIntegerField(default=0)
    au_mg = models.BigIntegerField(default=0)
    ag_mg = models.BigIntegerField(default=0)
    pt_mg = models.BigIntegerField(default=0)
    pd_mg = models.BigIntegerField(default=0)
    cu_mg = models.BigIntegerField(default=0)

    class Meta:
        abstract = True

    @property
    def metals_mg(self) -> tuple[int, int, int, int, int]:
        """Milligrams of Au, Ag, Pt, Pd, Cu, in that order."""
        return (self.au_mg, self.ag_mg, self.pt_mg, self.pd_mg, self.cu_mg)

    @property
    def columns_mg(self) -> tuple[int, int, int, int, int, int]:
        """Gross and the five metals, milligrams."""
        return (self.gross_mg, *self.metals_mg)
