"""Metal accounts: what the house owes each party in metal, how that came about, and whether the house holds it."""

from dataclasses import dataclass

from django.db.models import F, QuerySet, Sum, Window

from custody.models import AccountEntry, Lot, MetalAccount, Party, User
from custody.queries import scope
from custody.terms import METALS


@dataclass(frozen=True, slots=True)
class Claims:
    """One party's balances, mg of Au, Ag, Pt, Pd, Cu."""

    party: Party
    balances_mg: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Cover:
    """One metal: what the house holds of its own and pooled, what it owes, and what is not the house's, in mg."""

    metal: str
    held_mg: int
    owed_mg: int
    others_mg: int

    @property
    def over_mg(self) -> int:
        """Held beyond owed; negative: short."""
        return self.held_mg - self.owed_mg


def claims(viewer: User) -> list[Claims]:
    """Every party with a balance, by code."""
    accounts = (
        MetalAccount.objects.filter(party__in=scope.parties(viewer), balance_mg__gt=0)
        .select_related("party")
        .order_by("party__code")
    )
    balances: dict[Party, dict[str, int]] = {}
    for account in accounts:
        balances.setdefault(account.party, {})[account.metal] = account.balance_mg
    return [Claims(party, tuple(held.get(metal, 0) for metal in METALS)) for party, held in balances.items()]


def accounts_of(party: Party) -> list[MetalAccount]:
    """A party's accounts in the order of the metals, those that are empty now too."""
    return sorted(MetalAccount.objects.filter(party=party), key=lambda account: METALS.index(account.metal))


def entries_of(party: Party) -> QuerySet[AccountEntry]:
    """Every change of a party's metal accounts, the latest first, each with the balance after it (``after_mg``)."""
    after = Window(Sum("mg"), partition_by=F("account"), order_by=F("id").asc())
    return (
        AccountEntry.objects.filter(account__party=party)
        .annotate(after_mg=after)
        .select_related("account", "receipt", "operation", "settlement")
        .order_by("-id")
    )


def cover() -> list[Cover]:
    """Whether metal in the house covers what it owes, metal by metal.

    Counted is the book's metal of lots that belong to the house, pooled ones among them; what is not valued yet counts
    for nothing, and metal that still belongs to a party is nobody's cover but its own.
    """
    sums = {metal: Sum(f"{metal.lower()}_mg", default=0) for metal in METALS}
    there = Lot.objects.filter(gross_mg__gt=0)
    held = there.filter(owner__isnull=True).aggregate(**sums)
    others = there.filter(owner__isnull=False).aggregate(**sums)
    owed = dict(MetalAccount.objects.values_list("metal").annotate(Sum("balance_mg")).order_by())
    lines = [Cover(metal, held[metal], owed.get(metal, 0), others[metal]) for metal in METALS]
    return [line for line in lines if line.held_mg or line.owed_mg or line.others_mg]
