-- I3, append-only: what was recorded is never changed and never deleted; a mistake is mended by a reversing
-- operation. The application has no right to try (grants); this trigger stops the owner too. TRUNCATE is stopped by
-- grants alone: a TRUNCATE trigger would also stop tests from laying out a fresh database.
CREATE FUNCTION custody_append_only() RETURNS trigger
LANGUAGE plpgsql SET search_path = public, pg_temp AS $$
BEGIN
    PERFORM custody_refuse('append_only',
        format('%s %s is recorded for ever: record a reversal or a correction instead.', TG_TABLE_NAME, TG_OP),
        jsonb_build_object('table', TG_TABLE_NAME, 'row', to_jsonb(OLD) -> 'id'));
    RETURN NULL;
END $$;

DO $$
DECLARE
    ledger text;
BEGIN
    FOREACH ledger IN ARRAY ARRAY[
        'operation', 'movement', 'parcel', 'origin', 'originreceipt', 'vector', 'weighing', 'determination',
        'acceptance', 'handover', 'clearanceevent', 'document', 'terms', 'accountentry', 'settlement',
        'settlementline', 'settlementcharge', 'scalecheck', 'scalecheckload', 'scalereading', 'delivery', 'slip',
        'spoiledslip', 'refusedparcel', 'purchase', 'purchaseline', 'collection', 'amendment', 'attachment', 'sample',
        'sampleseal', 'worksheet', 'worksheetpiece', 'worksheetimport', 'worksheetreading', 'repeatorder', 'indication',
        'exchangeterms', 'exchange', 'sealedresult', 'plantsettings', 'routeorder', 'routeorderlot', 'routeorderwork',
        'effluentlimit', 'solutionassay', 'solutionfigure', 'solutionacceptance', 'cellreading', 'serialrange',
        'serialevent', 'box', 'boxbar', 'boxopening', 'vaultaccess', 'vaultclosing', 'stockcount', 'stockcountline',
        'stockcountstray', 'placechange', 'priceimport', 'price', 'priceconfirmation', 'pricelimit']
    LOOP
        EXECUTE format('CREATE TRIGGER %I BEFORE UPDATE OR DELETE ON custody_%s '
                       'FOR EACH ROW EXECUTE FUNCTION custody_append_only()', ledger || '_append_only', ledger);
    END LOOP;
END $$;

-- Lots, bars, runs, accounts and periods have a state that moves on; none of them can ever be deleted.
DO $$
DECLARE
    ledger text;
BEGIN
    FOREACH ledger IN ARRAY ARRAY['lot', 'bar', 'run', 'metalaccount', 'period', 'scale', 'referenceweight', 'proofmetal',
        'apitoken', 'bartype', 'place']
    LOOP
        EXECUTE format('CREATE TRIGGER %I BEFORE DELETE ON custody_%s '
                       'FOR EACH ROW EXECUTE FUNCTION custody_append_only()', ledger || '_append_only', ledger);
    END LOOP;
END $$;
