"""What this viewer may see: the only door from the tables to a screen.

Staff with the right to read the book see everything. A customer sees the rows of their own party and nothing else; what
is outside a viewer's scope is not there (404), whoever guesses its number.
"""

from django.db.models import QuerySet

from custody.models import (
    Attachment,
    Bar,
    Box,
    Document,
    Exchange,
    Lot,
    Operation,
    Party,
    Period,
    Price,
    RefusedParcel,
    RouteOrder,
    Settlement,
    Slip,
    StockCount,
    User,
    VaultAccess,
    Weighing,
    Worksheet,
)
from custody.roles import Verb, may, sees_identities
from custody.terms import AttachmentKind, DocumentKind, Kind


def _reads_all(viewer: User) -> bool:
    return viewer.is_active and may(viewer.roles, Verb.READ_BOOK)


def _own_party(viewer: User) -> int | None:
    if viewer.is_active and may(viewer.roles, Verb.READ_OWN):
        return viewer.party_id
    return None


def parties(viewer: User) -> QuerySet[Party]:
    """Parties that the viewer may see."""
    if _reads_all(viewer):
        return Party.objects.all()
    return Party.objects.filter(pk=_own_party(viewer))


def operations(viewer: User) -> QuerySet[Operation]:
    """Operations that the viewer may see; a customer sees its own receipts."""
    if _reads_all(viewer):
        return Operation.objects.all()
    return Operation.objects.filter(kind=Kind.RECEIVE, party_id=_own_party(viewer) or 0)


def receipts(viewer: User) -> QuerySet[Operation]:
    """Receipts that the viewer may see."""
    return operations(viewer).filter(kind=Kind.RECEIVE)


def lots(viewer: User) -> QuerySet[Lot]:
    """Lots that the viewer may see; a customer sees the parcels it delivered."""
    if _reads_all(viewer):
        return Lot.objects.all()
    return Lot.objects.filter(created_by__kind=Kind.RECEIVE, created_by__party_id=_own_party(viewer) or 0)


def weighings(viewer: User) -> QuerySet[Weighing]:
    """Weighings that the viewer may see: those of the lots that the viewer may see."""
    return Weighing.objects.all() if _reads_all(viewer) else Weighing.objects.filter(lot__in=lots(viewer))


def bars(viewer: User) -> QuerySet[Bar]:
    """Bars that the viewer may see; a customer sees those dispatched to it."""
    if _reads_all(viewer):
        return Bar.objects.all()
    return Bar.objects.filter(
        lot__gross_mg=0,
        lot__movements__whole=True,
        lot__movements__operation__kind=Kind.DISPATCH,
        lot__movements__operation__party_id=_own_party(viewer) or 0,
        lot__movements__operation__reversed_by__isnull=True,
    )


def boxes(viewer: User) -> QuerySet[Box]:
    """Boxes of bars that the viewer may see: those who work here see all, customers none (they read its list)."""
    return Box.objects.all() if _reads_all(viewer) else Box.objects.none()


def settlements(viewer: User) -> QuerySet[Settlement]:
    """Settlements that the viewer may see."""
    if _reads_all(viewer):
        return Settlement.objects.all()
    return Settlement.objects.filter(party_id=_own_party(viewer) or 0)


def exchanges(viewer: User) -> QuerySet[Exchange]:
    """Exchanges of assays that the viewer may see; figures that are still sealed nobody may (sql/exchange.sql)."""
    if _reads_all(viewer):
        return Exchange.objects.all()
    return Exchange.objects.filter(party_id=_own_party(viewer) or 0)


#: Papers that go to the customer whose name they carry.
CUSTOMER_PAPERS = (
    DocumentKind.RECEIPT,
    DocumentKind.SETTLEMENT,
    DocumentKind.CERTIFICATE,
    DocumentKind.PURCHASE,
    DocumentKind.COLLECTION,
    DocumentKind.RETURN,
    DocumentKind.BAR_LIST,
    DocumentKind.BOX_LIST,
    DocumentKind.DISPATCH_NOTE,
)


def documents(viewer: User) -> QuerySet[Document]:
    """Papers that the viewer may download."""
    if _reads_all(viewer):
        return Document.objects.all()
    return Document.objects.filter(party_id=_own_party(viewer) or 0, kind__in=CUSTOMER_PAPERS)


def attachments(viewer: User) -> QuerySet[Attachment]:
    """Photographs and papers of deliveries that the viewer may see; identity papers only where they are worked with."""
    if not _reads_all(viewer):
        return Attachment.objects.none()
    found = Attachment.objects.all()
    return found if sees_identities(viewer.roles) else found.exclude(kind=AttachmentKind.IDENTITY)


def identity_number(viewer: User, number: str) -> str:
    """The number of an identity paper, whole for those who work with it; for others its last two characters."""
    if not number or (viewer.is_active and sees_identities(viewer.roles)):
        return number
    return "…" + number[-2:] if len(number) > 4 else "…"


def refused_parcels(viewer: User) -> QuerySet[RefusedParcel]:
    """Refused parcels that the viewer may see: those who work here see all, customers none."""
    return RefusedParcel.objects.all() if _reads_all(viewer) else RefusedParcel.objects.none()


def slips(viewer: User) -> QuerySet[Slip]:
    """Paper slips that the viewer may see: those who work here see all, customers none."""
    return Slip.objects.all() if _reads_all(viewer) else Slip.objects.none()


def people(viewer: User) -> QuerySet[User]:
    """Logins that the viewer may see: a manager every one, staff those of the house, a customer its own."""
    if viewer.is_active and may(viewer.roles, Verb.MANAGE_PEOPLE):
        return User.objects.all()
    return User.objects.filter(party__isnull=True) if _reads_all(viewer) else User.objects.filter(pk=viewer.pk)


def worksheets(viewer: User) -> QuerySet[Worksheet]:
    """Worksheets of the laboratory that the viewer may see: the house's own, never a customer's."""
    return Worksheet.objects.all() if _reads_all(viewer) else Worksheet.objects.none()


def route_orders(viewer: User) -> QuerySet[RouteOrder]:
    """Routes ordered in the plant: those who work here see all, customers none."""
    return RouteOrder.objects.all() if _reads_all(viewer) else RouteOrder.objects.none()


def prices(viewer: User) -> QuerySet[Price]:
    """The house's table of prices: those who work here see all, customers none."""
    return Price.objects.all() if _reads_all(viewer) else Price.objects.none()


def accesses(viewer: User) -> QuerySet[VaultAccess]:
    """Who opened the vault when: those who work here see all, customers none."""
    return VaultAccess.objects.all() if _reads_all(viewer) else VaultAccess.objects.none()


def stock_counts(viewer: User) -> QuerySet[StockCount]:
    """Counts of what stands at places: those who work here see all, customers none."""
    return StockCount.objects.all() if _reads_all(viewer) else StockCount.objects.none()


def periods(viewer: User) -> QuerySet[Period]:
    """Months of the book that the viewer may see."""
    return Period.objects.all() if _reads_all(viewer) else Period.objects.none()
