"""Compliance asks what a bar is made of, and where a parcel went."""

from fractions import Fraction

from tests.documents import reading
from tests.journeys.person import Person

#: Every operation between parcel and bar may be a milligram off the exact share: melt, valuation, sample, batch,
#: the assay of the sand, cast.
NEAR_MG = 6


def milligrams(grams: str) -> int:
    """A figure of a list in grams, as whole milligrams."""
    return int("".join(sign for sign in grams if sign.isdigit()))


def back(officer: Person, serial: str, shares: dict[str, Fraction]) -> None:
    """Scans a bar: its custody, its origins with grams and share, the losses, the picture, and all of it as a paper."""
    officer.scan(serial)
    lot = officer.title
    assert [row["Held by"] for row in officer.table("Custody")] == ["Otto Flux", "Vera Lock"]
    gold = milligrams(officer.fact("Au at"))
    officer.follow("Trace back")
    assert officer.main.locator(".flow svg").is_visible()
    rows = {row["Parcel"]: row for row in officer.table("Origins of Au")}
    assert set(rows) == set(shares)
    assert sum(milligrams(row["Mass, g"]) for row in rows.values()) == gold
    for parcel, share in shares.items():
        assert abs(milligrams(rows[parcel]["Mass, g"]) - gold * share) <= NEAR_MG
        assert abs(Fraction(rows[parcel]["Share, %"]) - 100 * share) < Fraction(1, 100)
    causes = {row["Cause"] for row in officer.table("Losses on the way")}
    assert {"filter", "spill", "measurement difference"} <= causes
    officer.press("Issue a trace report")
    text = reading.text(officer.download(officer.table("Trace reports")[0]["Paper"]))
    assert lot in text
    assert serial in text
    assert all(parcel in text for parcel in shares)


def forward(officer: Person, parcel: str, expected: dict[str, str]) -> None:
    """A parcel forward: what became of its gold, each fate with a lot's serial or a loss's cause."""
    officer.desk("Trace")
    officer.type("Lot number or bar serial", parcel)
    officer.leads(lambda: officer.page.keyboard.press("Enter"))
    assert officer.title == parcel
    fates = {(row["Fate"], row["Serial or cause"]) for row in officer.table("Fates of Au")}
    for fate, words in expected.items():
        assert any(fate == kind and words in said for kind, said in fates), (fate, words, fates)
