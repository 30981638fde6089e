DROP FUNCTION custody_append_only() CASCADE;
