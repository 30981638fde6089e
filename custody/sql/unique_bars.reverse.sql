DROP FUNCTION custody_bar_for_ever() CASCADE;
DROP FUNCTION custody_bar_replaces() CASCADE;
