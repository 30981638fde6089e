"""What the application's role may write, granted table by table after every migration.

Reading is granted by default (refinery/roles.py). A model of this app is writable unless it says
`ledger = True`; `writable = {"INSERT"}` narrows it; `sealed = True` takes reading away too. Tables of
Django and its add-ons are writable only when named here. TRUNCATE is never granted: no row trigger would
see it.
"""

from django.apps import apps
from django.db import connections

from refinery.roles import APP

NON_LEDGER_PREFIXES = ("auth_", "axes_", "django_session")
WRITE_VERBS = ("INSERT", "UPDATE", "DELETE")


def writable_verbs(model) -> set[str]:
    """The writing verbs that the application's role has on the model's table; SELECT it always has."""
    declared = model._meta.auto_created or model  # a many-to-many table follows the model that declares it
    if model._meta.app_label != "custody":
        return set(WRITE_VERBS) if model._meta.db_table.startswith(NON_LEDGER_PREFIXES) else set()
    if getattr(declared, "ledger", False):
        return set()
    verbs = set(getattr(declared, "writable", WRITE_VERBS))
    if verbs - set(WRITE_VERBS):
        raise ValueError(f"{model.__name__}.writable may hold only {', '.join(WRITE_VERBS)}, not {sorted(verbs)}")
    return verbs


def grant_tables(using, **_):
    """After a migration: take all writing back, then grant what each model allows."""
    connection = connections[using]
    with connection.cursor() as cursor:
        existing = set(connection.introspection.table_names(cursor))
        for model in apps.get_models(include_auto_created=True):
            if not model._meta.managed or model._meta.proxy or model._meta.db_table not in existing:
                continue
            table = connection.ops.quote_name(model._meta.db_table)
            cursor.execute(f"REVOKE INSERT, UPDATE, DELETE, TRUNCATE ON {table} FROM {APP}")
            if getattr(model, "sealed", False):
                cursor.execute(f"REVOKE SELECT ON {table} FROM {APP}")
                continue
            cursor.execute(f"GRANT {', '.join(sorted({'SELECT'} | writable_verbs(model)))} ON {table} TO {APP}")
