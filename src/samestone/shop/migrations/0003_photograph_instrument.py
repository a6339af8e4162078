"""Which camera or microscope of the diary took a picture."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shop", "0002_written_once")]
    operations = [
        migrations.AddField(
            model_name="photograph",
            name="instrument",
            field=models.ForeignKey(
                blank=True,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="photographs",
                to="shop.instrument",
            ),
        )
    ]
