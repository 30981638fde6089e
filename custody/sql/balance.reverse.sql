DROP FUNCTION custody_balanced() CASCADE;
DROP FUNCTION custody_sealed() CASCADE;
