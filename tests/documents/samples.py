"""Papers to test with: invented people, companies and figures."""

from datetime import UTC, date, datetime
from decimal import Decimal

from custody.documents.assay import AssayPaper, AssayPiece, AssayResult
from custody.documents.certificate import CertificatePaper
from custody.documents.flow import Link, Node
from custody.documents.labels import LabelSheet, LotLabel
from custody.documents.parts import House, Signature
from custody.documents.receipt import ReceiptPaper, ReceiptParcel
from custody.documents.settlement import Charge, SettledLot, SettledMetal, SettlementPaper
from custody.documents.trace import TraceHandover, TraceLoss, TraceMetal, TraceOrigin, TracePaper

HOUSE = House("Harrow Fell Refinery", "HFR", ("4 Smelt Lane", "Harrow Fell"), "Europe/London")
IDENTIFIER = bytes(range(16))
NOON = datetime(2024, 5, 3, 11, 0, tzinfo=UTC)  # 12:00 in London in May
ADDRESS = ("12 Sluice Road", "Tern Valley")
SCRIPT = "<script>alert(1)</script> & Sons"
LONG_NAME = "Edelmetallrückgewinnungsgesellschaft" * 5 + " of the Upper Tern Valley and Adjoining Districts"


def parcel(index=0, **changes):
    values = {
        "lot": f"L-{2400 + index:06d}",
        "form": "doré",
        "pieces": 3,
        "category": "mined",
        "country": "CA",
        "declared_fineness": (("Au", 801_500), ("Ag", 120_000)),
        "scale": "Bench 2",
        "gross_mg": 1_250_345 + index,
        "tare_mg": 1_002,
        "net_mg": 1_249_343 + index,
        "declared_mg": 1_250_000,
    }
    return ReceiptParcel(**{**values, **changes})


def receipt(*parcels, **changes):
    values = {
        "house": HOUSE,
        "number": "R-000123",
        "qr": "https://book.example/r/R-000123",
        "received_at": NOON,
        "party": "Tern Valley Placer Cooperative",
        "party_code": "P-01",
        "party_address": ADDRESS,
        "delivered_by": "Mara Quill",
        "received_by": "Ona Birk",
        "custodian": "Ona Birk",
        "place": "counter strongroom",
        "basis": "toll",
        "parcels": parcels or (parcel(0), parcel(1)),
        "terms": ("The reserve sample is kept for sixty days.",),
    }
    return ReceiptPaper(**{**values, **changes})


def label(lot="L-002400", **changes):
    values = {
        "lot": lot,
        "qr": lot,
        "form": "doré",
        "net_mg": 1_249_343,
        "receipt": "R-000123",
        "status": "awaiting release",
        "owner_code": "P-01",
    }
    return LotLabel(**{**values, **changes})


def labels(*lots):
    return LabelSheet(HOUSE, lots or (label(), label("L-002401", status="held")))


GOLD = SettledMetal(
    metal="Au",
    content_mg=5_821_345,
    accountability_ppm=990_000,
    payable_mg=5_763_131,
    retained_mg=58_214,
    returned_mg=0,
    formula="5821.345 g at 99.00 %\n5763.131 g at 70.0000 USD/g",
    price=Decimal("70.1234"),
    price_unit="g",
    price_source="agreed on 2024-05-02",
    amount=Decimal("404130.34"),
)
SILVER = SettledMetal("Ag", 900_000, 950_000, 0, 45_000, 855_000, "900.000 g at 95.00 %, returned as metal")


def settlement(**changes):
    values = {
        "house": HOUSE,
        "number": "S-000045",
        "qr": "https://book.example/s/S-000045",
        "issued_at": NOON,
        "party": "Tern Valley Placer Cooperative",
        "party_code": "P-01",
        "party_address": ADDRESS,
        "receipts": ("R-000123",),
        "outturn": "money",
        "currency": "USD",
        "metals": (GOLD, SILVER),
        "charges": (Charge("Treatment", "lump sum", Decimal("-150.00")),),
        "total": Decimal("403980.34"),
        "prepared": Signature("Prepared by", "Ines Farrow", NOON),
        "approved": Signature("Approved by", "Tom Alder", NOON),
        "lots": (SettledLot("L-002400", "doré", 7_000_000, (("Au", 831_621, 5_821_345),), "A-00077"),),
    }
    return SettlementPaper(**{**values, **changes})


def certificate(**changes):
    values = {
        "house": HOUSE,
        "number": "C-000311",
        "qr": "https://book.example/b/HFR-A000001-2024",
        "mark": "HFR",
        "serial": "A000001",
        "year": 2024,
        "form": "cast bar",
        "metal": "Au",
        "gross_mg": 1_000_012,
        "fineness_ppm": 999_900,
        "fine_mg": 999_912,
        "marked": "999.9",
        "gross_ozt": "32.151",
        "fine_ozt": "32.148",
        "fine_rule": "agreed fine content of a bar of 1 kg",
        "bar_type": "1 kg gold",
        "marks": ("FINE GOLD",),
        "cast_on": date(2024, 5, 20),
        "assay_reference": "A-00102",
        "custody_model": "mass balance",
        "signatures": (Signature("Assayed by", "Lena Moss", NOON), Signature("Issued by", "Tom Alder")),
        "issued_at": NOON,
    }
    return CertificatePaper(**{**values, **changes})


def piece(position=1, what="portion", taken_ug=250_013, found_ug=200_011, result_ppm=800_002, **changes):
    values = {"worksheet": "W24-00007", "position": position, "what": what, "taken_ug": taken_ug}
    return AssayPiece(**{**values, "found_ug": found_ug, "result_ppm": result_ppm, **changes})


def assay(**changes):
    values = {
        "house": HOUSE,
        "number": "A24-00102",
        "qr": "A24-00102",
        "lot": "L-002400",
        "form": "melt",
        "gross_mg": 1_249_343,
        "receipt": "R-000123",
        "party": "Tern Valley Placer Cooperative",
        "party_code": "P-01",
        "party_address": ADDRESS,
        "sample": "L-002409",
        "seal": "S 4471",
        "method": "fire assay by cupellation",
        "results": (AssayResult("Au", 800_002, 162_400), AssayResult("Ag", 149_500)),
        "pieces": (
            piece(),
            piece(2, found_ug=200_007, result_ppm=799_990),
            piece(3, "proof PG-1", 200_000, 200_012, None),
            piece(4, found_ug=None, result_ppm=None, word="discarded: spurted"),
        ),
        "sentences": ("The results lie 0.012 per mille apart, within the 0.5 that they may.",),
        "signatures": (Signature("Determined", "Anna Bead", NOON), Signature("Accepted", "Mona Ravn", NOON)),
        "issued_at": NOON,
    }
    return AssayPaper(**{**values, **changes})


def origin(index=0, mg=640_123, **changes):
    values = {
        "lot": f"L-{2400 + index:06d}",
        "party": "Tern Valley Placer Cooperative",
        "party_code": "P-01",
        "receipt": f"R-{123 + index:06d}",
        "country": "CA",
        "category": "mined",
        "mg": mg,
        "received_on": date(2024, 5, 3),
    }
    return TraceOrigin(**{**values, **changes})


NODES = (
    Node("a", ("L-002400", "Tern Valley Placer Cooperative"), "parcel", 0),
    Node("b", ("L-002401", "Old Mill Jewellers"), "parcel", 0),
    Node("d", ("difference",), "difference", 0),
    Node("m", ("L-002500", "melt"), "lot", 1),
    Node("s", ("slag",), "loss", 2),
    Node("bar", ("A000001", "bar"), "bar", 2),
)
LINKS = (
    Link("a", "m", 640_123),
    Link("b", "m", 361_793),
    Link("d", "bar", 120),
    Link("m", "s", 2_124),
    Link("m", "bar", 999_792),
)


ORIGINS = (origin(), origin(1, 359_669))


def trace(origins=ORIGINS, **changes):
    total = sum(entry.mg for entry in origins) + 120
    values = {
        "house": HOUSE,
        "number": "T-000009",
        "qr": "https://book.example/t/T-000009",
        "issued_at": NOON,
        "prepared_by": "Ruth Senn",
        "lot": "L-003100",
        "form": "bar",
        "gross_mg": 1_000_012,
        "custody_model": "mass balance",
        "custodian": "Bo Lind",
        "place": "vault 1",
        "metals": (TraceMetal("Au", total, tuple(origins), 120),),
        "losses": (TraceLoss("OP-000031", "melt", NOON, "slag", (("Au", 2_124), ("Ag", 880))),),
        "handovers": (
            TraceHandover("L-002500", NOON, "Pim Oster", "Bo Lind", "melt shop", "vault 1", 1_000_012, 1_000_010),
            TraceHandover("L-002400", NOON, "Ona Birk", "Pim Oster", "counter", "melt shop", 1_249_343),
        ),
        "ancestors": ("L-002400", "L-002401", "L-002500"),
        "nodes": NODES,
        "links": LINKS,
        "serial": "HFR A000001 2024",
    }
    return TracePaper(**{**values, **changes})
