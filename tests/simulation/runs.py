"""Random steps of a run: charge, draw, the assay of what was drawn, finish."""

from tests.simulation.plant import Done, Lot, fine, grams
from tests.simulation.work import assay, cut, parts_of, step, total_of, with_gross

VESSEL = "TANK-1"


def charge(plant, random):
    lots = [lot for lot in plant.stock() if lot.form != "bar"]
    chosen = random.sample(lots, min(len(lots), random.randint(1, 3)))
    if not chosen:
        return
    ins = [(lot, *plant.take(random, lot)) for lot in chosen]
    content = plant.content()
    if content:
        ins.insert(random.randint(0, len(ins)), (content, {"lot": content.number}, list(content.book)))
    acid = random.randint(1, 10**6)
    book = total_of([taken for _, _, taken in ins])
    book[0] += acid
    name = plant._number("L")
    number = plant.record(
        "charge",
        inputs=[entry for _, entry, _ in ins],
        additions=[{"what": "acid", "gross_g": grams(acid)}],
        outputs=[
            {"lot": name, "form": "in process", "vessel": VESSEL, "gross_g": grams(book[0]), "fine_g": fine(book[1:])}
        ],
    )
    if number is None:
        return
    booked = [(lot, taken) for lot, _, taken in ins]
    node, reach = plant._pool(booked)
    made = Lot(name, "in process", book, True, node, reach, plant._receipt_of([lot for lot, _ in booked]))
    plant._apply(Done(number, "charge"), booked, [made], [], node, reach)


def draw(plant, random):
    """Part of the content leaves; sometimes richer than the book says, sometimes with a loss."""
    content = plant.content()
    if content is None:
        return
    parts = [random.choice((0, part, random.randint(0, part))) for part in parts_of(content.book)]
    taken = with_gross(parts)
    left = [a - b for a, b in zip(content.book, taken, strict=True)]
    if taken[0] == 0 or (left[0] == 0 and any(left[1:])):
        return
    gain = with_gross([random.randint(0, 50) if random.random() < 0.2 else 0 for _ in range(2)] + [0, 0, 0, 0])
    total = [a + b for a, b in zip(taken, gain, strict=True)]
    lost = [0] * 6
    if random.random() < 0.3:
        lost = with_gross([cut(random, part, 2, main=0)[1] for part in parts_of(total)])
    out = [a - b for a, b in zip(total, lost, strict=True)]
    if out[0] == 0:
        return
    name = plant._number("L")
    losses = []
    if any(gain):
        losses.append(
            {"cause": "measurement difference", "gross_g": grams(-gain[0]), "fine_g": fine([-g for g in gain[1:]])}
        )
    if any(lost):
        losses.append({"cause": "spill", "gross_g": grams(lost[0]), "fine_g": fine(lost[1:])})
    form = random.choice(("gold sand", "silver chloride", "solution"))
    number = plant.record(
        "draw",
        inputs=[{"lot": content.number, "gross_g": grams(taken[0]), "fine_g": fine(taken[1:])}],
        outputs=[{"lot": name, "form": form, "gross_g": grams(out[0]), "fine_g": fine(out[1:])}],
        losses=losses,
    )
    if number is None:
        return
    node, reach = plant._pool([(content, taken)], [("difference", [0, *gain[1:]])] if any(gain[1:]) else [])
    reach += content.reach + 1
    made = Lot(name, form, out, True, node, reach, content.receipt)
    plant.drawn[name] = number
    plant._apply(Done(number, "draw"), [(content, taken)], [made], [("spill", lost)] if any(lost) else [], node, reach)


def assay_drawn(plant, random):
    lots = [lot for lot in plant.stock() if lot.number in plant.drawn]
    if not lots:
        return
    lot = random.choice(lots)
    metals = [max(mg + random.randint(-mg // 10 - 2, mg // 10 + 2), 0) for mg in lot.book[1:]]
    if sum(metals) <= lot.book[0] and metals != lot.book[1:]:
        assay(plant, lot, metals)


def finish(plant, random):
    content = plant.content()
    if content and random.random() < 0.6:
        outs = ["residue"] * random.randint(0, 2)
        losses = ["sweepings", "filter"][: random.randint(0 if outs else 1, 2)]
        gain = None
        if outs and random.random() < 0.3:
            gain = with_gross([random.randint(0, 40), 0, 0, 0, random.randint(0, 5), 0])
        step(plant, random, "finish", [content], whole=True, outs=outs, losses=losses, even=True, gain=gain)
