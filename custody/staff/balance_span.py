"""A span of local days, and the months that it may be."""

from dataclasses import dataclass
from datetime import date, timedelta
from urllib.parse import urlencode

from django.urls import reverse


@dataclass(frozen=True, slots=True)
class Span:
    """Local days from ``first`` to ``last``, both included."""

    first: date
    last: date

    @classmethod
    def month_of(cls, day: date) -> "Span":
        """The whole month that holds a day."""
        first = day.replace(day=1)
        return cls(first, (first + timedelta(days=31)).replace(day=1) - timedelta(days=1))

    @property
    def month(self) -> date | None:
        """The first day of the month that this span is; None where it is not one whole month."""
        return self.first if self == Span.month_of(self.first) else None

    @property
    def before(self) -> "Span":
        """The month before the first day's."""
        return Span.month_of(self.first.replace(day=1) - timedelta(days=1))

    @property
    def after(self) -> "Span":
        """The month after the first day's."""
        return Span.month_of(Span.month_of(self.first).last + timedelta(days=1))

    @property
    def url(self) -> str:
        """The page of its balance."""
        return f"{reverse('balance')}?{urlencode({'first': self.first.isoformat(), 'last': self.last.isoformat()})}"
