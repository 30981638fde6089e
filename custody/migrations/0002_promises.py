"""Everything that only PostgreSQL can promise (custody/sql)."""

from django.db import migrations

from custody.sql import PROMISES, promise


class Migration(migrations.Migration):
    dependencies = [("custody", "0001_initial")]

    operations = [promise(name) for name in PROMISES]
