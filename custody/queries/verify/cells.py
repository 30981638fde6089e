"""I3 in the cells: readings of one run's current lie apart and within the run, recomputed from the raw rows."""

from collections import defaultdict

from custody.queries.verify.findings import Check
from custody.queries.verify.raw import rows

_READINGS = """
SELECT u.number, c.from_at, c.to_at, opened.at, finished.at FROM custody_cellreading c
  JOIN custody_run u ON u.id = c.run_id LEFT JOIN custody_operation opened ON opened.id = u.opened_by_id
  LEFT JOIN custody_operation finished ON finished.id = u.finished_by_id
 WHERE NOT EXISTS (SELECT FROM custody_cellreading n WHERE n.replaces_id = c.id) ORDER BY u.number, c.from_at
"""


def check(found: Check) -> None:
    """Notes readings that overlap, that lie outside their run, or that replace one of another run."""
    ends: dict[str, object] = defaultdict(lambda: None)
    for run, since, until, opened, finished in rows(_READINGS):
        found.checked += 1
        where = f"run {run}"
        if ends[run] is not None and since < ends[run]:
            found.breach(where, "a reading of its current overlaps another", since=str(since))
        if opened is None or since < opened or (finished is not None and until > finished):
            found.breach(where, "a reading of its current lies outside its run", since=str(since), until=str(until))
        ends[run] = max(until, ends[run] or until)
    for reading, replaced in rows(
        "SELECT n.id, c.id FROM custody_cellreading n JOIN custody_cellreading c ON c.id = n.replaces_id"
        " WHERE c.run_id <> n.run_id"
    ):
        found.breach(f"reading {reading}", "replaces a reading of another run", replaced=replaced)
