-- The lot graph is a view of the movements, so that it can't say anything else than they do: what an operation took
-- went into what it made. A valuation, a difference and a reversal make nothing.
CREATE VIEW custody_edge AS
SELECT parent.lot_id AS parent_id, child.lot_id AS child_id, o.id AS operation_id
  FROM custody_operation o
  JOIN custody_movement parent ON parent.operation_id = o.id AND parent.side = 'in'
  JOIN custody_movement child ON child.operation_id = o.id AND child.side = 'out'
 WHERE o.kind NOT IN ('value', 'difference', 'reverse')
   AND parent.lot_id IS NOT NULL AND child.lot_id IS NOT NULL;
GRANT SELECT ON custody_edge TO custody_app;
