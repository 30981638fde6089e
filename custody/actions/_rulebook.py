"""Copies the table of operation kinds (calc/rules.py) into PostgreSQL, which obeys its own copy."""

from django.db import connections

from custody.calc.rules import RULES


def copy_rules(using: str, **_) -> None:
    """After a migration, as the schema's owner: make custody_rule say what calc/rules.py says."""
    connection = connections[using]
    if "custody_rule" not in connection.introspection.table_names():
        return
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM custody_rule")
        cursor.executemany(
            "INSERT INTO custody_rule (kind, causes, additions, lost, band_ppm, tolerance_ppm, grace_mg, gain_ppm,"
            " hours, product_metal, product_forms, least_yield_ppm)"
            " VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s)",
            [
                (
                    rule.kind,
                    [str(cause) for cause in rule.causes],
                    [str(what) for what in rule.additions],
                    list(rule.lost),
                    rule.band_ppm,
                    rule.tolerance_ppm,
                    rule.grace_mg,
                    rule.gain_ppm,
                    rule.hours,
                    rule.product_metal,
                    [str(form) for form in rule.product_forms],
                    rule.least_yield_ppm,
                )
                for rule in RULES.values()
            ],
        )
