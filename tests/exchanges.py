"""Exchange terms, exchanges and results handed in, made through the actions."""

from datetime import date

from django.utils import timezone

from custody.actions.assay import accept, determine
from custody.actions.exchanges import (
    agree_exchange,
    hand_in_determination,
    hand_in_letter,
    hand_in_own,
    hand_in_umpire,
    open_exchange,
    record_settled,
)
from custody.calc.exchange import UmpireRule
from custody.models import Determination, Exchange, ExchangeTerms, Lot, Party, User
from custody.queries.exchanges import Seen, see
from tests import builders, people

#: One refiner's published limits for gold-base material (fixtures/published/exchange.json).
LIMITS = {"au_limit_ppm": 500, "ag_limit_ppm": 2_000}
OURS = {"Au": 900_500, "Ag": 80_000, "Cu": 15_000}
INSIDE = {"Au": 900_000, "Ag": 82_000}
OUTSIDE = {"Au": 901_100, "Ag": 80_500}


def terms(of: Party | None = None, *, since: date | None = None, **agreed) -> ExchangeTerms:
    """Exchange terms in force from the day on: LIMITS, umpire final, unless told otherwise."""
    said = {"rule": UmpireRule.FINAL, **LIMITS} | agreed
    return agree_exchange(
        party=of or people.party(), by=people.matt_accountant(), valid_from=since or timezone.localdate(), **said
    )


def due(lot: Lot | None = None, **agreed) -> Lot:
    """A lot of P-01's whose assays are to be exchanged."""
    builders.refinery()
    terms(**agreed)
    return lot or builders.received()[0]


def opened(lot: Lot | None = None, **agreed) -> Exchange:
    """An exchange that Anna opened."""
    lot = lot or due(**agreed)
    return open_exchange(lot=lot, at=timezone.now(), by=people.anna_assayer())


def determined(lot: Lot, *, by: User | None = None, **ppm: int) -> Determination:
    """What Anna determined of a lot: OURS unless told otherwise."""
    return determine(
        lot=lot,
        ppm=ppm or OURS,
        method="fire assay by cupellation",
        at=timezone.now(),
        by=by or people.anna_assayer(),
    )


def refinery_in(exchange: Exchange, *, by: User | None = None, **ppm: int) -> Determination:
    """The refinery's result, determined and handed in by Anna."""
    found = determined(exchange.lot, by=by, **ppm)
    hand_in_determination(exchange=exchange, determination=found, by=by or people.anna_assayer())
    return found


def customer_in(exchange: Exchange, **ppm: int) -> None:
    """Cora hands in P-01's result: INSIDE unless told otherwise."""
    hand_in_own(exchange=exchange, ppm=ppm or INSIDE, laboratory="Tern Bay Assayers", by=people.cora_customer())


def letter_in(exchange: Exchange, *, by: User | None = None, **ppm: int) -> None:
    """P-01's result by letter, entered by Fiona."""
    hand_in_letter(
        exchange=exchange,
        ppm=ppm or INSIDE,
        laboratory="Tern Bay Assayers",
        reference="Letter of 3 March",
        by=by or people.fiona_frontdesk(),
    )


def umpire_in(exchange: Exchange, **ppm: int) -> None:
    """The umpire's report, entered by Matt."""
    hand_in_umpire(
        exchange=exchange,
        ppm=ppm,
        laboratory="Quern Umpire Laboratory",
        reference="Report 771",
        by=people.matt_accountant(),
    )


def both_in(exchange: Exchange | None = None, theirs: dict[str, int] | None = None) -> Exchange:
    """An exchange with both results in."""
    exchange = exchange or opened()
    refinery_in(exchange)
    customer_in(exchange, **(theirs or INSIDE))
    return exchange


def beyond_the_whole() -> Exchange:
    """An exchange whose metals, settled one by one, are 650 ppm more than the whole: Au by the umpire, Ag the mean."""
    exchange = opened()
    refinery_in(exchange, Au=850_000, Ag=150_000)
    customer_in(exchange, Au=848_000, Ag=151_500)
    umpire_in(exchange, Au=849_900)
    return exchange


def settled(exchange: Exchange, *, gives_way: str = "") -> Determination:
    """What the exchange came to, recorded by Matt."""
    return record_settled(exchange=exchange, at=timezone.now(), by=people.matt_accountant(), gives_way=gives_way)


def accepted(determination: Determination) -> None:
    """A settled assay, accepted by Mona."""
    accept(determination=determination, at=timezone.now(), by=people.mona_manager())


def valued(exchange: Exchange) -> Lot:
    """The lot with the settled metals."""
    accepted(settled(exchange))
    return builders.fresh(exchange.lot.number)


def seen(exchange: Exchange) -> Seen:
    """The exchange as the book has it now."""
    return see([Exchange.objects.select_related("lot", "terms", "party", "by").get(pk=exchange.pk)])[0]
