DROP TRIGGER worksheetreading_on_a_checked_balance ON custody_worksheetreading;
DROP TRIGGER proofmetal_stays ON custody_proofmetal;
DROP FUNCTION custody_reading_of_a_worksheet(), custody_proof_metal_stays();
