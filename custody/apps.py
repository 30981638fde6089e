from django.apps import AppConfig
from django.db.models.signals import post_migrate


class CustodyConfig(AppConfig):
    name = "custody"

    def ready(self):
        from custody.actions._rulebook import copy_rules
        from custody.grants import grant_tables

        post_migrate.connect(grant_tables, sender=self)
        post_migrate.connect(copy_rules, sender=self)
