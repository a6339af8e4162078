"""Triggers that refuse UPDATE and DELETE on what is written once."""

from django.db import migrations

from samestone.shop.guard import install_triggers


class Migration(migrations.Migration):
    dependencies = [("shop", "0001_first_tables")]
    operations = [
        migrations.RunPython(lambda apps, editor: install_triggers(editor.connection), migrations.RunPython.noop)
    ]
