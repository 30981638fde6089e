"""The invented house, its people, places and parties."""

import secrets
from dataclasses import dataclass
from datetime import timedelta
from decimal import Decimal

from django.utils import timezone

from custody.actions import house, people, scales, worksheets
from custody.calc.scales import Accuracy
from custody.calc.scales import Scale as Plate
from custody.calc.weights import Weight, WeightClass
from custody.models import Party, Place, ProofMetal, Scale, User
from custody.terms import PlaceKind, Role

REFINERY = {
    "name": "Harrow Fell Refinery",
    "address": "4 Assay Row\nHarrow Fell",
    "mark": "HFR",
    "time_zone": "Europe/London",
    "receipt_terms": (
        "Weights are the net weights of our scales. Content is settled on the accepted assay after melting. "
        "Metal stays the customer's until it is settled."
    ),
}

PLACES = (
    ("COUNTER", "Counter", PlaceKind.COUNTER),
    ("STRONG", "Strongroom, received metal", PlaceKind.STRONGROOM),
    ("LAB", "Laboratory", PlaceKind.LABORATORY),
    ("FURNACE-1", "Melting furnace", PlaceKind.FURNACE),
    ("VESSEL-1", "Dissolving vessel 1", PlaceKind.VESSEL),
    ("VESSEL-2", "Dissolving vessel 2", PlaceKind.VESSEL),
    ("HALL", "Refining hall", PlaceKind.WORKSHOP),
    ("MINT", "Casting and stamping", PlaceKind.WORKSHOP),
    ("VAULT", "Vault", PlaceKind.VAULT),
)

#: Code, name, place, and the plate: accuracy class, e and Max in milligrams, d in micrograms.
SCALES = (
    ("C-1", "Counter scale", "COUNTER", Plate(Accuracy.II, 100, 6_200_000, 10_000)),
    ("F-1", "Floor scale", "STRONG", Plate(Accuracy.III, 2_000, 20_000_000)),
    ("M-1", "Mint balance", "MINT", Plate(Accuracy.I, 10, 3_200_000, 1_000)),
    ("B-1", "Assay balance", "LAB", Plate(Accuracy.I, 1, 5_000, 1)),
)

#: Code, nominal milligrams and class of the reference weights; C-1 and F-1 are checked with them each morning.
WEIGHTS = (
    ("W-2K", 2_000_000, WeightClass.F1),
    ("W-2E", 2_000_000, WeightClass.E2),
    ("W-100", 100_000, WeightClass.F1),
    ("W-5K", 5_000_000, WeightClass.F2),
    ("W-1", 1_000, WeightClass.E1),
)

PEOPLE = (
    ("fern", "Fern Alder", Role.FRONT_DESK),
    ("silas", "Silas Marl", Role.SAMPLER),
    ("anouk", "Anouk Teal", Role.ASSAYER),
    ("orrin", "Orrin Slate", Role.OPERATOR),
    ("vesna", "Vesna Holm", Role.VAULT),
    ("malik", "Malik Rowan", Role.ACCOUNTANT),
    ("carys", "Carys Quill", Role.COMPLIANCE),
    ("maren", "Maren Voss", Role.MANAGER),
    ("idris", "Idris Fell", Role.AUDITOR),
)

PARTIES = (
    ("P-01", "Tern Valley Placer Cooperative", "CA", "Box 12\nTern Valley", "980000", "0"),
    ("P-02", "Kestrel Lane Jewellers", "GB", "7 Kestrel Lane\nOldhaven", "975000", "900000"),
    ("P-03", "Greywater Mine", "GH", "Greywater Camp\nUpper Basin", "995000", "970000"),
    ("P-04", "Lowmoor Bullion Dealing", "NO", "Lowmoor Quay 3", "1000000", "1000000"),
    ("P-05", "Saltmarsh Coin and Scrap", "NL", "Saltmarsh 90", "970000", "850000"),
    ("P-06", "Ilse Vane", "GB", "3 Weir Street\nOldhaven", "930000", "0"),
    ("P-07", "Highdown Umpire Laboratory", "BE", "Highdown 12", "1000000", "1000000"),
)

#: Code, metal, purity and its expanded uncertainty in ppm of the laboratory's proof metals.
PROOF_METALS = (("PG-1", "Au", 999_990, 10), ("PS-1", "Ag", 999_970, 20))

CUSTOMERS = (("tern", "Noor Tern", "P-01"), ("kestrel", "Piet Kestrel", "P-02"))


@dataclass(frozen=True)
class House:
    """Everybody and every place of the demo, and the password that its logins share."""

    people: dict[str, User]
    places: dict[str, Place]
    parties: dict[str, Party]
    scales: dict[str, Scale]
    proof_metals: dict[str, ProofMetal]
    password: str

    def __getattr__(self, name: str) -> User:
        try:
            return self.people[name]
        except KeyError:
            raise AttributeError(name) from None


def set_up(password: str | None = None) -> House:
    """Lays out the invented house in an empty book; its password is made up on the spot."""
    password = password or "-".join(secrets.token_hex(3) for _ in range(3))
    manager = people.add_person(
        username="maren", full_name="Maren Voss", password=password, roles=[Role.MANAGER], by=None
    )
    house.describe_refinery(**REFINERY, by=manager)
    crew = {"maren": manager}
    for username, name, role in PEOPLE:
        if username not in crew:
            crew[username] = people.add_person(
                username=username, full_name=name, password=password, roles=[role], by=manager
            )
    places = {code: house.add_place(code=code, name=name, kind=kind, by=manager) for code, name, kind in PLACES}
    balances = {
        code: scales.enter_scale(code=code, name=name, place=places[where], plate=plate, by=manager)
        for code, name, where, plate in SCALES
    }
    for code, nominal, made in WEIGHTS:
        scales.enter_reference_weight(code=code, weight=Weight(nominal, made), by=manager)
    proof_metals = {
        code: worksheets.enter_proof_metal(
            code=code, metal=metal, purity_ppm=purity, uncertainty_ppm=expanded, certificate="supplier's", by=None
        )
        for code, metal, purity, expanded in PROOF_METALS
    }
    parties = _parties(crew)
    for username, name, code in CUSTOMERS:
        crew[username] = people.add_person(
            username=username,
            full_name=name,
            password=password,
            roles=[Role.CUSTOMER],
            by=manager,
            party=parties[code],
        )
    return House(crew, places, parties, balances, proof_metals, password)


def _parties(crew: dict[str, User]) -> dict[str, Party]:
    parties = {}
    since = timezone.localdate() - timedelta(days=90)
    for code, name, country, address, gold, silver in PARTIES:
        parties[code] = house.add_party(code=code, name=name, country=country, address=address, by=crew["fern"])
        house.agree_terms(
            party=parties[code],
            by=crew["malik"],
            valid_from=since,
            currency="EUR",
            au_payable_ppm=int(gold),
            ag_payable_ppm=int(silver),
            refining_charge_per_g=Decimal("0.0900"),
            treatment_charge=Decimal("75.00"),
            minimum_charge=Decimal("120.00"),
        )
    return parties
