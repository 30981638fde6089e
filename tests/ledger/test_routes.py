"""Route orders past every line of Python: an own route says why, and a route has steps and a fineness."""

import pytest

INSERT = """
INSERT INTO custody_routeorder
    (number, steps, advised, reasons, flags, wanted_ppm, silver_to_add_mg, note, at, ordered_by_id)
SELECT 'RO26-90001', {steps}, '{{melt and cast}}', '{{}}', '{{}}', {wanted}, 0, {note}, now(), min(id) FROM custody_user
"""


@pytest.mark.parametrize(
    ("rule", "changes"),
    [
        ("own_route_says_why", {"steps": "'{aqua regia,melt and cast}'"}),
        ("route_of_something", {"steps": "'{}'", "note": "'none'"}),
        ("route_of_something", {"wanted": "0"}),
        ("route_of_something", {"wanted": "1000001"}),
    ],
)
def test_an_order_is_a_whole_order(refused, rule, changes):
    said = {"steps": "'{melt and cast}'", "wanted": "999500", "note": "''"} | changes
    assert refused(INSERT.format(**said)) == rule


def test_a_lot_stands_in_an_order_once(refused):
    again = (
        "INSERT INTO custody_routeorderlot (order_id, position, lot_id, gross_mg, au_mg, ag_mg, pt_mg, pd_mg, cu_mg)"
        " SELECT order_id, position + 1, lot_id, gross_mg, au_mg, ag_mg, pt_mg, pd_mg, cu_mg FROM custody_routeorderlot"
    )
    assert refused(again) == "one_line_per_lot"
