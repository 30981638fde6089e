DROP FUNCTION custody_count_stock(jsonb);
DROP FUNCTION custody_close_vault(jsonb);
DROP FUNCTION custody_open_vault(jsonb);
DROP FUNCTION custody_check_access(bigint, bigint, timestamptz, text);
DROP SEQUENCE custody_number_count;
DROP SEQUENCE custody_number_access;
DROP SEQUENCE custody_number_box;
