"""The hands of the demo: each method is what one person does, through the real actions, at the demo's own time."""

from contextlib import suppress
from datetime import datetime, timedelta
from uuid import uuid4
from zoneinfo import ZoneInfo

from custody.actions import assay, move, receive, samples, work
from custody.actions.clearance import clear_lots
from custody.actions.scales import Load, check_scale
from custody.actions.weigh import Weighed
from custody.calc.fineness import fine_mg
from custody.errors import Refusal
from custody.management.demo.cast import REFINERY, House
from custody.models import Lot, ReferenceWeight, Scale, ScaleCheck, User
from custody.queries.scales import in_use
from custody.terms import (
    METALS,
    Addition,
    Basis,
    Category,
    Cause,
    Clearance,
    Form,
    NotWeighed,
    SampleCut,
    SamplePurpose,
)

G = 1000  # milligrams in a gram

#: What each scale is checked with in the morning.
MORNING = {"C-1": ("W-100", "W-2K"), "F-1": ("W-5K",), "M-1": ("W-100", "W-2E"), "B-1": ("W-1",)}


def check_scales(now: datetime) -> None:
    """This morning's checks, so that whoever opens the demo can weigh at once; a scale that failed stays barred."""
    for scale in in_use().filter(code__in=MORNING, passed__isnull=True):
        with suppress(Refusal):  # a visitor may have closed the login, or put the weights out of use
            _check(scale, now)


def _check(scale: Scale, at: datetime) -> None:
    on_pan = ReferenceWeight.objects.in_bulk(MORNING[scale.code], field_name="code").values()
    check_scale(
        scale=scale,
        loads=[Load((weight,), weight.nominal_mg * 1000) for weight in on_pan],
        at=at,
        by=User.objects.get(username="fern"),
    )


class Clock:
    """Local working days counted back from today; every step takes some minutes of it."""

    def __init__(self, now: datetime, days_back: int) -> None:
        self._first = now.astimezone(ZoneInfo(REFINERY["time_zone"])) - timedelta(days=days_back)
        self._at = self._first

    def morning(self, day: int) -> None:
        """Half past seven on the given day of the story."""
        self._at = (self._first + timedelta(days=day)).replace(hour=7, minute=30, second=0, microsecond=0)

    def tick(self, minutes: int = 9) -> datetime:
        """The next moment at which something is recorded."""
        self._at += timedelta(minutes=minutes)
        return self._at


class Desk:
    """Everybody at work."""

    def __init__(self, house: House, clock: Clock) -> None:
        self.house = house
        self.clock = clock

    def scale_for(self, gross_mg: int) -> str:
        """The scale that weighs so much, checked this morning."""
        fits = (("C-1", 6_200_000, 10), ("M-1", 3_200_000, 1), ("F-1", 20_000_000, 2_000))
        code = next((code for code, most, step in fits if gross_mg <= most and gross_mg % step == 0), "F-1")
        scale = self.house.scales[code]
        if not ScaleCheck.objects.filter(scale=scale, day=self.clock.tick(0).date()).exists():
            self.check(scale)
        return code

    def check(self, scale: Scale) -> None:
        """This day's check of a scale."""
        _check(scale, self.clock.tick(1))

    def take_in(self, party: str, basis: Basis, category: Category, *parcels: tuple, delivered_by: str, **more):
        """The counter: parcels of (form, gross g text, tare mg, country, mine, declared ppm, words)."""
        entries = [
            receive.ParcelEntry(
                form=form,
                scale=self.scale_for(net + tare),
                gross_mg=net + tare,
                tare_mg=tare,
                category=category,
                country=country,
                mine=mine,
                declared_gross_mg=net,
                declared_au_ppm=ppm or None,
                description=words,
                seal=f"S{net % 9973:04d}",
                pieces=pieces,
            )
            for form, net, tare, country, mine, ppm, pieces, words in parcels
        ]
        return receive.receive(
            party=self.house.parties[party],
            parcels=entries,
            basis=basis,
            delivered_by=delivered_by,
            at=self.clock.tick(),
            place=self.house.places["COUNTER"],
            by=self.house.fern,
            request_key=uuid4(),
            **more,
        )

    def pass_on(self, to: str, place: str, *lots: str, weighed: bool = True) -> None:
        """Each lot's custodian hands it over at its book weight on the scale."""
        for number in lots:
            lot = Lot.objects.get(number=number)
            on = Weighed(self.scale_for(lot.gross_mg), lot.gross_mg) if weighed else None
            move.hand_over(
                lots=[move.Passing(number, on, None if weighed else NotWeighed.SEALED)],
                to_person=self.house.people[to],
                to_place=self.house.places[place],
                at=self.clock.tick(2),
                by=lot.custodian,
            )

    def clear(self, clearance: Clearance, reason: str, *lots: str) -> None:
        """Compliance holds or releases."""
        for number in lots:
            clear_lots(lots=[number], clearance=clearance, reason=reason, at=self.clock.tick(2), by=self.house.carys)

    def melt(self, lots: list[str], flux: int, slag: int, fume: int) -> tuple[str, str]:
        """The sampler melts parcels of one receipt together; gives the melt's and the slag's numbers."""
        weights = dict(Lot.objects.filter(number__in=lots).values_list("number", "gross_mg"))
        after = sum(weights.values()) + flux - slag - fume
        (posted,) = samples.melt_on_receipt(
            weighed={lot: Weighed(self.scale_for(mg), mg) for lot, mg in weights.items()},
            melt=work.Make(Form.MELT, after, weighed=Weighed(self.scale_for(after), after)),
            others=[work.Make(Form.SLAG, slag, weighed=Weighed(self.scale_for(slag), slag))],
            additions=(work.Add(Addition.FLUX, flux),),
            losses=(work.Lose(Cause.FUME, fume),),
            at=self.clock.tick(45),
            by=self.house.silas,
            place=self.house.places["FURNACE-1"],
        )
        return posted.lots

    def sample(self, lot: str, grams: int = 6, *, keep: bool = False) -> str:
        """Pin sample of a melt, carried to the laboratory; with ``keep`` two more, sealed, for customer and umpire."""
        purposes = [SamplePurpose.LABORATORY] + [SamplePurpose.CUSTOMER, SamplePurpose.UMPIRE] * keep
        posted = samples.draw_samples(
            lot=lot,
            samples=[self._pin(lot, grams * G, purpose) for purpose in purposes],
            at=self.clock.tick(),
            by=Lot.objects.get(number=lot).custodian,
        )
        self.pass_on("anouk", "LAB", posted.lots[0])
        return posted.lots[0]

    def _pin(self, lot: str, mg: int, purpose: SamplePurpose) -> work.Make:
        seal = "" if purpose is SamplePurpose.LABORATORY else f"{purpose.value[0].upper()}{lot[-4:]}"
        drawn = work.Drawn(SampleCut.PIN, purpose, seal=seal, position="middle of the melt")
        return work.Make(Form.SAMPLE, mg, weighed=Weighed(self.scale_for(mg), mg), drawn=drawn)

    def assay(self, lot: str, method: str, sample: str = "", **ppm: int) -> None:
        """The assayer consumes a part of the sample and determines; the manager accepts."""
        if sample:
            samples.consume_sample(sample=sample, consumed_mg=1 * G, at=self.clock.tick(200), by=self.house.anouk)
        determination = assay.determine(
            lot=Lot.objects.get(number=lot),
            sample=Lot.objects.filter(number=sample).first(),
            ppm=ppm,
            method=method,
            at=self.clock.tick(20),
            by=self.house.anouk,
        )
        assay.accept(determination=determination, at=self.clock.tick(15), by=self.house.maren)

    def book(self, *lots: str) -> dict[str, int]:
        """Gross and metals of lots in the book, summed."""
        rows = [lot.columns_mg for lot in Lot.objects.filter(number__in=lots)]
        return dict(zip(("gross", *METALS), map(sum, zip(*rows, strict=True)), strict=True))


def bars(start: int, *sizes: tuple[int, int], ppm: int, silver_ppm: int) -> list[work.Make]:
    """So many bars of a nominal mass in grams, numbered on from ``start``."""
    made = []
    for count, grams in sizes:
        for _ in range(count):
            fine = {"Au": fine_mg(grams * G, ppm), "Ag": fine_mg(grams * G, silver_ppm)}
            made.append(work.Make(Form.BAR, grams * G, fine, serial=f"{start + len(made):06d}"))
    return made
