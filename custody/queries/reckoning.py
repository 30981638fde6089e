"""What chosen lots come to as a batch: figures, broken limits, what may not mix, the route, what cures it."""

from collections.abc import Sequence
from dataclasses import dataclass

from custody.calc.blend import Blend, BlendLimits, Feed, Proposal, blend, broken, cure, propose
from custody.calc.fineness import format_percent
from custody.calc.mass import format_grams, format_kilograms
from custody.calc.route import Advice, advise
from custody.models import Lot, PlantSettings, User
from custody.queries import planner
from custody.terms import METALS, Clearance

#: What a batch is refined to unless another fineness is wanted.
WANTED_PPM = 999_500


@dataclass(frozen=True, slots=True)
class Chosen:
    """One lot with what stands against it (``against``) and what is to be known (``notes``), in sentences."""

    lot: Lot
    against: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Reckoning:
    """The chosen lots together. ``advice`` is None where nothing could be reckoned."""

    lots: tuple[Chosen, ...]
    blend: Blend
    broken: tuple[str, ...] = ()
    cures: tuple[str, ...] = ()
    advice: Advice | None = None

    @property
    def orderable(self) -> bool:
        """Whether a route may be ordered for these lots."""
        return bool(self.lots) and not any(one.against for one in self.lots)

    @property
    def metals(self) -> list[tuple[str, int, int]]:
        """Each metal with its milligrams and its fineness in ppm."""
        return [(metal, self.blend.metals_mg[i], self.blend.ppm(metal)) for i, metal in enumerate(METALS)]


def reckon(
    lots: Sequence[Lot], spare: Sequence[Lot], *, wanted_ppm: int, settings: PlantSettings, viewer: User
) -> Reckoning:
    """Reckons lots as one batch; a lot whose metals are not known counts for nothing and is said to.

    Raises ``Refused`` for settings that contradict each other.
    """
    faults = planner.mixing_faults(lots)
    chosen = tuple(_chosen(lot, faults.get(lot.number), viewer) for lot in lots)
    known = [lot for lot in lots if lot.valued and lot.gross_mg]
    together = blend(planner.feed_of(lot) for lot in known)
    if not known:
        return Reckoning(chosen, together)
    limits = planner.blend_limits_of(settings)
    fine = dict(zip(METALS, together.metals_mg, strict=True))
    advice = advise(together.gross_mg, fine, wanted_ppm=wanted_ppm, limits=planner.limits_of(settings))
    cures = tuple(_cures(known, spare, settings, advice))
    return Reckoning(chosen, together, broken(together, limits), cures, advice)


def proposal(lots: Sequence[Lot], settings: PlantSettings) -> tuple[list[Lot], Proposal, dict[str, str]]:
    """A heavy batch of these lots within the plant's limits, with its bound, and why others were left out (I7)."""
    faults = planner.mixing_faults(lots)
    allowed = {lot.number: lot for lot in lots if lot.number not in faults and not _alone(lot)}
    found = propose([planner.feed_of(lot) for lot in allowed.values()], planner.blend_limits_of(settings))
    return [allowed[number] for number in found.blend.lots], found, faults


def _chosen(lot: Lot, fault: str | None, viewer: User) -> Chosen:
    against = [*_alone(lot), *([fault] if fault and not _alone(lot) else [])]
    mine = lot.custodian_id == viewer.pk or lot.custodian_id is None
    notes = () if mine else (f"Held by {lot.custodian} at {lot.place}: a handover comes first.",)
    return Chosen(lot, tuple(against), notes)


def _alone(lot: Lot) -> list[str]:
    """Why a lot goes into no batch, whatever the others are."""
    if not lot.gross_mg:
        return [f"Lot {lot.number} is empty: nothing of it is left in the book."]
    found = []
    if lot.form in planner.NO_FEED:
        found.append(f"Lot {lot.number} is {lot.get_form_display()}: that is no feed of a batch.")
    if not lot.valued:
        found.append(f"Lot {lot.number} is not valued: its metals are not known and not reckoned here.")
    if lot.clearance != Clearance.RELEASED:
        found.append(f"Lot {lot.number} is not released by compliance ({Clearance(lot.clearance).label}).")
    return found


def _cures(known: Sequence[Lot], spare: Sequence[Lot], settings: PlantSettings, advice: Advice) -> list[str]:
    said = []
    if advice.silver_to_add_mg:
        said.append(f"Inquartation asks for {format_grams(advice.silver_to_add_mg)} g of silver, as a lot of its own.")
    limits = planner.blend_limits_of(settings)
    feeds = [planner.feed_of(lot) for lot in known]
    if not broken(blend(feeds), limits):
        return said
    return [*said, *_additions(known, feeds, spare, limits), *_left_out(feeds, limits)]


def _additions(known: Sequence[Lot], feeds: list[Feed], spare: Sequence[Lot], limits: BlendLimits) -> list[str]:
    """For each limit of a metal that is broken, the listed lots that bring it to the limit."""
    of_metals = [(metal, ppm, False) for metal, ppm in limits.most_ppm]
    of_metals += [(metal, ppm, True) for metal, ppm in limits.least_ppm]
    asked = [one for one in of_metals if broken(blend(feeds), _alone_of(*one))]
    named = {lot.pk for lot in known}
    others = [lot for lot in spare if lot.pk not in named]
    if not asked or not others:
        return []
    faults = planner.mixing_faults([*known, *others])
    if any(lot.number in faults for lot in known):
        return ["Lots of other deliveries may not mix with these, so none of them is added."]
    free = [planner.feed_of(lot) for lot in others if lot.number not in faults]
    return [_addition(feeds, free, limits, *one) for one in asked]


def _addition(feeds: list[Feed], free: list[Feed], limits: BlendLimits, metal: str, ppm: int, at_least: bool) -> str:
    share = f"{format_percent(ppm)} % or {'more' if at_least else 'less'}"
    found = cure(feeds, free, metal, ppm, at_least=at_least)
    if found is None:
        return f"All listed lots that are {'richer' if at_least else 'poorer'} in {metal} do not bring it to {share}."
    said = f"{metal} comes to {share} with {', '.join(feed.lot for feed in found)}: no fewer lots do."
    still = broken(blend([*feeds, *found]), limits)
    return f"{said} But then: {' '.join(still)}" if still else said


def _left_out(feeds: list[Feed], limits: BlendLimits) -> list[str]:
    """Which of the chosen lots to leave out, so that the others keep every limit."""
    kept = propose(feeds, limits)
    if not kept.blend.lots:
        return ["No choice of these lots alone keeps the limits."]
    gone = [feed.lot for feed in feeds if feed.lot not in kept.blend.lots]
    proven = "no heavier choice of these lots does" if kept.proven else "a heavier choice may exist"
    return [
        f"Without {', '.join(gone)} the others keep every limit, with {format_kilograms(kept.blend.gross_mg)} kg:"
        f" {proven}."
    ]


def _alone_of(metal: str, ppm: int, at_least: bool) -> BlendLimits:
    one = ((metal, ppm),)
    return BlendLimits(least_ppm=one) if at_least else BlendLimits(most_ppm=one)
