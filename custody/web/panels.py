"""What the partials in templates/ui/ show: small records, filled by a view and read by one template each."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

Tone = Literal["good", "wait", "stop", "plain"]


@dataclass(frozen=True, kw_only=True)
class Action:
    """Something a person can do next (ui/actions.html); ``post`` for whatever changes the book."""

    label: str
    url: str
    method: Literal["get", "post"] = "get"
    tone: Literal["main", "quiet", "stop"] = "quiet"
    values: Mapping[str, str] = field(default_factory=dict)

    @property
    def css(self) -> str:
        """The class beside ``button``."""
        return "" if self.tone == "main" else self.tone


@dataclass(frozen=True, kw_only=True)
class Fact:
    """One line of a panel (ui/facts.html): a value, or a mass in mg (None: not known), time, link, standing."""

    label: str
    value: object = ""
    url: str = ""
    tone: Tone | Literal[""] = ""
    mg: int | Literal[""] | None = ""
    at: datetime | None = None


@dataclass(frozen=True, kw_only=True)
class Panel:
    """A titled list of facts (ui/panel.html)."""

    title: str
    facts: Sequence[Fact] = ()
    note: str = ""
    actions: Sequence[Action] = ()


@dataclass(frozen=True, kw_only=True)
class Step:
    """One station of a lot's way (ui/steps.html)."""

    label: str
    state: Literal["done", "now", "to do"] = "to do"
    note: str = ""
    url: str = ""


@dataclass(frozen=True, kw_only=True)
class Holder:
    """Who answers for a lot (ui/custody.html)."""

    who: str
    where: str
    since: datetime
    note: str = ""
