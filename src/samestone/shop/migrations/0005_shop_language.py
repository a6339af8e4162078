"""Which English the shop speaks."""

from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("shop", "0004_stone_places")]
    operations = [
        migrations.AddField(
            model_name="shop",
            name="language",
            field=models.CharField(
                choices=[("en-gb", "English (UK)"), ("en-us", "English (US)")], default="en-gb", max_length=10
            ),
        ),
    ]
