"""Parties: the list, and what the house and one of them have to do with each other."""

from django.db.models import Count, Max, Q, QuerySet

from custody.models import MetalAccount, Operation, Party, Settlement, User
from custody.queries import scope
from custody.terms import Kind


def listed(viewer: User, words: str = "") -> QuerySet[Party]:
    """Parties whose code or name holds the words, with ``deliveries`` and the time of the ``latest``."""
    received = Q(operation__kind=Kind.RECEIVE, operation__reversed_by__isnull=True)
    found = scope.parties(viewer)
    for word in words.split():
        found = found.filter(Q(code__icontains=word) | Q(name__icontains=word))
    return found.annotate(
        deliveries=Count("operation", filter=received), latest=Max("operation__at", filter=received)
    ).order_by("code")


def find_party(viewer: User, typed: str) -> Party | None:
    """The party that a typed text names: its code, its code followed by its name as a list offers it, or its name."""
    typed = " ".join(typed.split())
    if not typed or "\0" in typed:
        return None
    code = typed.split(" ")[0]
    seen = scope.parties(viewer)
    for named in (
        seen.filter(code__in={code, code.upper()}) if typed == code else seen.none(),
        [party for party in seen.filter(code=code) if str(party) == typed],
        seen.filter(name__iexact=typed),
    ):
        found = list(named[:2])
        if len(found) == 1:
            return found[0]
    return None


def receipts_of(viewer: User, party: Party) -> QuerySet[Operation]:
    """The receipts of a party, the newest in front."""
    return (
        scope.receipts(viewer)
        .filter(party=party)
        .select_related("reversed_by", "by", "purchase")
        .annotate(parcels=Count("receipt_lots", filter=Q(receipt_lots__parcel__isnull=False)))
        .order_by("-id")
    )


def settled_by(receipts: list[Operation]) -> dict[int, str]:
    """The statement that stands for each receipt, by the receipt's id."""
    standing = Settlement.objects.filter(receipt__in=receipts, corrected_by__isnull=True)
    return dict(standing.values_list("receipt_id", "number"))


def accounts_of(party: Party) -> list[MetalAccount]:
    """What the house owes the party in metal, accounts with nothing on them left out."""
    return list(MetalAccount.objects.filter(party=party, balance_mg__gt=0).order_by("id"))
