"""Which places of a row these stones have."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shop", "0003_photograph_instrument")]
    operations = [
        migrations.AddField(
            model_name="stone", name="places", field=models.CharField(blank=True, default="", max_length=120),
        ),
    ]
