"""Prices of metals, entered through the actions: an invented table."""

from datetime import date, timedelta
from decimal import Decimal

from django.utils import timezone

from custody.actions.prices import confirm_prices, enter_price, import_prices, set_price_limit
from custody.calc.price_table import HEADER
from custody.models import Price
from tests import people

SOURCE = "invented sheet"


def day(ago: int = 0) -> date:
    """So many days before today."""
    return timezone.localdate() - timedelta(days=ago)


def entered(amount: str = "2000", ago: int = 0, *, by=None, **more) -> Price:
    """A price of gold in USD per troy ounce, daily, so many days ago, entered by Matt."""
    said = {"metal": "Au", "currency": "USD", "fixing": "daily", "per": "ozt", "source": SOURCE, "day": day(ago)}
    return enter_price(amount=Decimal(amount), by=by or people.matt_accountant(), **said | more)


def file_of(*amounts: str, ago: int, metal="Au", currency="USD", fixing="daily", per="ozt", source=SOURCE) -> str:
    """A file of prices day by day, the first one so many days ago."""
    lines = [
        f"{day(ago - number)},{metal},{currency},{fixing},{per},{amount},{source}"
        for number, amount in enumerate(amounts)
    ]
    return "\n".join([",".join(HEADER), *lines]) + "\n"


def whole() -> None:
    """A row in every table of prices: a file with a jump, confirmed; one replaced by hand; a limit."""
    import_prices(name="prices.csv", text=file_of("2000", "2200", ago=3), by=people.matt_accountant())
    confirm_prices(prices=[Price.objects.get(doubtful=True)], note="Seen on the sheet", by=people.mona_manager())
    entered("2201", ago=2, reason="A slip of the keys")
    set_price_limit(metal="Au", valid_from=timezone.localdate(), jump_ppm=40_000, by=people.mona_manager())
