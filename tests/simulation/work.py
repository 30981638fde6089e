"""The random steps of a plant: each makes a record, posts it, and books it in the plant's own books."""

from tests.simulation.plant import METALS, Done, Lot, fine, grams, largest_remainder

COUNTRIES = ("CA", "PE", "GH")


def cut(random, amount, pieces, *, main=None):
    """An amount cut into so many pieces at random; ``main`` names the piece that gets nearly all."""
    if main is not None:
        shares = [random.randint(0, amount // random.choice((20, 100, 1000))) for _ in range(pieces)]
        shares[main] = 0
        shares[main] = amount - sum(shares)
        return shares if shares[main] >= 0 else [amount if piece == main else 0 for piece in range(pieces)]
    marks = sorted(random.randint(0, amount) for _ in range(pieces - 1))
    return [b - a for a, b in zip([0, *marks], [*marks, amount], strict=True)]


def with_gross(parts):
    """Five metals and the rest as gross and five metals."""
    return [sum(parts), *parts[:5]]


def parts_of(book):
    """Gross and five metals as five metals and the rest."""
    return [*book[1:], book[0] - sum(book[1:])]


def total_of(books):
    return [sum(column) for column in zip(*books, strict=True)] if books else [0] * 6


def served(random, total, outs, losses, *, even=False):
    """Gross-and-metals for each out and loss, balanced with the total; every out has mass."""
    count = outs + losses
    by_part = [cut(random, part, count, main=None if even else 0) for part in parts_of(total)]
    books = [with_gross([column[piece] for column in by_part]) for piece in range(count)]
    for out in range(outs):
        if books[out][0] == 0:
            return None
    return books


def receive(plant, random):
    parcels = random.randint(1, 3)
    valued = random.random() < 0.7
    alike = random.random() < 0.5
    heavy = random.random() < 0.08
    outputs, lots = [], []
    receipt = f"OP-{plant.counts['OP'] + 1:04d}"
    twin = None
    for _ in range(parcels):
        gross = random.choice((random.randint(1, 40), random.randint(100, 5000), random.randint(10**5, 10**7)))
        if heavy:
            gross = random.randint(10**9, 4 * 10**9)
        metals = with_gross(cut(random, gross, 6))[1:] if valued else [0] * 5
        if twin and random.random() < 0.5:
            gross, metals = twin
        twin = gross, metals
        number = plant._number("L")
        country = COUNTRIES[0] if alike else random.choice(COUNTRIES)
        output = {
            "lot": number, "form": "dore", "gross_g": grams(gross),
            "origin": {"category": "mined", "country": country},
        }  # fmt: skip
        if valued:
            output["fine_g"] = fine(metals)
        outputs.append(output)
        lots.append((number, [gross, *metals]))
    number = plant.record("receive", party="P-01", outputs=outputs)
    if number is None:
        return
    done = Done(number, "receive")
    for name, book in lots:
        node = plant.graph.node((), [(name, book)])
        lot = Lot(name, "dore", book, valued, node, 0.0, receipt)
        plant.lots[name] = lot
        plant.lot_graph.add_node(name)
        done.made.append(lot)
        plant.received[name] = book
    plant.done[number] = done


def step(plant, random, kind, lots, *, whole=None, outs, losses=(), flux=0, gain=None, even=False, recovery=None):
    """One dry step: lots in, ``outs`` forms out, ``losses`` causes declared; a gain or a recovery in parts."""
    takes = [(lot, *plant.take(random, lot, whole=whole)) for lot in lots]
    entries, ins = [entry for _, entry, _ in takes], [(lot, book) for lot, _, book in takes]
    total = total_of([book for _, book in ins])
    total[0] += flux
    for extra in (gain, recovery[1] if recovery else None):
        total = [a + b for a, b in zip(total, extra or [0] * 6, strict=True)]
    books = served(random, total, len(outs), len(losses), even=even)
    if books is None:
        return None
    numbers = [plant._number("L") for _ in outs]
    posted = [
        {"cause": cause, "gross_g": grams(book[0]), "fine_g": fine(book[1:])}
        for cause, book in zip(losses, books[len(outs) :], strict=True)
    ]
    for cause, extra in (("measurement difference", gain), recovery or ("", None)):
        if extra:
            posted.append({"cause": cause, "gross_g": grams(-extra[0]), "fine_g": fine([-mg for mg in extra[1:]])})
    random.shuffle(posted)
    valued = all(lot.valued for lot, _ in ins)
    outputs = [
        {"lot": number, "form": form, "gross_g": grams(book[0])} | ({"fine_g": fine(book[1:])} if valued else {})
        for number, form, book in zip(numbers, outs, books, strict=False)
    ]
    for output in outputs:
        if output["form"] == "bar":
            output["serial"] = plant._number("S")
    body = {"inputs": entries, "outputs": outputs, "losses": posted}
    if flux:
        body["additions"] = [{"what": "flux", "gross_g": grams(flux)}]
    number = plant.record(kind, **body)
    if number is None:
        return None
    done = Done(number, kind)
    gains, recovered = _gains(plant, done, gain, recovery)
    node, reach = plant._pool(ins, gains, recovered)
    if flux and not valued:
        # Flux grows the gross of an unvalued lot's origins, and with it what was rounded before.
        reach = reach * total[0] / (total[0] - flux) + 1
    receipt = plant._receipt_of([lot for lot, _ in ins])
    made = [
        Lot(name, form, book, valued, node, reach, receipt, parent=lots[0].number if form == "sample" else None)
        for name, form, book in zip(numbers, outs, books, strict=False)
    ]
    plant._apply(done, ins, made, list(zip(losses, books[len(outs) :], strict=True)), node, reach)
    return done


def _gains(plant, done, gain, recovery):
    """What gains and a recovery bring: sources called difference, and compositions of what was lost since."""
    gains, recovered = [], []
    if gain and any(gain[1:]):
        gains.append(("difference", [0, *gain[1:]]))
    if recovery and any(recovery[1][1:]):
        cause, back = recovery
        lost = plant.lost_since(cause)
        available = total_of([loss.amounts for loss in lost]) if lost else [0] * 6
        found = [0] + [min(mg, known) for mg, known in zip(back[1:], available[1:], strict=True)]
        excess = [0] + [mg - known for mg, known in zip(back[1:], found[1:], strict=True)]
        if any(found):
            node = plant.graph.node([(loss.node, loss.amounts) for loss in lost])
            recovered.append((node, found, sum(loss.reach for loss in lost) + 1))
        if any(excess):
            gains.append(("difference", excess))
        done.recovered = cause
    return gains, recovered


def melt(plant, random):
    lots = _some(plant, random, 4)
    if lots:
        outs = ["melt"] + ["slag"] * (random.random() < 0.6) + ["sweepings"] * (random.random() < 0.2)
        losses = [cause for cause in ("slag", "fume", "measurement difference") if random.random() < 0.4]
        gain = None
        if random.random() < 0.3 and "measurement difference" not in losses:
            gain = with_gross([random.randint(0, 300), random.randint(0, 30), 0, 0, 0, random.randint(0, 99)])
        step(
            plant, random, "melt", lots, outs=outs, losses=losses, flux=random.choice((0, 0, 1, 777)), gain=gain,
            even=random.random() < 0.3,
        )  # fmt: skip


def melt_unvalued(plant, random):
    lots = plant.stock(valued=False)
    if lots:
        first = random.choice(lots)
        alike = [lot for lot in lots if lot.receipt == first.receipt and lot.form == first.form]
        chosen = random.sample(alike, min(len(alike), random.randint(1, 3)))
        step(
            plant, random, "melt", chosen, outs=["melt", "slag"][: random.randint(1, 2)],
            losses=["fume"] * (random.random() < 0.5), flux=random.choice((0, 5, 1234)),
        )  # fmt: skip


def recover(plant, random):
    lots = _some(plant, random, 1)
    cause = random.choice(("slag", "fume", "sweepings"))
    lost = plant.lost_since(cause)
    if lots and (lost or random.random() < 0.2):
        available = total_of([loss.amounts for loss in lost]) if lost else [0] * 6
        most = random.choice((1, 1, 2))
        back = with_gross([random.randint(0, mg * most) for mg in available[1:]] + [random.randint(0, 50)])
        if back[0]:
            step(plant, random, "recycle", lots, outs=["melt"], recovery=(cause, back))


def cast(plant, random):
    lots = _some(plant, random, 2)
    if lots:
        bars = random.choice((2, 5, 12))
        losses = ["sweepings"] * (random.random() < 0.5)
        step(plant, random, "cast", lots, whole=True, outs=["bar"] * bars, losses=losses, even=True)


def divide(plant, random):
    lots = _some(plant, random, 1)
    if lots:
        step(plant, random, "divide", lots, outs=["granules"] * random.randint(2, 3), even=True)


def sample(plant, random):
    valued = random.random() < 0.4
    lots = plant.stock(valued=valued)
    if lots:
        lot = random.choice(lots)
        consume = (lot.form == "sample" and random.random() < 0.6) or random.random() < 0.15
        step(
            plant, random, "sample", [lot], whole=None if consume else False,
            outs=[] if consume else ["sample"], losses=["sample consumed"] if consume else [],
        )  # fmt: skip


def dispatch(plant, random):
    lots = _some(plant, random, 3)
    if not lots:
        return
    ins = [(lot, *plant.take(random, lot)) for lot in lots]
    number = plant.record("dispatch", party="P-01", inputs=[entry for _, entry, _ in ins])
    if number:
        plant._apply(Done(number, "dispatch"), [(lot, book) for lot, _, book in ins], [], [], 0, 0.0)


def value(plant, random):
    """The first valuation of a lot, with its samples."""
    lots = [lot for lot in plant.stock(valued=False) if lot.form != "sample" or random.random() < 0.1]
    if not lots:
        return
    lot = random.choice(lots)
    metals = with_gross(cut(random, lot.book[0], 6))[1:]
    number = plant.record("value", lot=lot.number, fine_g={m: grams(mg) for m, mg in zip(METALS, metals, strict=True)})
    if number is None:
        return
    done = Done(number, "value")
    samples = plant.samples_of(lot)
    consumed = plant.consumed_of(lot)
    node, gross = plant.graph.valued_from(lot.node), lot.book[0]
    reach = lot.reach / gross * sum(metals) + 2

    def withdrawn(mass):
        return largest_remainder(mass, [*metals, gross - sum(metals)])[:5]

    for one in [lot, *(one for one in samples if one.book[0] and not one.valued)]:
        done.taken.append((one, list(one.book), one.node, one.reach, False))
        done.made.append(one)
        one.book = [one.book[0], *(metals if one is lot else withdrawn(one.book[0]))]
        one.valued, one.node, one.reach = True, node, reach
    if consumed:
        lost = [0, *withdrawn(consumed)]
        plant.losses.append(plant.loss(done, "sample consumed", lost, node, reach))
    plant.done[number] = done


def revalue(plant, random):
    """A second assay of a valued lot: what was received is corrected, or a difference is posted."""
    lots = [lot for lot in plant.stock() if any(lot.book[1:])]
    if not lots:
        return
    lot = random.choice(lots)
    metals = [max(mg + random.randint(-mg // 20 - 1, mg // 20 + 1), 1) if mg else 0 for mg in lot.book[1:]]
    if sum(metals) <= lot.book[0]:
        assay(plant, lot, metals)


def assay(plant, lot, metals):
    """Posts a second assay and books what it must have done."""
    number = plant.record("value", lot=lot.number, fine_g=fine(metals))
    if number is None:
        return
    done = Done(number, "value")
    content = plant.drawn_from(lot)
    continuing = [lot, content] if content else [lot]
    done.taken = [(one, list(one.book), one.node, one.reach, True) for one in continuing]
    done.made = continuing
    if content is None and lot.receipt and lot.number not in plant.drawn:
        lot.book = [lot.book[0], *metals]
        lot.reach += 1 + max(lot.reach, 1) * 0.06
    else:
        had = [0] * 5 if content is None else content.book[1:]
        left = [a + b - c for a, b, c in zip(had, lot.book[1:], metals, strict=True)]
        gain = [0, *(max(-mg, 0) for mg in left)]
        node = plant.graph.node(
            [(one.node, one.book) for one in continuing], [("difference", gain)] if any(gain) else []
        )
        reach = sum(one.reach for one in continuing) + 1
        lost = [max(mg, 0) for mg in left]
        if content:
            lost = [0] * 5
            stays = [max(mg, 0) for mg in left]
            if sum(stays) > content.book[0]:
                back = [max(a - b, 0) for a, b in zip(lot.book[1:], metals, strict=True)]
                lost = largest_remainder(sum(stays) - content.book[0], back)
            content.book = [content.book[0], *(a - b for a, b in zip(stays, lost, strict=True))]
        if any(lost):
            plant.losses.append(plant.loss(done, "measurement difference", [0, *lost], node, reach))
        lot.book = [lot.book[0], *metals]
        for one in continuing:
            one.node, one.reach = node, reach
    plant.done[number] = done


def difference(plant, random):
    lots = plant.stock() + plant.stock(valued=False)
    if not lots:
        return
    lot = random.choice(lots)
    parts = [max(part + random.randint(-9, 9), 0) if part else 0 for part in parts_of(lot.book)]
    now = with_gross(parts)
    if now[0] == 0 or now == lot.book:
        return
    gap = [a - b for a, b in zip(lot.book, now, strict=True)]
    output = {"lot": lot.number, "form": lot.form, "gross_g": grams(now[0])}
    if lot.valued:
        output["fine_g"] = fine(now[1:])
    loss = {"cause": "measurement difference", "gross_g": grams(gap[0]), "fine_g": fine(gap[1:])}
    number = plant.record("difference", inputs=[{"lot": lot.number}], outputs=[output], losses=[loss], reason="count")
    if number is None:
        return
    done = Done(number, "difference", taken=[(lot, list(lot.book), lot.node, lot.reach, lot.valued)], made=[lot])
    gain = [0, *(max(-mg, 0) for mg in gap[1:])]
    node = plant.graph.node([(lot.node, lot.book)], [("difference", gain)] if any(gain) else [])
    lost = [0, *(max(mg, 0) for mg in gap[1:])]
    if any(lost):
        plant.losses.append(plant.loss(done, "measurement difference", lost, node, lot.reach + 1))
    lot.book, lot.node, lot.reach = now, node, lot.reach + 1
    lot.uses.append(number)
    plant.done[number] = done


def reverse(plant, random):
    undone = random.choice([*plant.done] or [None])
    if undone and plant.done[undone].kind != "reverse":
        number = plant.record("reverse", reverses=undone, reason="entered twice")
        if number:
            plant.undo(plant.done.pop(undone), number)


def _some(plant, random, most):
    lots = plant.stock()
    return random.sample(lots, min(len(lots), random.randint(1, most)))
