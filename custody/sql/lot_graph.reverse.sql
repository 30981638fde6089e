DROP VIEW custody_edge;
