"""The laboratory of the demo: fire assays read piece by piece on worksheets, and an exchange of assays that waits."""

from itertools import count
from uuid import uuid4

from custody.actions import assay, exchanges, samples, worksheets
from custody.actions.report import Said, report
from custody.calc.worksheet_file import Read
from custody.management.demo.desk import Desk
from custody.models import Determination, Lot, ScaleCheck
from custody.queries.worksheets import book_of
from custody.terms import METALS, Method, PieceRole, ReadingOf

PORTION, ADDED, BEAD, CORNET = ReadingOf.PORTION, ReadingOf.SILVER_ADDED, ReadingOf.BEAD, ReadingOf.CORNET
#: Every portion weighs a quarter of a gram, in micrograms: a result of so many ppm is a quarter of it in micrograms.
TAKEN = 250_000
GOLD_PROOF, SILVER_PROOF = 200_000, 240_000
_turns = count()


def fire_assay(desk: Desk, lot: str, sample: str, **ppm: int) -> Determination:
    """A furnace charge of one lot: two portions parted, two without added silver, two proofs of each metal."""
    anouk = desk.house.anouk
    _checked_balance(desk)
    plan = worksheets.Plan(
        method=Method.FIRE_ASSAY,
        metal="Au",
        pieces=[worksheets.Pieces(Lot.objects.get(number=sample or lot), 2, 2)],
        proofs=[
            worksheets.Proofs(PieceRole.PROOF, desk.house.proof_metals["PG-1"]),
            worksheets.Proofs(PieceRole.SILVER_PROOF, desk.house.proof_metals["PS-1"]),
        ],
        place=desk.house.places["LAB"],
        balance=desk.house.scales["B-1"],
    )
    sheet = worksheets.open_worksheet(plan=plan, at=desk.clock.tick(20), by=anouk)
    worksheets.record_readings(
        worksheet=sheet, readings=_readings(sheet, ppm), seen=0, at=desk.clock.tick(150), by=anouk
    )
    others = {metal: ppm[metal] for metal in METALS if metal not in ("Au", "Ag") and metal in ppm}
    said = Said(lot, others=others, agreed_ppm={"Ag": 1_000}, remark="Copper by spectrometry" if "Cu" in ppm else "")
    outcome = report(
        worksheet=sheet,
        lots=[said],
        seen=book_of(sheet).seen,
        at=desk.clock.tick(20),
        by=anouk,
        request_key=uuid4(),
    )
    return outcome.determinations[0]


def _readings(sheet, ppm: dict[str, int]) -> list[Read]:
    """What the balance shows: each furnace takes and keeps a little, as its proofs do."""
    turn = next(_turns)
    kept = 24 + 4 * (turn * 7 % 11 - 5)  # micrograms that the parted proofs weigh too much
    lost = 900 + 20 * (turn * 5 % 9 - 4)  # micrograms that the silver proofs weigh too little
    apart = 12 + turn % 3 * 4
    found: list[Read] = []
    seen: dict[str, int] = {}
    for piece in sheet.pieces.order_by("position"):
        sign = 1 if seen.setdefault(piece.role, 0) % 2 else -1
        seen[piece.role] += 1
        found += [Read(piece.position, of, value) for of, value in _of_piece(piece.role, ppm, kept, lost, sign * apart)]
    return found


def _of_piece(role: str, ppm: dict[str, int], kept: int, lost: int, off: int) -> list[tuple[ReadingOf, int]]:
    gold, both = ppm["Au"] // 4, (ppm["Au"] + ppm.get("Ag", 0)) // 4
    if role == PieceRole.PROOF:
        return [(PORTION, GOLD_PROOF), (ADDED, 500_000), (BEAD, 700_200), (CORNET, GOLD_PROOF + kept + off)]
    if role == PieceRole.SILVER_PROOF:
        return [(PORTION, SILVER_PROOF), (BEAD, SILVER_PROOF - lost + 2 * off)]
    if role == PieceRole.SAMPLE:
        return [(PORTION, TAKEN), (ADDED, 525_000), (BEAD, both + 525_100), (CORNET, gold + kept + off)]
    return [(PORTION, TAKEN), (BEAD, both - lost + 2 * off)]


def exchange_waits(desk: Desk, parcels: tuple, **ppm: int) -> None:
    """A delivery melted, sampled three times and assayed; the refinery's result is in, the customer's is awaited."""
    desk.pass_on("silas", "FURNACE-1", *parcels)
    melt, _ = desk.melt(list(parcels), flux=9_000, slag=10_200, fume=380)
    sample = desk.sample(melt, keep=True)
    one = fire_assay(desk, melt, sample, **ppm)
    lot = Lot.objects.get(number=melt)
    exchange = exchanges.open_exchange(lot=lot, at=desk.clock.tick(10), by=desk.house.anouk)
    exchanges.hand_in_determination(exchange=exchange, determination=one, by=desk.house.anouk)


def consume(desk: Desk, sample: str, mg: int) -> None:
    """The assay takes so much of a sample."""
    samples.consume_sample(sample=sample, consumed_mg=mg, at=desk.clock.tick(30), by=desk.house.anouk)


def accept(desk: Desk, one: Determination) -> None:
    """The manager accepts."""
    assay.accept(determination=one, at=desk.clock.tick(15), by=desk.house.maren)


def _checked_balance(desk: Desk) -> None:
    balance = desk.house.scales["B-1"]
    if not ScaleCheck.objects.filter(scale=balance, day=desk.clock.tick(0).date()).exists():
        desk.check(balance)
