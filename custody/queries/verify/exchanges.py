"""I12: results of an exchange of assays went through different hands, and what they came to valued the lot."""

from collections import defaultdict
from typing import Any

from custody.calc.exchange import UmpireRule, give_way, settle
from custody.calc.refusals import Refused
from custody.queries.verify.findings import Check
from custody.queries.verify.raw import rows

_FOUR = ("Au", "Ag", "Pt", "Pd")
_COLUMNS = "au_ppm, {0}.ag_ppm, {0}.pt_ppm, {0}.pd_ppm"


def check(found: Check) -> None:
    """Examines every exchange whose results may be seen; a sealed one says nothing yet."""
    results = _results()
    for exchange, number, lot, rule, *limits in rows(
        "SELECT x.id, x.number, x.lot_id, t.rule, t.au_limit_ppm, t.ag_limit_ppm, t.pt_limit_ppm, t.pd_limit_ppm"
        " FROM custody_exchange x JOIN custody_exchangeterms t ON t.id = x.terms_id ORDER BY x.id"
    ):
        found.checked += 1
        sides = results[exchange]
        _hands(found, number, sides)
        _accepted(found, number, lot, exchange, sides, _settled(sides, dict(zip(_FOUR, limits, strict=True)), rule))


def _results() -> dict[int, dict[str, dict[str, Any]]]:
    found: dict[int, dict[str, dict[str, Any]]] = defaultdict(dict)
    for exchange, side, opened, by, determined_by, *figures in rows(
        f"SELECT r.exchange_id, r.side, r.opened, r.by_id, d.by_id AS determined_by, r.{_COLUMNS.format('r')}"
        " FROM custody_exchangeresult r LEFT JOIN custody_determination d ON d.id = r.determination_id"
    ):
        ppm = {metal: one for metal, one in zip(_FOUR, figures, strict=True) if one is not None}
        found[exchange][side] = {"opened": opened, "by": by, "determined_by": determined_by, "ppm": ppm}
    return found


def _hands(found: Check, number: str, sides: dict[str, dict[str, Any]]) -> None:
    if {"refinery", "customer"} <= sides.keys():
        ours, entered = sides["refinery"], sides["customer"]["by"]
        if entered in (ours["by"], ours["determined_by"]):
            found.breach(f"exchange {number}", "both results went through one person's hands", by=entered)


def _settled(sides: dict[str, dict[str, Any]], limits: dict[str, int | None], rule: str) -> dict[str, int | None]:
    """What the results come to by the rule, metal by metal in ppm; empty where nothing may count yet."""
    ours, theirs, third = (sides.get(side) for side in ("refinery", "customer", "umpire"))
    if ours is None or not ours["opened"]:
        return {}
    agreed = {metal: limit for metal, limit in limits.items() if limit is not None}
    try:
        lines = settle(ours["ppm"], theirs and theirs["ppm"], agreed, third["ppm"] if third else {}, UmpireRule(rule))
    except (Refused, ValueError):
        return {}
    return {line.exchanged.metal: line.settled_ppm for line in lines}


def _as_agreed(said: dict[str, int], settled: dict[str, int | None]) -> dict[str, int | None]:
    """What it came to; where the metals together exceed the whole, with the one less that was said to give way."""
    less = [metal for metal, ppm in settled.items() if ppm is not None and said[metal] < ppm]
    if None in settled.values() or len(less) != 1:
        return settled
    try:
        return give_way(settled, less[0])
    except Refused:
        return settled


def _accepted(
    found: Check, number: str, lot: int, exchange: int, sides: dict[str, dict[str, Any]], settled: dict[str, int | None]
) -> None:
    """The first acceptance since the exchange was opened is of what it came to, by a person with no part in it."""
    had_a_part = {person for side in sides.values() for person in (side["by"], side["determined_by"])}
    accepted = rows(
        f"SELECT d.number, d.exchange_id, a.by_id, d.{_COLUMNS.format('d')} FROM custody_determination d"
        " JOIN custody_acceptance a ON a.determination_id = d.id JOIN custody_exchange x ON x.id = %s"
        " WHERE d.lot_id = %s AND a.at >= x.at OR d.exchange_id = x.id ORDER BY a.id",
        [exchange, lot],
    )
    for position, (assay, of_exchange, by, *figures) in enumerate(accepted):
        if of_exchange is None and position:
            continue  # a revaluation
        where = f"exchange {number}, determination {assay}"
        if of_exchange != exchange:
            found.breach(where, "a lot whose assays are exchanged is valued by what they came to")
            continue
        said = dict(zip(_FOUR, figures, strict=True))
        found.expect(said, _as_agreed(said, settled), where, "what the exchange came to")
        if by in had_a_part:
            found.breach(where, "accepted by a person who had a part in it", by=by)
