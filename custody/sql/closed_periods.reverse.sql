DROP FUNCTION custody_close_period(date, bigint);
DROP FUNCTION custody_period_stays_closed() CASCADE;
DROP FUNCTION custody_day_is_open() CASCADE;
DROP FUNCTION custody_open_day(timestamptz);
DROP FUNCTION custody_local_day(timestamptz);
