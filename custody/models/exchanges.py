"""Exchange of assays with a party: what was agreed, and results that stay sealed until both are in."""

from django.db import models

from custody.calc.exchange import UmpireRule
from custody.terms import PPM, ExchangeSide


class ExchangeTerms(models.Model):
    """How assays are exchanged with a party from a date on. A metal without a limit is the refinery's to say.

    ``days``: so long after the refinery's result is in, without the customer's, it counts alone; empty: never.
    ``ended``: from that date on nothing is exchanged.
    """

    writable = {"INSERT"}

    party = models.ForeignKey("custody.Party", on_delete=models.PROTECT, related_name="exchange_terms")
    valid_from = models.DateField()
    au_limit_ppm = models.IntegerField(null=True)
    ag_limit_ppm = models.IntegerField(null=True)
    pt_limit_ppm = models.IntegerField(null=True)
    pd_limit_ppm = models.IntegerField(null=True)
    rule = models.CharField(max_length=60, choices=UmpireRule.choices())
    umpire = models.ForeignKey("custody.Party", null=True, on_delete=models.PROTECT, related_name="+")
    days = models.PositiveSmallIntegerField(null=True)
    ended = models.BooleanField(default=False)
    agreed_by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    agreed_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("party", "-valid_from", "-id")
        verbose_name_plural = "exchange terms"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(au_limit_ppm__range=(0, PPM), ag_limit_ppm__range=(0, PPM))
                & models.Q(pt_limit_ppm__range=(0, PPM), pd_limit_ppm__range=(0, PPM)),
                name="splitting_limits",
            ),
            models.CheckConstraint(condition=models.Q(rule__in=list(UmpireRule)), name="umpire_rule"),
            models.CheckConstraint(condition=~models.Q(umpire=models.F("party")), name="umpire_is_a_third"),
        ]

    def __str__(self) -> str:
        return f"{self.party.code} from {self.valid_from}"

    @property
    def limits_ppm(self) -> dict[str, int]:
        """The splitting limits agreed, ppm, by metal."""
        limits = {"Au": self.au_limit_ppm, "Ag": self.ag_limit_ppm, "Pt": self.pt_limit_ppm, "Pd": self.pd_limit_ppm}
        return {metal: limit for metal, limit in limits.items() if limit is not None}


class Exchange(models.Model):
    """The exchange of assays of one lot. It ends with the determination that names it."""

    writable = {"INSERT"}

    number = models.CharField(max_length=40, unique=True)
    lot = models.OneToOneField("custody.Lot", on_delete=models.PROTECT, related_name="exchange")
    party = models.ForeignKey("custody.Party", on_delete=models.PROTECT, related_name="exchanges")
    terms = models.ForeignKey(ExchangeTerms, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")
    request_key = models.UUIDField(null=True, unique=True)

    class Meta:
        ordering = ("-id",)

    def __str__(self) -> str:
        return self.number


class SealedResult(models.Model):
    """One side's result as it was handed in. Nobody may read this table: see ExchangeResult (sql/exchange.sql)."""

    ledger = True
    sealed = True

    exchange = models.ForeignKey(Exchange, on_delete=models.PROTECT, related_name="+")
    side = models.CharField(max_length=10, choices=ExchangeSide.choices())
    au_ppm = models.IntegerField(null=True)
    ag_ppm = models.IntegerField(null=True)
    pt_ppm = models.IntegerField(null=True)
    pd_ppm = models.IntegerField(null=True)
    laboratory = models.CharField(max_length=200)
    reference = models.CharField(max_length=120, default="")
    determination = models.ForeignKey("custody.Determination", null=True, on_delete=models.PROTECT, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ("id",)
        constraints = [models.UniqueConstraint(fields=("exchange", "side"), name="one_result_per_side")]


class ExchangeResult(models.Model):
    """What may be seen of a result: who and when; figures (ppm), laboratory and its paper once the exchange is open."""

    ledger = True

    exchange = models.ForeignKey(Exchange, on_delete=models.DO_NOTHING, related_name="results")
    side = models.CharField(max_length=10, choices=ExchangeSide.choices())
    opened = models.BooleanField()
    au_ppm = models.IntegerField(null=True)
    ag_ppm = models.IntegerField(null=True)
    pt_ppm = models.IntegerField(null=True)
    pd_ppm = models.IntegerField(null=True)
    laboratory = models.CharField(max_length=200)
    reference = models.CharField(max_length=120, default="")
    determination = models.ForeignKey("custody.Determination", null=True, on_delete=models.DO_NOTHING, related_name="+")
    at = models.DateTimeField()
    by = models.ForeignKey("custody.User", on_delete=models.DO_NOTHING, related_name="+")

    class Meta:
        managed = False
        db_table = "custody_exchangeresult"
        ordering = ("id",)

    @property
    def ppm(self) -> dict[str, int]:
        """The figures that may be seen, ppm, by metal."""
        figures = {"Au": self.au_ppm, "Ag": self.ag_ppm, "Pt": self.pt_ppm, "Pd": self.pd_ppm}
        return {metal: ppm for metal, ppm in figures.items() if ppm is not None}
