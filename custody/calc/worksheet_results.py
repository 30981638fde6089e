"""What a worksheet comes to: every piece's result with its arithmetic, mean, spread, verdict and uncertainty.

The formulas are those of assay.py, silver.py, high_purity.py, repeatability.py and uncertainty.py, each with its source
there. Words are written so that a result can be reckoned again on a pocket calculator.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

from custody.calc.assay import (
    Charge,
    Proof,
    fire_assay,
    format_milligrams,
    mean_ppm,
    mean_surcharge_ug,
)
from custody.calc.fineness import format_per_mille
from custody.calc.high_purity import PPB_IN_PPM, Undetected, by_difference
from custody.calc.refusals import Refused
from custody.calc.repeatability import (
    R_OVER_S_SQUARED,
    Agreement,
    Repeatability,
    agreement,
    limit_of,
    variance_of,
)
from custody.calc.rounding import to_places
from custody.calc.silver import (
    ChlorideFactor,
    SaltStandard,
    gay_lussac_ppm,
    salt_factor,
    salt_strength_ug,
    silver_as_chloride_ppm,
    silver_by_difference_ppm,
    strong_salt_ul,
    titrated_silver_ppm,
)
from custody.calc.uncertainty import Laboratory, Measured, fire_assay_fineness, known, measured
from custody.calc.worksheet import Piece
from custody.terms import Method, PieceRole, ReadingOf

#: From so many pairs on the house's own duplicates say what its repeatability is; before that the method's limit does.
FEWEST_PAIRS = 10


@dataclass(frozen=True, slots=True)
class Sheet:
    """A worksheet as it is reckoned. ``own`` is what the house's earlier duplicates show, by metal."""

    method: Method
    metal: str
    pieces: tuple[Piece, ...]
    weighing_ug2: Fraction = Fraction(0)
    weighing_words: str = ""
    own: Mapping[str, Repeatability] = field(default_factory=dict)

    def of(self, role: PieceRole, lot: str = "") -> list[Piece]:
        """The pieces of a role, of one lot or of the proofs, that were not discarded."""
        return [piece for piece in self.pieces if piece.role is role and piece.lot == lot and not piece.discarded]


@dataclass(frozen=True, slots=True)
class PieceResult:
    """One piece's fineness in ppm, and how it was reckoned."""

    position: int
    ppm: int
    words: str


@dataclass(frozen=True, slots=True)
class Result:
    """What a worksheet says of one metal of one lot. ``fault`` says why it says nothing (yet).

    ``agreed`` is None while no limit is known: one has to be agreed. ``expanded_ppb`` is zero where none is stated.
    ``spent`` says that no piece is left to wait for.
    """

    lot: str
    metal: str
    pieces: tuple[PieceResult, ...] = ()
    mean_ppm: int = 0
    agreed: Agreement | None = None
    limit_words: str = ""
    expanded_ppb: int = 0
    uncertainty_words: str = ""
    fault: str = ""
    spent: bool = False

    @property
    def spread_ppm(self) -> int:
        """The highest result less the lowest."""
        return max(piece.ppm for piece in self.pieces) - min(piece.ppm for piece in self.pieces) if self.pieces else 0

    @property
    def expanded_words(self) -> str:
        """The expanded uncertainty in per mille, as a person reads it."""
        return expanded_words(self.expanded_ppb)

    @property
    def single(self) -> bool:
        """Whether one piece stands alone: nothing says that it is right."""
        return len(self.pieces) == 1

    @property
    def accepted(self) -> bool:
        """Whether parallel results agree, so that the mean may be reported."""
        return bool(self.agreed and self.agreed.accepted)

    @property
    def again(self) -> bool:
        """Whether the lot has to be assayed again."""
        return self.spent or self.single or bool(self.agreed and not self.agreed.accepted)

    @property
    def verdict(self) -> str:
        """How it stands, in words."""
        if self.fault:
            return self.fault
        if self.single:
            return "Only one piece stands. Assay again in duplicate."
        if self.agreed is None:
            return f"The results lie {format_per_mille(self.spread_ppm)} per mille apart. {self.limit_words}"
        return self.agreed.sentence


def corrections(sheet: Sheet) -> list[str]:
    """What the proofs or standards of a worksheet say, a line each. Raises Refused for readings that can't be."""
    if sheet.method is Method.FIRE_ASSAY:
        lines = _surcharge_words(sheet, PieceRole.PROOF, ReadingOf.CORNET)
        return lines + _surcharge_words(sheet, PieceRole.SILVER_PROOF, ReadingOf.BEAD)
    standards = sheet.of(PieceRole.STANDARD)
    if not standards or any(piece.missing(sheet.method) for piece in standards):
        return []
    words = [f"{_taken(piece)}, {_ml(piece.readings[ReadingOf.VOLUME])} mL" for piece in standards]
    if sheet.method is Method.SALT_TITRATION:
        strength = _strength_ug(sheet)
        return [*words, f"100 mL of the strong salt solution precipitate {_exact(strength)} mg of silver (mean)."]
    return [*words, f"1 mL of the salt solution precipitates {_exact(_factor(sheet) * 1000)} mg of silver (mean)."]


def results(sheet: Sheet, lot: str, agreed_ppm: Mapping[str, int] | None = None) -> list[Result]:
    """What the worksheet says of a lot, metal by metal; ``agreed_ppm`` are limits agreed where the method has none."""
    agreed_ppm = agreed_ppm or {}
    if not any(piece.lot == lot and not piece.discarded for piece in sheet.pieces):
        fault = "Every piece of it was discarded. Assay again in duplicate."
        return [Result(lot, metal, fault=fault, spent=True) for metal in _metals(sheet, lot)]
    fault = _unfinished(sheet, lot)
    if fault:
        return [Result(lot, metal, fault=fault) for metal in _metals(sheet, lot)]
    try:
        if sheet.method is Method.FIRE_ASSAY:
            return _by_fire(sheet, lot, agreed_ppm)
        return [_by_wet_way(sheet, lot, agreed_ppm)]
    except Refused as refused:
        return [Result(lot, metal, fault=refused.sentence) for metal in _metals(sheet, lot)]


def _metals(sheet: Sheet, lot: str) -> list[str]:
    by_difference = sheet.metal == "Au" and any(
        piece.lot == lot and piece.role is PieceRole.SILVER_SAMPLE for piece in sheet.pieces
    )
    return [sheet.metal, "Ag"] if by_difference else [sheet.metal]


def _unfinished(sheet: Sheet, lot: str) -> str:
    """What is still to be read before the lot has a result; a proof is awaited by every lot."""
    ours = [piece for piece in sheet.pieces if piece.lot in ("", lot) and not piece.discarded]
    waiting = [f"{piece.position} ({missing})" for piece in ours if (missing := piece.missing(sheet.method))]
    return f"Still to read: position {', '.join(waiting)}." if waiting else ""


# Fire assay


def _by_fire(sheet: Sheet, lot: str, agreed_ppm: Mapping[str, int]) -> list[Result]:
    found = []
    gold = sheet.of(PieceRole.SAMPLE, lot)
    beads = sheet.of(PieceRole.SILVER_SAMPLE, lot)
    measured_gold, gold_ppm = measured("gold", 0, 0), 0
    if sheet.metal == "Au":
        if not gold:
            raise Refused("No parted piece of it is left, so it has no gold. Assay again in duplicate.")
        pieces, charges = _cupelled(sheet, gold, ReadingOf.CORNET)
        result = _verdict(sheet, lot, "Au", pieces, agreed_ppm)
        measured_gold = _uncertain(sheet, "Au", charges, PieceRole.PROOF, ReadingOf.CORNET, result)
        found.append(_stated(sheet, result, measured_gold))
        gold_ppm = result.mean_ppm
    if beads or sheet.metal == "Ag":
        pieces, charges = _cupelled(sheet, beads, ReadingOf.BEAD)
        pieces = [_less_gold(piece, gold_ppm) for piece in pieces] if sheet.metal == "Au" else pieces
        result = _verdict(sheet, lot, "Ag", pieces, agreed_ppm)
        bead = _uncertain(sheet, "Ag", charges, PieceRole.SILVER_PROOF, ReadingOf.BEAD, result)
        found.append(_stated(sheet, result, _apart(bead, "bead") - measured_gold))
    return found


def _cupelled(sheet: Sheet, pieces: Sequence[Piece], of: ReadingOf) -> tuple[list[PieceResult], list[Charge]]:
    proofs = _proofs(sheet, of)
    surcharge = mean_surcharge_ug(proofs)
    sign = "−" if surcharge >= 0 else "+"
    done, charges = [], []
    for piece in pieces:
        charge = Charge(piece.portion_ug, piece.readings[of])
        try:
            ppm = fire_assay([charge], proofs).mean_ppm
        except Refused as refused:
            raise Refused(f"Position {piece.position}: {refused.sentence}", field=refused.field) from refused
        corrected = f"({_mg(charge.cornet_ug)} {sign} {_exact(abs(surcharge))})" if proofs else _mg(charge.cornet_ug)
        words = f"{corrected} ÷ {_mg(charge.sample_ug)} × 1000 = {format_per_mille(ppm)} ‰"
        done.append(PieceResult(piece.position, ppm, words))
        charges.append(charge)
    return done, charges


def _less_gold(piece: PieceResult, gold_ppm: int) -> PieceResult:
    ppm = silver_by_difference_ppm(piece.ppm, gold_ppm)
    words = f"{piece.words}; less {format_per_mille(gold_ppm)} ‰ of gold = {format_per_mille(ppm)} ‰"
    return PieceResult(piece.position, ppm, words)


def _proofs(sheet: Sheet, of: ReadingOf) -> list[Proof]:
    role = PieceRole.PROOF if of is ReadingOf.CORNET else PieceRole.SILVER_PROOF
    return [piece.as_proof(of) for piece in sheet.of(role)]


def _surcharge_words(sheet: Sheet, role: PieceRole, of: ReadingOf) -> list[str]:
    pieces = sheet.of(role)
    if any(piece.missing(sheet.method) for piece in pieces):
        return []
    lines = []
    for piece in pieces:
        proof = piece.as_proof(of)
        lines.append(
            f"{_taken(piece)} = {_exact(proof.cornet_ug - proof.surcharge_ug)} mg;"
            f" {of.label} {_mg(proof.cornet_ug)} mg: {_signed(proof.surcharge_ug)} mg"
        )
    if not lines:
        return lines
    mean = mean_surcharge_ug(_proofs(sheet, of))
    way = "taken off" if mean >= 0 else "added to"
    return [*lines, f"Surcharge, mean of {len(lines)}: {_signed(mean)} mg, {way} every {of.label}."]


# Wet ways and the instrument


def _by_wet_way(sheet: Sheet, lot: str, agreed_ppm: Mapping[str, int]) -> Result:
    reckon = {
        Method.SALT_TITRATION: _by_salt,
        Method.TITRATION: _by_potential,
        Method.GRAVIMETRY: _by_chloride,
        Method.ICP: _by_impurities,
    }[sheet.method]
    pieces = []
    for piece in sheet.of(PieceRole.SAMPLE, lot):
        try:
            pieces.append(PieceResult(piece.position, *reckon(sheet, piece)))
        except Refused as refused:
            raise Refused(f"Position {piece.position}: {refused.sentence}", field=refused.field) from refused
    result = _verdict(sheet, lot, sheet.metal, pieces, agreed_ppm)
    variance, words = _repeatability(sheet, sheet.metal, result)
    mean = measured("repeatability", result.mean_ppm, variance / len(pieces))
    left_out = {
        Method.ICP: "the instrument's calibration",
        Method.GRAVIMETRY: "the balance",
    }.get(sheet.method, "burette, balance and standard")
    return _stated(sheet, result, mean, f"{words}; {left_out} not counted")


def _by_salt(sheet: Sheet, piece: Piece) -> tuple[int, str]:
    strength, weak = _strength_ug(sheet), piece.readings[ReadingOf.VOLUME]
    added = piece.readings.get(ReadingOf.SILVER_ADDED, 0)
    ppm = gay_lussac_ppm(strength, piece.portion_ug, weak, added_ug=added)
    used = strong_salt_ul(weak) / 1000
    less = f" − {_mg(added)}" if added else ""
    strong = f"100 + ({_ml(weak)} − 1.5) ÷ 10 = {to_places(used, 4)} mL"
    silver = f"({_exact(strength)} × {to_places(used, 4)} ÷ 100{less})"
    return ppm, f"{strong}; {silver} ÷ {_mg(piece.portion_ug)} × 1000 = {format_per_mille(ppm)} ‰"


def _by_potential(sheet: Sheet, piece: Piece) -> tuple[int, str]:
    factor, volume = _factor(sheet), piece.readings[ReadingOf.VOLUME]
    ppm = titrated_silver_ppm(factor, piece.portion_ug, volume)
    product = f"{_exact(factor * 1000)} × {_ml(volume)}"
    return ppm, f"{product} ÷ {_mg(piece.portion_ug)} × 1000 = {format_per_mille(ppm)} ‰"


def _by_chloride(sheet: Sheet, piece: Piece) -> tuple[int, str]:
    chloride = piece.readings[ReadingOf.CHLORIDE]
    ppm = silver_as_chloride_ppm(piece.portion_ug, chloride)
    words = f"{_mg(chloride)} × {ChlorideFactor.TODAY.words.split()[0]} ÷ {_mg(piece.portion_ug)} × 1000"
    return ppm, f"{words} = {format_per_mille(ppm)} ‰"


def _by_impurities(sheet: Sheet, piece: Piece) -> tuple[int, str]:
    found = by_difference(sheet.metal, piece.impurities, Undetected.AT_LIMIT)
    listed = ", ".join(
        f"{one.element} {'<' if one.undetected else ''}{format_milligrams(one.ppb)}" for one in piece.impurities
    )
    left = to_places(Fraction(found.counted_ppb, PPB_IN_PPM * 1000), 6)
    return found.fineness_ppm, (
        f"{listed} mg/kg, undetected counted at the limit: 1000 − {left} = {format_per_mille(found.fineness_ppm)} ‰,"
        " rounded down"
    )


def _strength_ug(sheet: Sheet) -> Fraction:
    pieces = sheet.of(PieceRole.STANDARD)
    if not pieces:
        raise Refused("The salt solution needs at least one silver standard; take two.", field="standard")
    strengths = [
        salt_strength_ug(piece.portion_ug, piece.readings[ReadingOf.VOLUME], purity_ppm=piece.pure.purity_ppm)
        for piece in pieces
    ]
    return sum(strengths, Fraction(0)) / len(strengths)


def _factor(sheet: Sheet) -> Fraction:
    return salt_factor(
        [
            SaltStandard(piece.portion_ug, piece.readings[ReadingOf.VOLUME], piece.pure.purity_ppm)
            for piece in sheet.of(PieceRole.STANDARD)
        ]
    )


# Verdict and uncertainty


def _verdict(
    sheet: Sheet, lot: str, metal: str, pieces: Sequence[PieceResult], agreed_ppm: Mapping[str, int]
) -> Result:
    """Mean and agreement of a lot's pieces, without an uncertainty yet."""
    values = [piece.ppm for piece in pieces]
    if not values:
        raise Refused("No piece of it is left. Assay again in duplicate.")
    mean = mean_ppm(values)
    limit_ppm, words = agreed_ppm.get(metal), "limit agreed in the house"
    if limit_ppm is None:
        try:
            known_limit = limit_of(sheet.method, metal, mean)
        except Refused as refused:
            words = refused.sentence
        else:
            limit_ppm, words = known_limit.limit_ppm, known_limit.source
    agreed = agreement(values, limit_ppm) if limit_ppm is not None and len(values) > 1 else None
    return Result(lot, metal, tuple(pieces), mean, agreed, words)


def _repeatability(sheet: Sheet, metal: str, result: Result) -> tuple[Fraction, str]:
    """The variance of one piece, ppm squared, and whose experience it is."""
    own = sheet.own.get(metal)
    if own and own.pairs >= FEWEST_PAIRS:
        return own.variance, f"repeatability of {own.pairs} earlier pairs of the house, s = {own.deviation(1)} ppm"
    try:
        limit = limit_of(sheet.method, metal, result.mean_ppm)
    except Refused:
        if result.single:
            return Fraction(0), "no repeatability known"
        return variance_of([piece.ppm for piece in result.pieces]), "repeatability of these results alone"
    return Fraction(limit.limit_ppm) ** 2 / R_OVER_S_SQUARED, f"repeatability from the method's limit ({limit.source})"


def _uncertain(
    sheet: Sheet, metal: str, charges: Sequence[Charge], role: PieceRole, of: ReadingOf, result: Result
) -> Measured:
    """The mean of cupelled pieces with what balance, proof metal and fire add to it."""
    variance, _ = _repeatability(sheet, metal, result)
    purities = [known(Fraction(piece.pure.uncertainty_ppm, 2)) for piece in sheet.of(role)]
    laboratory = Laboratory(sheet.weighing_ug2, max(purities, default=Fraction(0)), variance)
    return fire_assay_fineness(charges, _proofs(sheet, of), laboratory)


def _stated(sheet: Sheet, result: Result, mean: Measured, words: str = "") -> Result:
    """The result with its expanded uncertainty, and what that counts."""
    if not words:
        counted = ("weighings", "proof metal", _repeatability(sheet, result.metal, result)[1])
        words = "; ".join(filter(None, (counted[0] + f" ({sheet.weighing_words})", *counted[1:])))
    return replace(result, expanded_ppb=int(mean.expanded(3).scaleb(3)), uncertainty_words=words)


def _apart(value: Measured, name: str) -> Measured:
    """The value with its sources under names of their own: the bead's first piece is not the cornet's first piece."""
    return Measured(value.value, {f"{name}: {source}": each for source, each in value.sources.items()})


def words_of(result: Result) -> str:
    """A result in words, for the determination and its papers."""
    pieces = ", ".join(format_per_mille(piece.ppm) for piece in result.pieces)
    said = (
        f"{result.metal} {format_per_mille(result.mean_ppm)} ‰, mean of {pieces}. {result.verdict}"
        f" Limit for two: {result.limit_words}."
    )
    if not result.expanded_ppb:
        return said
    return f"{said} Expanded uncertainty (k = 2) {expanded_words(result.expanded_ppb)} ‰: {result.uncertainty_words}."


def expanded_words(ppb: int) -> str:
    """An expanded uncertainty in per mille, two significant decimals at least, rounded up: ``0.33``."""
    hundredths = -(-ppb // 10_000)
    return f"{hundredths // 100}.{hundredths % 100:02d}"


# Words


def _taken(piece: Piece) -> str:
    purity = format_per_mille(piece.pure.purity_ppm)
    return f"Position {piece.position}, {piece.pure.code}: {_mg(piece.portion_ug)} mg × {purity} ‰"


def _mg(ug: int) -> str:
    return format_milligrams(ug)


def _ml(ul: int) -> str:
    return format_milligrams(ul)


def _exact(ug: Fraction | int) -> str:
    """Milligrams of exact micrograms, four decimals: a tenth of a microgram is less than a ppm of any portion."""
    return str(to_places(Fraction(ug) / 1000, 4))


def _signed(ug: Fraction) -> str:
    return ("+" if ug >= 0 else "−") + _exact(abs(ug))
