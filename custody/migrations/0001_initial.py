import django.contrib.auth.models
import django.contrib.auth.validators
import django.contrib.postgres.fields
import django.db.models.deletion
import django.db.models.expressions
import django.utils.timezone
from django.conf import settings
from django.db import migrations, models

import custody.calc.charge
import custody.calc.exchange
import custody.calc.rates
import custody.calc.scales
import custody.calc.weights
import custody.models.fields
import custody.terms


class Migration(migrations.Migration):
    initial = True

    dependencies = [
        ("auth", "0012_alter_user_first_name_max_length"),
    ]

    operations = [
        migrations.CreateModel(
            name="Edge",
            fields=[
                (
                    "pk",
                    models.CompositePrimaryKey(
                        "operation_id",
                        "parent_id",
                        "child_id",
                        blank=True,
                        editable=False,
                        primary_key=True,
                        serialize=False,
                    ),
                ),
            ],
            options={
                "db_table": "custody_edge",
                "managed": False,
            },
        ),
        migrations.CreateModel(
            name="ExchangeResult",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "side",
                    models.CharField(
                        choices=[("refinery", "refinery"), ("customer", "customer"), ("umpire", "umpire")],
                        max_length=10,
                    ),
                ),
                ("opened", models.BooleanField()),
                ("au_ppm", models.IntegerField(null=True)),
                ("ag_ppm", models.IntegerField(null=True)),
                ("pt_ppm", models.IntegerField(null=True)),
                ("pd_ppm", models.IntegerField(null=True)),
                ("laboratory", models.CharField(max_length=200)),
                ("reference", models.CharField(default="", max_length=120)),
                ("at", models.DateTimeField()),
            ],
            options={
                "db_table": "custody_exchangeresult",
                "ordering": ("id",),
                "managed": False,
            },
        ),
        migrations.CreateModel(
            name="Operation",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=40)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("receive", "receive"),
                            ("value", "value"),
                            ("melt", "melt"),
                            ("sample", "sample"),
                            ("granulate", "granulate"),
                            ("inquart", "inquart"),
                            ("part", "part"),
                            ("dissolve", "dissolve"),
                            ("filter", "filter"),
                            ("precipitate", "precipitate"),
                            ("wash", "wash"),
                            ("cement silver", "cement silver"),
                            ("cement copper", "cement copper"),
                            ("cast anodes", "cast anodes"),
                            ("electrolyse silver", "electrolyse silver"),
                            ("electrolyse gold", "electrolyse gold"),
                            ("neutralise", "neutralise"),
                            ("discharge", "discharge"),
                            ("dry", "dry"),
                            ("cast", "cast"),
                            ("cast strip", "cast strip"),
                            ("roll", "roll"),
                            ("punch", "punch"),
                            ("anneal", "anneal"),
                            ("adjust", "adjust"),
                            ("stamp", "stamp"),
                            ("divide", "divide"),
                            ("recycle", "recycle"),
                            ("clean out", "clean out"),
                            ("charge", "charge"),
                            ("draw", "draw"),
                            ("finish", "finish"),
                            ("difference", "difference"),
                            ("dispatch", "dispatch"),
                            ("reverse", "reverse"),
                        ],
                        max_length=30,
                    ),
                ),
                ("at", models.DateTimeField()),
                ("day", models.DateField()),
                ("recorded_at", models.DateTimeField()),
                (
                    "source",
                    models.CharField(
                        choices=[
                            (custody.terms.Source["LIVE"], custody.terms.Source["LIVE"]),
                            (custody.terms.Source["HISTORY"], custody.terms.Source["HISTORY"]),
                            (custody.terms.Source["API"], custody.terms.Source["API"]),
                        ],
                        max_length=10,
                    ),
                ),
                ("reason", models.TextField(default="")),
                ("about", models.DateField(null=True)),
                ("basis", models.CharField(default="", max_length=10)),
                ("delivered_by", models.CharField(default="", max_length=200)),
                ("over_tolerance", models.BooleanField(default=False)),
                ("countersigned_at", models.DateTimeField(null=True)),
                ("countersign_meaning", models.TextField(default="")),
                ("request_key", models.UUIDField(null=True)),
                ("request_sha256", models.BinaryField(null=True)),
                ("movement_count", models.SmallIntegerField()),
                ("canonical", models.TextField()),
                ("sha256", models.BinaryField()),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="Lot",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("gross_mg", models.BigIntegerField(default=0)),
                ("au_mg", models.BigIntegerField(default=0)),
                ("ag_mg", models.BigIntegerField(default=0)),
                ("pt_mg", models.BigIntegerField(default=0)),
                ("pd_mg", models.BigIntegerField(default=0)),
                ("cu_mg", models.BigIntegerField(default=0)),
                ("number", models.CharField(max_length=40)),
                (
                    "form",
                    models.CharField(
                        choices=[
                            ("dore", "doré"),
                            ("scrap", "scrap"),
                            ("jewellery", "jewellery"),
                            ("nuggets", "nuggets"),
                            ("sweeps", "sweeps"),
                            ("coin", "coin"),
                            ("industrial", "industrial"),
                            ("granules", "granules"),
                            ("melt", "melt"),
                            ("sample", "sample"),
                            ("slag", "slag"),
                            ("in process", "in process"),
                            ("gold sand", "gold sand"),
                            ("silver sand", "silver sand"),
                            ("silver chloride", "silver chloride"),
                            ("residue", "residue"),
                            ("solution", "solution"),
                            ("anode", "anode"),
                            ("cathode", "cathode"),
                            ("slimes", "slimes"),
                            ("cement copper", "cement copper"),
                            ("cake", "cake"),
                            ("strip", "strip"),
                            ("blank", "blank"),
                            ("skeleton", "skeleton"),
                            ("filings", "filings"),
                            ("bar", "bar"),
                            ("crucible", "crucible"),
                            ("filter", "filter"),
                            ("lining", "lining"),
                            ("sweepings", "sweepings"),
                            ("other", "other"),
                        ],
                        max_length=20,
                    ),
                ),
                ("declared_origin", models.CharField(default="", max_length=200)),
                ("amended_origin", models.CharField(max_length=200, null=True)),
                ("pooled", models.BooleanField(default=False)),
                (
                    "custody_model",
                    models.CharField(
                        choices=[
                            ("identity preserved", "identity preserved"),
                            ("segregated", "segregated"),
                            ("controlled blending", "controlled blending"),
                            ("mass balance", "mass balance"),
                        ],
                        default=custody.terms.CustodyModel["MASS_BALANCE"],
                        max_length=20,
                    ),
                ),
                (
                    "clearance",
                    models.CharField(
                        choices=[("awaiting release", "awaiting release"), ("held", "held"), ("released", "released")],
                        default=custody.terms.Clearance["AWAITING"],
                        max_length=20,
                    ),
                ),
                ("valued", models.BooleanField(default=False)),
                ("last_at", models.DateTimeField()),
                ("last_movement", models.BigIntegerField()),
                ("content_movement", models.BigIntegerField()),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="Party",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.CharField(max_length=30, unique=True)),
                ("name", models.CharField(max_length=200)),
                ("country", models.CharField(max_length=2)),
                ("address", models.TextField(blank=True)),
                ("contact", models.CharField(blank=True, max_length=200)),
                ("note", models.TextField(blank=True)),
                ("version", models.PositiveIntegerField(default=1)),
                ("created_at", models.DateTimeField(auto_now_add=True)),
            ],
            options={
                "verbose_name_plural": "parties",
                "ordering": ("code",),
            },
        ),
        migrations.CreateModel(
            name="Place",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.CharField(max_length=30, unique=True)),
                ("name", models.CharField(max_length=120)),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("counter", "counter"),
                            ("strongroom", "strongroom"),
                            ("laboratory", "laboratory"),
                            ("furnace", "furnace"),
                            ("vessel", "vessel"),
                            ("workshop", "workshop"),
                            ("vault", "vault"),
                        ],
                        max_length=20,
                    ),
                ),
                ("active", models.BooleanField(default=True)),
                ("two_person", models.BooleanField(default=False)),
            ],
            options={
                "ordering": ("code",),
            },
        ),
        migrations.CreateModel(
            name="ProofMetal",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.CharField(max_length=30, unique=True)),
                ("metal", models.CharField(max_length=2)),
                ("purity_ppm", models.IntegerField()),
                ("uncertainty_ppm", models.IntegerField(default=0)),
                ("certificate", models.CharField(blank=True, default="", max_length=120)),
                ("active", models.BooleanField(default=True)),
            ],
            options={
                "ordering": ("code",),
            },
        ),
        migrations.CreateModel(
            name="ReferenceWeight",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.CharField(max_length=30, unique=True)),
                ("nominal_mg", models.BigIntegerField()),
                (
                    "weight_class",
                    models.CharField(
                        choices=[
                            (custody.calc.weights.WeightClass["E1"], custody.calc.weights.WeightClass["E1"]),
                            (custody.calc.weights.WeightClass["E2"], custody.calc.weights.WeightClass["E2"]),
                            (custody.calc.weights.WeightClass["F1"], custody.calc.weights.WeightClass["F1"]),
                            (custody.calc.weights.WeightClass["F2"], custody.calc.weights.WeightClass["F2"]),
                            (custody.calc.weights.WeightClass["M1"], custody.calc.weights.WeightClass["M1"]),
                            (custody.calc.weights.WeightClass["M2"], custody.calc.weights.WeightClass["M2"]),
                            (custody.calc.weights.WeightClass["M3"], custody.calc.weights.WeightClass["M3"]),
                        ],
                        max_length=2,
                    ),
                ),
                ("deviation_ug", models.BigIntegerField(default=0)),
                ("uncertainty_ug", models.BigIntegerField(null=True)),
                ("certificate", models.CharField(blank=True, default="", max_length=120)),
                ("valid_until", models.DateField(null=True)),
                ("active", models.BooleanField(default=True)),
            ],
            options={
                "ordering": ("code",),
            },
        ),
        migrations.CreateModel(
            name="RuleRow",
            fields=[
                ("kind", models.CharField(max_length=30, primary_key=True, serialize=False)),
                (
                    "causes",
                    django.contrib.postgres.fields.ArrayField(base_field=models.CharField(max_length=30), size=None),
                ),
                (
                    "additions",
                    django.contrib.postgres.fields.ArrayField(base_field=models.CharField(max_length=30), size=None),
                ),
                (
                    "lost",
                    django.contrib.postgres.fields.ArrayField(base_field=models.CharField(max_length=2), size=None),
                ),
                ("band_ppm", models.IntegerField()),
                ("tolerance_ppm", models.IntegerField()),
                ("grace_mg", models.BigIntegerField()),
                ("gain_ppm", models.IntegerField()),
                ("hours", models.IntegerField()),
                ("product_metal", models.CharField(default="", max_length=2)),
                (
                    "product_forms",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=30), default=list, size=None
                    ),
                ),
                ("least_yield_ppm", models.IntegerField(default=0)),
            ],
            options={
                "db_table": "custody_rule",
            },
        ),
        migrations.CreateModel(
            name="Slip",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=20, unique=True)),
                ("printed_at", models.DateTimeField()),
                ("request_key", models.UUIDField(db_index=True, null=True)),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="User",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("password", models.CharField(max_length=128, verbose_name="password")),
                ("last_login", models.DateTimeField(blank=True, null=True, verbose_name="last login")),
                (
                    "is_superuser",
                    models.BooleanField(
                        default=False,
                        help_text="Designates that this user has all permissions without explicitly assigning them.",
                        verbose_name="superuser status",
                    ),
                ),
                (
                    "username",
                    models.CharField(
                        error_messages={"unique": "A user with that username already exists."},
                        help_text="Required. 150 characters or fewer. Letters, digits and @/./+/-/_ only.",
                        max_length=150,
                        unique=True,
                        validators=[django.contrib.auth.validators.UnicodeUsernameValidator()],
                        verbose_name="username",
                    ),
                ),
                ("first_name", models.CharField(blank=True, max_length=150, verbose_name="first name")),
                ("last_name", models.CharField(blank=True, max_length=150, verbose_name="last name")),
                ("email", models.EmailField(blank=True, max_length=254, verbose_name="email address")),
                (
                    "is_staff",
                    models.BooleanField(
                        default=False,
                        help_text="Designates whether the user can log into this admin site.",
                        verbose_name="staff status",
                    ),
                ),
                (
                    "is_active",
                    models.BooleanField(
                        default=True,
                        help_text="Designates whether this user should be treated as active. Unselect this instead of deleting accounts.",
                        verbose_name="active",
                    ),
                ),
                ("date_joined", models.DateTimeField(default=django.utils.timezone.now, verbose_name="date joined")),
                (
                    "groups",
                    models.ManyToManyField(
                        blank=True,
                        help_text="The groups this user belongs to. A user will get all permissions granted to each of their groups.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.group",
                        verbose_name="groups",
                    ),
                ),
                (
                    "user_permissions",
                    models.ManyToManyField(
                        blank=True,
                        help_text="Specific permissions for this user.",
                        related_name="user_set",
                        related_query_name="user",
                        to="auth.permission",
                        verbose_name="user permissions",
                    ),
                ),
                (
                    "party",
                    models.ForeignKey(
                        blank=True,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="people",
                        to="custody.party",
                    ),
                ),
            ],
            options={
                "ordering": ("username",),
            },
            managers=[
                ("objects", django.contrib.auth.models.UserManager()),
            ],
        ),
        migrations.CreateModel(
            name="Acceptance",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="ApiToken",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("sha256", models.CharField(max_length=64, unique=True)),
                ("start", models.CharField(max_length=8)),
                ("made_at", models.DateTimeField(auto_now_add=True)),
                ("revoked_at", models.DateTimeField(null=True)),
                (
                    "revoked_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="api_tokens",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="BarType",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.CharField(max_length=20, unique=True)),
                ("name", models.CharField(max_length=120)),
                ("metal", models.CharField(max_length=2)),
                ("nominal_mg", models.BigIntegerField(null=True)),
                ("least_mg", models.BigIntegerField()),
                ("most_mg", models.BigIntegerField()),
                ("least_ppm", models.IntegerField()),
                ("making", models.CharField(choices=[("struck", "struck"), ("cast", "cast")], max_length=20)),
                (
                    "marks",
                    django.contrib.postgres.fields.ArrayField(
                        base_field=models.CharField(max_length=40), default=list, size=None
                    ),
                ),
                ("active", models.BooleanField(default=True)),
                ("entered_at", models.DateTimeField(auto_now_add=True)),
                (
                    "entered_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ("metal", "least_mg", "code"),
            },
        ),
        migrations.CreateModel(
            name="Box",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=40, unique=True)),
                ("seal", models.CharField(max_length=60)),
                ("at", models.DateTimeField()),
                ("note", models.CharField(default="", max_length=300)),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.place"
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "boxes",
                "ordering": ("-id",),
            },
        ),
        migrations.CreateModel(
            name="BoxOpening",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.DateTimeField()),
                ("reason", models.CharField(max_length=300)),
                (
                    "box",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="opening", to="custody.box"
                    ),
                ),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Collection",
            fields=[
                (
                    "operation",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="collection",
                        serialize=False,
                        to="custody.operation",
                    ),
                ),
                (
                    "against",
                    models.CharField(
                        choices=[
                            ("own", "its own metal"),
                            ("claim", "house metal against its claim"),
                            ("sale", "house metal that it bought"),
                            ("returned", "its parcel, returned unmelted"),
                        ],
                        max_length=20,
                    ),
                ),
                ("order", models.CharField(max_length=120)),
                ("collector", models.CharField(max_length=200)),
                (
                    "identity_kind",
                    models.CharField(
                        choices=[
                            ("passport", "passport"),
                            ("identity card", "identity card"),
                            ("driving licence", "driving licence"),
                            ("residence permit", "residence permit"),
                            ("written authority", "written authority"),
                            ("known by sight", "known by sight"),
                        ],
                        max_length=30,
                    ),
                ),
                ("identity_number", models.CharField(max_length=60)),
                ("carrier", models.CharField(default="", max_length=120)),
            ],
        ),
        migrations.CreateModel(
            name="Delivery",
            fields=[
                (
                    "operation",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="delivery",
                        serialize=False,
                        to="custody.operation",
                    ),
                ),
                ("on_behalf_of", models.CharField(default="", max_length=200)),
                (
                    "identity_kind",
                    models.CharField(
                        choices=[
                            ("passport", "passport"),
                            ("identity card", "identity card"),
                            ("driving licence", "driving licence"),
                            ("residence permit", "residence permit"),
                            ("written authority", "written authority"),
                            ("known by sight", "known by sight"),
                        ],
                        default="",
                        max_length=30,
                    ),
                ),
                ("identity_number", models.CharField(default="", max_length=60)),
            ],
        ),
        migrations.CreateModel(
            name="Purchase",
            fields=[
                (
                    "receipt",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="purchase",
                        serialize=False,
                        to="custody.operation",
                    ),
                ),
                ("currency", models.CharField(max_length=3)),
                ("total", models.DecimalField(decimal_places=2, max_digits=16)),
                (
                    "payment",
                    models.CharField(
                        choices=[("cash", "cash"), ("bank transfer", "bank transfer"), ("cheque", "cheque")],
                        max_length=20,
                    ),
                ),
                ("reference", models.CharField(default="", max_length=120)),
                ("price_source", models.CharField(max_length=120)),
            ],
        ),
        migrations.AddField(
            model_name="operation",
            name="acceptance",
            field=models.ForeignKey(
                db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, to="custody.acceptance"
            ),
        ),
        migrations.AddField(
            model_name="operation",
            name="by",
            field=models.ForeignKey(
                db_index=False,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="operations",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="operation",
            name="countersigned_by",
            field=models.ForeignKey(
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="countersigned",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="operation",
            name="reverses",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="reversed_by",
                to="custody.operation",
            ),
        ),
        migrations.CreateModel(
            name="Determination",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=40, unique=True)),
                ("method", models.CharField(max_length=60)),
                ("au_ppm", models.IntegerField(default=0)),
                ("ag_ppm", models.IntegerField(default=0)),
                ("pt_ppm", models.IntegerField(default=0)),
                ("pd_ppm", models.IntegerField(default=0)),
                ("cu_ppm", models.IntegerField(default=0)),
                (
                    "expanded_ppb",
                    django.contrib.postgres.fields.ArrayField(base_field=models.BigIntegerField(), null=True, size=5),
                ),
                ("note", models.TextField(blank=True, default="")),
                ("at", models.DateTimeField()),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ("-id",),
            },
        ),
        migrations.AddField(
            model_name="acceptance",
            name="determination",
            field=models.OneToOneField(
                on_delete=django.db.models.deletion.PROTECT, related_name="acceptance", to="custody.determination"
            ),
        ),
        migrations.CreateModel(
            name="EffluentLimit",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("valid_from", models.DateField()),
                ("substance", models.CharField(max_length=8)),
                ("least", models.BigIntegerField(null=True)),
                ("most", models.BigIntegerField()),
                ("note", models.CharField(blank=True, default="", max_length=300)),
                ("set_at", models.DateTimeField()),
                ("request_key", models.UUIDField(null=True)),
                (
                    "set_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ("substance", "-valid_from", "-id"),
            },
        ),
        migrations.CreateModel(
            name="Exchange",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=40, unique=True)),
                ("at", models.DateTimeField()),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ("-id",),
            },
        ),
        migrations.AddField(
            model_name="determination",
            name="exchange",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="determinations",
                to="custody.exchange",
            ),
        ),
        migrations.CreateModel(
            name="ExchangeTerms",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("valid_from", models.DateField()),
                ("au_limit_ppm", models.IntegerField(null=True)),
                ("ag_limit_ppm", models.IntegerField(null=True)),
                ("pt_limit_ppm", models.IntegerField(null=True)),
                ("pd_limit_ppm", models.IntegerField(null=True)),
                (
                    "rule",
                    models.CharField(
                        choices=[
                            ("umpire final", "umpire final"),
                            ("nearer party unless umpire between", "nearer party unless umpire between"),
                            ("mean of umpire and nearer party", "mean of umpire and nearer party"),
                        ],
                        max_length=60,
                    ),
                ),
                ("days", models.PositiveSmallIntegerField(null=True)),
                ("ended", models.BooleanField(default=False)),
                ("agreed_at", models.DateTimeField(auto_now_add=True)),
                (
                    "agreed_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "party",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="exchange_terms", to="custody.party"
                    ),
                ),
                (
                    "umpire",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.party"
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "exchange terms",
                "ordering": ("party", "-valid_from", "-id"),
            },
        ),
        migrations.AddField(
            model_name="exchange",
            name="terms",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.exchangeterms"
            ),
        ),
        migrations.CreateModel(
            name="Parcel",
            fields=[
                (
                    "lot",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="parcel",
                        serialize=False,
                        to="custody.lot",
                    ),
                ),
                ("line", models.PositiveSmallIntegerField()),
                (
                    "category",
                    models.CharField(
                        choices=[
                            ("mined", "mined"),
                            ("mined large scale", "mined large scale"),
                            ("mined artisanal and small scale", "mined artisanal and small scale"),
                            ("recycled", "recycled"),
                            ("grandfathered", "grandfathered"),
                            ("house", "house"),
                        ],
                        default="",
                        max_length=40,
                    ),
                ),
                ("country", models.CharField(default="", max_length=2)),
                ("mine", models.CharField(default="", max_length=200)),
                ("pieces", models.PositiveIntegerField(null=True)),
                ("description", models.CharField(default="", max_length=300)),
                ("seal", models.CharField(default="", max_length=60)),
                ("declared_gross_mg", models.BigIntegerField(null=True)),
                ("declared_au_ppm", models.IntegerField(null=True)),
                ("declared_ag_ppm", models.IntegerField(null=True)),
                ("declared_words", models.CharField(default="", max_length=40)),
                ("export_paper", models.CharField(default="", max_length=120)),
                ("transport_paper", models.CharField(default="", max_length=120)),
            ],
        ),
        migrations.CreateModel(
            name="Sample",
            fields=[
                (
                    "lot",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="sample",
                        serialize=False,
                        to="custody.lot",
                    ),
                ),
                (
                    "cut",
                    models.CharField(
                        choices=[("pin", "pin"), ("drill", "drill"), ("dip", "dip"), ("granules", "granules")],
                        max_length=20,
                    ),
                ),
                (
                    "purpose",
                    models.CharField(
                        choices=[
                            ("laboratory", "laboratory"),
                            ("customer", "customer"),
                            ("umpire", "umpire"),
                            ("reserve", "reserve"),
                        ],
                        max_length=20,
                    ),
                ),
                ("seal", models.CharField(default="", max_length=60)),
                ("position", models.CharField(default="", max_length=120)),
                ("witness", models.CharField(default="", max_length=200)),
            ],
        ),
        migrations.AddField(
            model_name="lot",
            name="created_by",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="created_lots", to="custody.operation"
            ),
        ),
        migrations.AddField(
            model_name="lot",
            name="custodian",
            field=models.ForeignKey(
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="lots",
                to=settings.AUTH_USER_MODEL,
            ),
        ),
        migrations.AddField(
            model_name="lot",
            name="receipt",
            field=models.ForeignKey(
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="receipt_lots",
                to="custody.operation",
            ),
        ),
        migrations.CreateModel(
            name="Indication",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "method",
                    models.CharField(
                        choices=[
                            ("fire assay by cupellation", "fire assay by cupellation"),
                            ("fire assay, crucible fusion", "fire assay, crucible fusion"),
                            ("titration with sodium chloride", "titration with sodium chloride"),
                            ("potentiometric titration", "potentiometric titration"),
                            ("gravimetry", "gravimetry"),
                            ("ICP spectrometry", "ICP spectrometry"),
                            ("XRF indication", "XRF indication"),
                            ("density indication", "density indication"),
                            ("as declared", "as declared"),
                            ("exchange of assays", "exchange of assays"),
                        ],
                        max_length=60,
                    ),
                ),
                ("metal", models.CharField(max_length=2)),
                ("low_ppm", models.IntegerField()),
                ("high_ppm", models.IntegerField()),
                ("figures", models.CharField(default="", max_length=300)),
                ("at", models.DateTimeField()),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="indications", to="custody.lot"
                    ),
                ),
            ],
            options={
                "ordering": ("-id",),
            },
        ),
        migrations.AddField(
            model_name="exchange",
            name="lot",
            field=models.OneToOneField(
                on_delete=django.db.models.deletion.PROTECT, related_name="exchange", to="custody.lot"
            ),
        ),
        migrations.AddField(
            model_name="determination",
            name="lot",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="determinations", to="custody.lot"
            ),
        ),
        migrations.AddField(
            model_name="determination",
            name="sample",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.lot"
            ),
        ),
        migrations.CreateModel(
            name="ClearanceEvent",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "clearance",
                    models.CharField(
                        choices=[("awaiting release", "awaiting release"), ("held", "held"), ("released", "released")],
                        max_length=20,
                    ),
                ),
                ("reason", models.TextField()),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="clearance_events", to="custody.lot"
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="BoxBar",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveSmallIntegerField()),
                (
                    "box",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="custody.box"
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="boxed", to="custody.lot"
                    ),
                ),
            ],
            options={
                "ordering": ("box", "position"),
            },
        ),
        migrations.CreateModel(
            name="Bar",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("mark", models.CharField(max_length=20)),
                ("serial", models.CharField(max_length=40)),
                ("year", models.SmallIntegerField()),
                (
                    "replaces",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="replaced_by",
                        to="custody.bar",
                    ),
                ),
                (
                    "bar_type",
                    models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="bars",
                        to="custody.bartype",
                    ),
                ),
                (
                    "cancelled_by",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.operation"
                    ),
                ),
                (
                    "lot",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bar", to="custody.lot"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Attachment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("photograph", "photograph"),
                            ("export paper", "export paper"),
                            ("transport paper", "transport paper"),
                            ("paper of origin", "paper of origin"),
                            ("identity paper", "identity paper"),
                            ("other paper", "other paper"),
                        ],
                        max_length=20,
                    ),
                ),
                ("title", models.CharField(max_length=200)),
                ("content_type", models.CharField(max_length=60)),
                ("sha256", models.CharField(max_length=64)),
                ("size", models.PositiveIntegerField()),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "receipt",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="attachments", to="custody.operation"
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="attachments",
                        to="custody.lot",
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="Amendment",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("field", models.CharField(max_length=30)),
                ("before", models.CharField(max_length=300)),
                ("after", models.CharField(max_length=300)),
                ("reason", models.CharField(max_length=300)),
                ("at", models.DateTimeField()),
                ("countersigned_at", models.DateTimeField(null=True)),
                ("countersign_meaning", models.CharField(default="", max_length=200)),
                ("request_key", models.UUIDField(null=True)),
                ("after_movement", models.BigIntegerField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "countersigned_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "receipt",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="amendments", to="custody.operation"
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="amendments",
                        to="custody.lot",
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="Origin",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            (custody.terms.OriginKind["PARCEL"], custody.terms.OriginKind["PARCEL"]),
                            (custody.terms.OriginKind["DIFFERENCE"], custody.terms.OriginKind["DIFFERENCE"]),
                        ],
                        max_length=12,
                    ),
                ),
                (
                    "lot",
                    models.OneToOneField(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="origin", to="custody.lot"
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="origins", to="custody.operation"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="OriginReceipt",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("gross_mg", models.BigIntegerField(default=0)),
                ("au_mg", models.BigIntegerField(default=0)),
                ("ag_mg", models.BigIntegerField(default=0)),
                ("pt_mg", models.BigIntegerField(default=0)),
                ("pd_mg", models.BigIntegerField(default=0)),
                ("cu_mg", models.BigIntegerField(default=0)),
                (
                    "operation",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="origin_receipts",
                        to="custody.operation",
                    ),
                ),
                (
                    "origin",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="receipts", to="custody.origin"
                    ),
                ),
            ],
            options={
                "abstract": False,
            },
        ),
        migrations.AddField(
            model_name="operation",
            name="party",
            field=models.ForeignKey(
                db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, to="custody.party"
            ),
        ),
        migrations.CreateModel(
            name="MetalAccount",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "metal",
                    models.CharField(
                        choices=[("Au", "Au"), ("Ag", "Ag"), ("Pt", "Pt"), ("Pd", "Pd"), ("Cu", "Cu")], max_length=2
                    ),
                ),
                ("balance_mg", models.BigIntegerField(default=0)),
                (
                    "party",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="metal_accounts", to="custody.party"
                    ),
                ),
            ],
            options={
                "ordering": ("party", "metal"),
            },
        ),
        migrations.AddField(
            model_name="lot",
            name="owner",
            field=models.ForeignKey(
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="lots",
                to="custody.party",
            ),
        ),
        migrations.AddField(
            model_name="exchange",
            name="party",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="exchanges", to="custody.party"
            ),
        ),
        migrations.CreateModel(
            name="Period",
            fields=[
                ("month", models.DateField(primary_key=True, serialize=False)),
                ("closed_at", models.DateTimeField(null=True)),
                (
                    "closed_by",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Vessel",
            fields=[
                (
                    "place",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="vessel",
                        serialize=False,
                        to="custody.place",
                    ),
                ),
                ("capacity_ml", models.BigIntegerField(null=True)),
            ],
        ),
        migrations.AddField(
            model_name="operation",
            name="place",
            field=models.ForeignKey(
                db_index=False, null=True, on_delete=django.db.models.deletion.PROTECT, to="custody.place"
            ),
        ),
        migrations.CreateModel(
            name="Movement",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("gross_mg", models.BigIntegerField(default=0)),
                ("au_mg", models.BigIntegerField(default=0)),
                ("ag_mg", models.BigIntegerField(default=0)),
                ("pt_mg", models.BigIntegerField(default=0)),
                ("pd_mg", models.BigIntegerField(default=0)),
                ("cu_mg", models.BigIntegerField(default=0)),
                ("line", models.SmallIntegerField()),
                (
                    "side",
                    models.CharField(
                        choices=[
                            (custody.terms.Side["IN"], custody.terms.Side["IN"]),
                            (custody.terms.Side["ADD"], custody.terms.Side["ADD"]),
                            (custody.terms.Side["OUT"], custody.terms.Side["OUT"]),
                            (custody.terms.Side["LOSS"], custody.terms.Side["LOSS"]),
                        ],
                        max_length=4,
                    ),
                ),
                ("what", models.CharField(default="", max_length=30)),
                ("words", models.CharField(default="", max_length=300)),
                ("valued", models.BooleanField(default=True)),
                ("whole", models.BooleanField(default=False)),
                ("content_before", models.BigIntegerField(null=True)),
                ("spread", models.SmallIntegerField(default=0)),
                ("codes", custody.models.fields.BitArrayField(null=True)),
                (
                    "custodian",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="movements",
                        to="custody.lot",
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="movements",
                        to="custody.operation",
                    ),
                ),
                (
                    "origin",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="custody.origin",
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        db_constraint=False,
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="custody.place",
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="lot",
            name="place",
            field=models.ForeignKey(
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="lots",
                to="custody.place",
            ),
        ),
        migrations.CreateModel(
            name="PlaceChange",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("active", models.BooleanField()),
                ("two_person", models.BooleanField()),
                ("was_two_person", models.BooleanField()),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="changes", to="custody.place"
                    ),
                ),
            ],
            options={
                "ordering": ("-id",),
            },
        ),
        migrations.CreateModel(
            name="PlantSettings",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("valid_from", models.DateField()),
                ("least_gold_ppm", models.IntegerField(default=650000)),
                ("direct_silver_ppm", models.IntegerField(default=100000)),
                ("crust_silver_ppm", models.IntegerField(default=180000)),
                ("silver_feed_ppm", models.IntegerField(default=900000)),
                ("gold_share_ppm", models.IntegerField(default=250000)),
                ("precipitated_ppm", models.IntegerField(default=999500)),
                ("batch_gross_mg", models.BigIntegerField(null=True)),
                ("batch_gold_ppm", models.IntegerField(default=650000, null=True)),
                ("batch_silver_ppm", models.IntegerField(default=180000, null=True)),
                ("nitric_strength_ppm", models.IntegerField(default=680000)),
                ("nitric_density", models.IntegerField(default=1410)),
                ("hydrochloric_strength_ppm", models.IntegerField(default=370000)),
                ("hydrochloric_density", models.IntegerField(default=1180)),
                ("nitric_excess_ppm", models.IntegerField(default=500000)),
                ("hydrochloric_excess_ppm", models.IntegerField(default=250000)),
                ("metabisulfite_excess_ppm", models.IntegerField(default=500000)),
                ("salt_excess_ppm", models.IntegerField(default=100000)),
                ("caustic_excess_ppm", models.IntegerField(default=500000)),
                ("glucose_excess_ppm", models.IntegerField(default=200000)),
                ("copper_excess_ppm", models.IntegerField(default=50000)),
                ("iron_excess_ppm", models.IntegerField(default=200000)),
                ("ammonium_excess_ppm", models.IntegerField(default=500000)),
                ("glyoxime_excess_ppm", models.IntegerField(default=100000)),
                (
                    "silver_way",
                    models.CharField(
                        choices=[
                            ("cementation on copper", "cementation on copper"),
                            ("as chloride, by caustic and glucose", "as chloride, by caustic and glucose"),
                        ],
                        default=custody.calc.charge.SilverWay["CHLORIDE"],
                        max_length=40,
                    ),
                ),
                ("note", models.CharField(blank=True, default="", max_length=300)),
                ("set_at", models.DateTimeField()),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "set_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "plant settings",
                "ordering": ("-valid_from", "-id"),
            },
        ),
        migrations.CreateModel(
            name="Price",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "metal",
                    models.CharField(
                        choices=[("Au", "Au"), ("Ag", "Ag"), ("Pt", "Pt"), ("Pd", "Pd"), ("Cu", "Cu")], max_length=2
                    ),
                ),
                ("currency", models.CharField(max_length=3)),
                ("fixing", models.CharField(max_length=40)),
                ("day", models.DateField()),
                ("amount", models.DecimalField(decimal_places=4, max_digits=16)),
                ("per", models.CharField(choices=[("g", "g"), ("ozt", "ozt")], max_length=3)),
                ("source", models.CharField(max_length=120)),
                ("reason", models.CharField(default="", max_length=300)),
                ("limit_ppm", models.IntegerField(default=0)),
                ("doubtful", models.BooleanField(default=False)),
                ("at", models.DateTimeField(auto_now_add=True)),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "before",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.price"
                    ),
                ),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "replaces",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="replaced_by",
                        to="custody.price",
                    ),
                ),
            ],
            options={
                "ordering": ("-day", "metal", "currency", "fixing", "-id"),
            },
        ),
        migrations.CreateModel(
            name="PriceConfirmation",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("note", models.CharField(max_length=300)),
                ("at", models.DateTimeField(auto_now_add=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "price",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="confirmation", to="custody.price"
                    ),
                ),
            ],
            options={
                "ordering": ("-id",),
            },
        ),
        migrations.CreateModel(
            name="PriceImport",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=200)),
                ("sha256", models.CharField(max_length=64, unique=True)),
                ("text", models.TextField()),
                ("at", models.DateTimeField(auto_now_add=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ("-id",),
            },
        ),
        migrations.AddField(
            model_name="price",
            name="imported",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="prices", to="custody.priceimport"
            ),
        ),
        migrations.CreateModel(
            name="PriceLimit",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "metal",
                    models.CharField(
                        choices=[("Au", "Au"), ("Ag", "Ag"), ("Pt", "Pt"), ("Pd", "Pd"), ("Cu", "Cu")], max_length=2
                    ),
                ),
                ("valid_from", models.DateField()),
                ("jump_ppm", models.IntegerField()),
                ("note", models.CharField(blank=True, default="", max_length=300)),
                ("set_at", models.DateTimeField(auto_now_add=True)),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "set_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ("metal", "-valid_from", "-id"),
            },
        ),
        migrations.CreateModel(
            name="PurchaseLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("metal", models.CharField(max_length=2)),
                ("net_mg", models.BigIntegerField()),
                ("indicated_ppm", models.IntegerField()),
                (
                    "method",
                    models.CharField(
                        choices=[
                            ("fire assay by cupellation", "fire assay by cupellation"),
                            ("fire assay, crucible fusion", "fire assay, crucible fusion"),
                            ("titration with sodium chloride", "titration with sodium chloride"),
                            ("potentiometric titration", "potentiometric titration"),
                            ("gravimetry", "gravimetry"),
                            ("ICP spectrometry", "ICP spectrometry"),
                            ("XRF indication", "XRF indication"),
                            ("density indication", "density indication"),
                            ("as declared", "as declared"),
                            ("exchange of assays", "exchange of assays"),
                        ],
                        max_length=60,
                    ),
                ),
                ("price_per_g", models.DecimalField(decimal_places=4, max_digits=16)),
                ("payable_ppm", models.IntegerField()),
                ("amount", models.DecimalField(decimal_places=2, max_digits=16)),
                (
                    "lot",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="bought", to="custody.lot"
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="Refinery",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=200)),
                ("address", models.TextField(blank=True)),
                ("mark", models.CharField(max_length=20)),
                ("time_zone", models.CharField(default="UTC", max_length=60)),
                ("receipt_terms", models.TextField(blank=True)),
                ("version", models.PositiveIntegerField(default=1)),
            ],
            options={
                "verbose_name_plural": "refineries",
                "constraints": [models.CheckConstraint(condition=models.Q(("id", 1)), name="one_refinery")],
            },
        ),
        migrations.CreateModel(
            name="RoleGrant",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("front desk", "front desk"),
                            ("sampler", "sampler"),
                            ("assayer", "assayer"),
                            ("plant operator", "plant operator"),
                            ("vault keeper", "vault keeper"),
                            ("metal accountant", "metal accountant"),
                            ("compliance officer", "compliance officer"),
                            ("manager", "manager"),
                            ("auditor", "auditor"),
                            ("customer", "customer"),
                        ],
                        max_length=30,
                    ),
                ),
                ("granted_at", models.DateTimeField(auto_now_add=True)),
                (
                    "granted_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "user",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="role_grants",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
            ],
            options={
                "ordering": ("role",),
            },
        ),
        migrations.CreateModel(
            name="RouteOrder",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=40, unique=True)),
                (
                    "steps",
                    django.contrib.postgres.fields.ArrayField(base_field=models.CharField(max_length=60), size=None),
                ),
                (
                    "advised",
                    django.contrib.postgres.fields.ArrayField(base_field=models.CharField(max_length=60), size=None),
                ),
                (
                    "reasons",
                    django.contrib.postgres.fields.ArrayField(base_field=models.TextField(), default=list, size=None),
                ),
                (
                    "flags",
                    django.contrib.postgres.fields.ArrayField(base_field=models.TextField(), default=list, size=None),
                ),
                ("wanted_ppm", models.IntegerField()),
                ("silver_to_add_mg", models.BigIntegerField(default=0)),
                ("note", models.CharField(blank=True, default="", max_length=500)),
                ("at", models.DateTimeField()),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "ordered_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "settings",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="custody.plantsettings",
                    ),
                ),
            ],
            options={
                "ordering": ("-id",),
            },
        ),
        migrations.CreateModel(
            name="RouteOrderLot",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("gross_mg", models.BigIntegerField(default=0)),
                ("au_mg", models.BigIntegerField(default=0)),
                ("ag_mg", models.BigIntegerField(default=0)),
                ("pt_mg", models.BigIntegerField(default=0)),
                ("pd_mg", models.BigIntegerField(default=0)),
                ("cu_mg", models.BigIntegerField(default=0)),
                ("position", models.PositiveSmallIntegerField()),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="route_lines", to="custody.lot"
                    ),
                ),
                (
                    "order",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="custody.routeorder"
                    ),
                ),
            ],
            options={
                "ordering": ("order", "position"),
            },
        ),
        migrations.CreateModel(
            name="RouteOrderWork",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("station", models.CharField(max_length=60)),
                (
                    "operation",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="route_work", to="custody.operation"
                    ),
                ),
                (
                    "order",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="works", to="custody.routeorder"
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="Run",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=40, unique=True)),
                (
                    "step",
                    models.CharField(
                        choices=[
                            ("receive", "receive"),
                            ("value", "value"),
                            ("melt", "melt"),
                            ("sample", "sample"),
                            ("granulate", "granulate"),
                            ("inquart", "inquart"),
                            ("part", "part"),
                            ("dissolve", "dissolve"),
                            ("filter", "filter"),
                            ("precipitate", "precipitate"),
                            ("wash", "wash"),
                            ("cement silver", "cement silver"),
                            ("cement copper", "cement copper"),
                            ("cast anodes", "cast anodes"),
                            ("electrolyse silver", "electrolyse silver"),
                            ("electrolyse gold", "electrolyse gold"),
                            ("neutralise", "neutralise"),
                            ("discharge", "discharge"),
                            ("dry", "dry"),
                            ("cast", "cast"),
                            ("cast strip", "cast strip"),
                            ("roll", "roll"),
                            ("punch", "punch"),
                            ("anneal", "anneal"),
                            ("adjust", "adjust"),
                            ("stamp", "stamp"),
                            ("divide", "divide"),
                            ("recycle", "recycle"),
                            ("clean out", "clean out"),
                            ("charge", "charge"),
                            ("draw", "draw"),
                            ("finish", "finish"),
                            ("difference", "difference"),
                            ("dispatch", "dispatch"),
                            ("reverse", "reverse"),
                        ],
                        max_length=30,
                    ),
                ),
                (
                    "content",
                    models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.lot"),
                ),
                (
                    "finished_by",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.operation"
                    ),
                ),
                (
                    "opened_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.operation"
                    ),
                ),
                (
                    "vessel",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="runs", to="custody.place"
                    ),
                ),
            ],
        ),
        migrations.AddField(
            model_name="operation",
            name="run",
            field=models.ForeignKey(
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="operations",
                to="custody.run",
            ),
        ),
        migrations.AddField(
            model_name="lot",
            name="run",
            field=models.ForeignKey(
                db_index=False,
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="lots",
                to="custody.run",
            ),
        ),
        migrations.CreateModel(
            name="CellReading",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("from_at", models.DateTimeField()),
                ("to_at", models.DateTimeField()),
                ("milliampere", models.BigIntegerField()),
                ("millivolt", models.BigIntegerField(null=True)),
                ("note", models.CharField(blank=True, default="", max_length=200)),
                ("at", models.DateTimeField()),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "replaces",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="replaced_by",
                        to="custody.cellreading",
                    ),
                ),
                (
                    "run",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="cell_readings", to="custody.run"
                    ),
                ),
            ],
            options={
                "ordering": ("run", "from_at"),
            },
        ),
        migrations.CreateModel(
            name="SampleSeal",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("seal", models.CharField(max_length=60)),
                (
                    "purpose",
                    models.CharField(
                        choices=[
                            ("laboratory", "laboratory"),
                            ("customer", "customer"),
                            ("umpire", "umpire"),
                            ("reserve", "reserve"),
                        ],
                        max_length=20,
                    ),
                ),
                ("note", models.CharField(default="", max_length=300)),
                ("at", models.DateTimeField()),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="seals", to="custody.lot"
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="Scale",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.CharField(max_length=30, unique=True)),
                ("name", models.CharField(max_length=120)),
                (
                    "accuracy",
                    models.CharField(
                        choices=[
                            (custody.calc.scales.Accuracy["I"], custody.calc.scales.Accuracy["I"]),
                            (custody.calc.scales.Accuracy["II"], custody.calc.scales.Accuracy["II"]),
                            (custody.calc.scales.Accuracy["III"], custody.calc.scales.Accuracy["III"]),
                            (custody.calc.scales.Accuracy["IIII"], custody.calc.scales.Accuracy["IIII"]),
                        ],
                        max_length=4,
                    ),
                ),
                ("e_mg", models.BigIntegerField()),
                ("d_ug", models.BigIntegerField()),
                ("min_ug", models.BigIntegerField()),
                ("max_mg", models.BigIntegerField()),
                ("active", models.BooleanField(default=True)),
                ("entered_at", models.DateTimeField(auto_now_add=True)),
                (
                    "entered_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="scales", to="custody.place"
                    ),
                ),
            ],
            options={
                "ordering": ("code",),
            },
        ),
        migrations.CreateModel(
            name="RefusedParcel",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("brought_by", models.CharField(max_length=200)),
                (
                    "identity_kind",
                    models.CharField(
                        choices=[
                            ("passport", "passport"),
                            ("identity card", "identity card"),
                            ("driving licence", "driving licence"),
                            ("residence permit", "residence permit"),
                            ("written authority", "written authority"),
                            ("known by sight", "known by sight"),
                        ],
                        default="",
                        max_length=30,
                    ),
                ),
                ("identity_number", models.CharField(default="", max_length=60)),
                (
                    "form",
                    models.CharField(
                        choices=[
                            ("dore", "doré"),
                            ("scrap", "scrap"),
                            ("jewellery", "jewellery"),
                            ("nuggets", "nuggets"),
                            ("sweeps", "sweeps"),
                            ("coin", "coin"),
                            ("industrial", "industrial"),
                            ("granules", "granules"),
                            ("melt", "melt"),
                            ("sample", "sample"),
                            ("slag", "slag"),
                            ("in process", "in process"),
                            ("gold sand", "gold sand"),
                            ("silver sand", "silver sand"),
                            ("silver chloride", "silver chloride"),
                            ("residue", "residue"),
                            ("solution", "solution"),
                            ("anode", "anode"),
                            ("cathode", "cathode"),
                            ("slimes", "slimes"),
                            ("cement copper", "cement copper"),
                            ("cake", "cake"),
                            ("strip", "strip"),
                            ("blank", "blank"),
                            ("skeleton", "skeleton"),
                            ("filings", "filings"),
                            ("bar", "bar"),
                            ("crucible", "crucible"),
                            ("filter", "filter"),
                            ("lining", "lining"),
                            ("sweepings", "sweepings"),
                            ("other", "other"),
                        ],
                        max_length=20,
                    ),
                ),
                ("description", models.CharField(default="", max_length=300)),
                ("gross_mg", models.BigIntegerField(null=True)),
                ("reason", models.CharField(max_length=300)),
                ("at", models.DateTimeField()),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "party",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.party"
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.place"
                    ),
                ),
                (
                    "receipt",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="refused",
                        to="custody.operation",
                    ),
                ),
                (
                    "scale",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.scale"
                    ),
                ),
            ],
            options={
                "ordering": ("-id",),
            },
        ),
        migrations.CreateModel(
            name="ScaleCheck",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.DateTimeField()),
                ("day", models.DateField()),
                ("passed", models.BooleanField()),
                ("reason", models.CharField(default="", max_length=300)),
                ("recorded_at", models.DateTimeField()),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "scale",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="checks", to="custody.scale"
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="ScaleCheckLoad",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("weights", models.CharField(max_length=300)),
                ("load_mg", models.BigIntegerField()),
                ("reference_ug", models.BigIntegerField()),
                ("reading_ug", models.BigIntegerField()),
                ("limit_ug", models.BigIntegerField()),
                (
                    "check_of",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="loads", to="custody.scalecheck"
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="ScaleReading",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("value_ug", models.BigIntegerField()),
                ("stable", models.BooleanField()),
                ("line", models.CharField(default="", max_length=120)),
                ("read_at", models.DateTimeField()),
                ("received_at", models.DateTimeField()),
                ("request_key", models.UUIDField(unique=True)),
                ("request_sha256", models.BinaryField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "scale",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="readings", to="custody.scale"
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="SealedResult",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "side",
                    models.CharField(
                        choices=[("refinery", "refinery"), ("customer", "customer"), ("umpire", "umpire")],
                        max_length=10,
                    ),
                ),
                ("au_ppm", models.IntegerField(null=True)),
                ("ag_ppm", models.IntegerField(null=True)),
                ("pt_ppm", models.IntegerField(null=True)),
                ("pd_ppm", models.IntegerField(null=True)),
                ("laboratory", models.CharField(max_length=200)),
                ("reference", models.CharField(default="", max_length=120)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "determination",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="custody.determination",
                    ),
                ),
                (
                    "exchange",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.exchange"
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="SerialEvent",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("mark", models.CharField(max_length=20)),
                ("year", models.SmallIntegerField()),
                ("serial", models.CharField(max_length=40)),
                (
                    "fate",
                    models.CharField(
                        choices=[("reserved", "reserved"), ("freed", "freed"), ("spoiled", "spoiled")], max_length=20
                    ),
                ),
                ("reason", models.CharField(max_length=300)),
                ("at", models.DateTimeField()),
                ("request_key", models.UUIDField(null=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="SerialRange",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("mark", models.CharField(max_length=20)),
                ("year", models.SmallIntegerField()),
                ("head", models.CharField(blank=True, default="", max_length=20)),
                ("width", models.PositiveSmallIntegerField()),
                ("first", models.BigIntegerField()),
                ("last", models.BigIntegerField()),
                ("set_at", models.DateTimeField()),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "bar_type",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="ranges",
                        to="custody.bartype",
                    ),
                ),
                (
                    "set_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ("year", "mark", "head", "first"),
            },
        ),
        migrations.CreateModel(
            name="Settlement",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=40, unique=True)),
                ("outturn", models.CharField(choices=[("money", "money"), ("metal", "metal")], max_length=10)),
                ("currency", models.CharField(max_length=3)),
                ("charges", models.DecimalField(decimal_places=2, max_digits=16)),
                ("total", models.DecimalField(decimal_places=2, max_digits=16)),
                ("reason", models.TextField(default="")),
                ("note", models.TextField(default="")),
                ("approval_meaning", models.CharField(max_length=200)),
                ("request_key", models.UUIDField(null=True, unique=True)),
                ("issued_at", models.DateTimeField()),
                (
                    "approved_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "corrects",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="corrected_by",
                        to="custody.settlement",
                    ),
                ),
                (
                    "party",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="settlements", to="custody.party"
                    ),
                ),
                (
                    "prepared_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "receipt",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="settlements", to="custody.operation"
                    ),
                ),
            ],
            options={
                "ordering": ("-id",),
            },
        ),
        migrations.CreateModel(
            name="Document",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("receipt", "receipt"),
                            ("lot labels", "lot labels"),
                            ("settlement statement", "settlement statement"),
                            ("bar certificate", "bar certificate"),
                            ("trace report", "trace report"),
                            ("purchase note", "purchase note"),
                            ("collection note", "collection note"),
                            ("return note", "return note"),
                            ("paper slips", "paper slips"),
                            ("assay certificate", "assay certificate"),
                            ("batch sheet", "batch sheet"),
                            ("bar list", "bar list"),
                            ("box list", "box list"),
                            ("dispatch note", "dispatch note"),
                            ("count sheet", "count sheet"),
                        ],
                        max_length=30,
                    ),
                ),
                ("title", models.CharField(max_length=200)),
                ("sha256", models.CharField(max_length=64)),
                ("size", models.PositiveIntegerField()),
                ("copy_no", models.PositiveSmallIntegerField(default=1)),
                ("issued_at", models.DateTimeField()),
                (
                    "issued_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="documents",
                        to="custody.operation",
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="documents",
                        to="custody.lot",
                    ),
                ),
                (
                    "party",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="documents",
                        to="custody.party",
                    ),
                ),
                (
                    "settlement",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="documents",
                        to="custody.settlement",
                    ),
                ),
            ],
            options={
                "ordering": ("-id",),
            },
        ),
        migrations.CreateModel(
            name="AccountEntry",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.DateTimeField()),
                ("mg", models.BigIntegerField()),
                (
                    "operation",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.operation"
                    ),
                ),
                (
                    "receipt",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="account_entries",
                        to="custody.operation",
                    ),
                ),
                (
                    "account",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="entries", to="custody.metalaccount"
                    ),
                ),
                (
                    "settlement",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="account_entries",
                        to="custody.settlement",
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="SettlementCharge",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("what", models.CharField(max_length=120)),
                ("formula", models.TextField()),
                ("amount", models.DecimalField(decimal_places=2, max_digits=16)),
                (
                    "settlement",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="charge_lines",
                        to="custody.settlement",
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="SettlementLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "metal",
                    models.CharField(
                        choices=[("Au", "Au"), ("Ag", "Ag"), ("Pt", "Pt"), ("Pd", "Pd"), ("Cu", "Cu")], max_length=2
                    ),
                ),
                ("content_mg", models.BigIntegerField()),
                ("payable_mg", models.BigIntegerField()),
                ("retained_mg", models.BigIntegerField()),
                ("returned_mg", models.BigIntegerField()),
                ("accountability_ppm", models.IntegerField()),
                ("price", models.DecimalField(decimal_places=4, max_digits=16, null=True)),
                ("price_unit", models.CharField(default="", max_length=10)),
                ("price_source", models.CharField(default="", max_length=120)),
                ("amount", models.DecimalField(decimal_places=2, default=0, max_digits=16)),
                ("formula", models.TextField(default="")),
                (
                    "settlement",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="custody.settlement"
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="SpoiledSlip",
            fields=[
                (
                    "slip",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        primary_key=True,
                        related_name="spoiled",
                        serialize=False,
                        to="custody.slip",
                    ),
                ),
                ("reason", models.CharField(max_length=300)),
                ("at", models.DateTimeField()),
            ],
        ),
        migrations.AddField(
            model_name="slip",
            name="document",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="slips", to="custody.document"
            ),
        ),
        migrations.AddField(
            model_name="slip",
            name="printed_by",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
            ),
        ),
        migrations.CreateModel(
            name="SolutionAssay",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=40, unique=True)),
                ("at", models.DateTimeField()),
                ("recorded_at", models.DateTimeField(auto_now_add=True)),
                ("method", models.CharField(max_length=60)),
                ("volume_ml", models.BigIntegerField()),
                ("density_mg_ml", models.IntegerField()),
                ("ph_centi", models.IntegerField(null=True)),
                ("note", models.CharField(blank=True, default="", max_length=300)),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="solution_assays", to="custody.lot"
                    ),
                ),
            ],
            options={
                "ordering": ("-id",),
            },
        ),
        migrations.CreateModel(
            name="SolutionAcceptance",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "operation",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="solution_acceptance",
                        to="custody.operation",
                    ),
                ),
                (
                    "assay",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="acceptance",
                        to="custody.solutionassay",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="SolutionFigure",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("substance", models.CharField(max_length=8)),
                ("ug_l", models.BigIntegerField()),
                ("below", models.BooleanField(default=False)),
                (
                    "assay",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="figures", to="custody.solutionassay"
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="StockCount",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=40, unique=True)),
                ("at", models.DateTimeField()),
                ("note", models.CharField(default="", max_length=300)),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="counts", to="custody.place"
                    ),
                ),
                (
                    "second",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ("-id",),
            },
        ),
        migrations.CreateModel(
            name="StockCountLine",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("book_mg", models.BigIntegerField()),
                ("last_movement", models.BigIntegerField()),
                ("found", models.BooleanField()),
                ("note", models.CharField(default="", max_length=200)),
                (
                    "count",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="custody.stockcount"
                    ),
                ),
                (
                    "custodian",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="counted", to="custody.lot"
                    ),
                ),
            ],
            options={
                "ordering": ("count", "id"),
            },
        ),
        migrations.CreateModel(
            name="StockCountStray",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("code", models.CharField(max_length=60)),
                ("note", models.CharField(default="", max_length=200)),
                (
                    "count",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="strays", to="custody.stockcount"
                    ),
                ),
                (
                    "custodian",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.lot"
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.place"
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Terms",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("valid_from", models.DateField()),
                ("currency", models.CharField(default="USD", max_length=3)),
                ("au_payable_ppm", models.IntegerField(default=990000)),
                ("ag_payable_ppm", models.IntegerField(default=950000)),
                ("pt_payable_ppm", models.IntegerField(default=0)),
                ("pd_payable_ppm", models.IntegerField(default=0)),
                ("cu_payable_ppm", models.IntegerField(default=0)),
                ("refining_charge_per_g", models.DecimalField(decimal_places=4, default=0, max_digits=12)),
                ("treatment_charge", models.DecimalField(decimal_places=2, default=0, max_digits=12)),
                ("minimum_charge", models.DecimalField(decimal_places=2, default=0, max_digits=12)),
                ("agreed_at", models.DateTimeField(auto_now_add=True)),
                (
                    "agreed_by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "party",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="terms", to="custody.party"
                    ),
                ),
            ],
            options={
                "verbose_name_plural": "terms",
                "ordering": ("party", "-valid_from", "-id"),
            },
        ),
        migrations.AddField(
            model_name="settlement",
            name="terms",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="settlements", to="custody.terms"
            ),
        ),
        migrations.CreateModel(
            name="VaultAccess",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=40, unique=True)),
                ("at", models.DateTimeField()),
                ("purpose", models.CharField(max_length=200)),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="accesses", to="custody.place"
                    ),
                ),
                (
                    "second",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
            options={
                "ordering": ("-id",),
            },
        ),
        migrations.CreateModel(
            name="VaultClosing",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.DateTimeField()),
                ("note", models.CharField(default="", max_length=300)),
                (
                    "access",
                    models.OneToOneField(
                        on_delete=django.db.models.deletion.PROTECT, related_name="closing", to="custody.vaultaccess"
                    ),
                ),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Vector",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("line", models.SmallIntegerField()),
                ("column_no", models.SmallIntegerField()),
                ("chunk", models.IntegerField()),
                ("total_mg", models.BigIntegerField()),
                ("origins", django.contrib.postgres.fields.ArrayField(base_field=models.IntegerField(), size=None)),
                ("mgs", django.contrib.postgres.fields.ArrayField(base_field=models.BigIntegerField(), size=None)),
                ("passing", models.BooleanField(db_default=False)),
                (
                    "operation",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="vectors",
                        to="custody.operation",
                    ),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Weighing",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("gross_mg", models.BigIntegerField()),
                ("tare_mg", models.BigIntegerField(default=0)),
                ("net_mg", models.BigIntegerField()),
                (
                    "purpose",
                    models.CharField(
                        choices=[
                            ("receipt", "receipt"),
                            ("handover", "handover"),
                            ("before melting", "before melting"),
                            ("after melting", "after melting"),
                            ("sample", "sample"),
                            ("step", "step"),
                            ("return", "return"),
                            ("gate", "gate"),
                            ("weighed again", "weighed again"),
                        ],
                        max_length=20,
                    ),
                ),
                ("request_key", models.UUIDField(null=True, unique=True)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "gross_reading",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="gross_of",
                        to="custody.scalereading",
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="weighings", to="custody.lot"
                    ),
                ),
                (
                    "operation",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="weighings",
                        to="custody.operation",
                    ),
                ),
                (
                    "scale",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="weighings", to="custody.scale"
                    ),
                ),
                (
                    "tare_reading",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="tare_of",
                        to="custody.scalereading",
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="Handover",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("at", models.DateTimeField()),
                ("book_mg", models.BigIntegerField()),
                ("weighed_mg", models.BigIntegerField(null=True)),
                ("allowed_ug", models.BigIntegerField(null=True)),
                ("not_weighed", models.CharField(default="", max_length=60)),
                ("seen", models.BooleanField(default=True)),
                ("explanation", models.CharField(default="", max_length=300)),
                ("countersigned_at", models.DateTimeField(null=True)),
                ("countersign_meaning", models.CharField(default="", max_length=200)),
                ("note", models.CharField(default="", max_length=300)),
                ("signed_at", models.DateTimeField(null=True)),
                ("request_key", models.UUIDField(null=True)),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "countersigned_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "from_person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "signed_by",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to=settings.AUTH_USER_MODEL,
                    ),
                ),
                (
                    "to_person",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="handovers", to="custody.lot"
                    ),
                ),
                (
                    "from_place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.place"
                    ),
                ),
                (
                    "to_place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.place"
                    ),
                ),
                (
                    "weighing",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="handover",
                        to="custody.weighing",
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="Worksheet",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("number", models.CharField(max_length=40, unique=True)),
                (
                    "method",
                    models.CharField(
                        choices=[
                            ("fire assay by cupellation", "fire assay by cupellation"),
                            ("fire assay, crucible fusion", "fire assay, crucible fusion"),
                            ("titration with sodium chloride", "titration with sodium chloride"),
                            ("potentiometric titration", "potentiometric titration"),
                            ("gravimetry", "gravimetry"),
                            ("ICP spectrometry", "ICP spectrometry"),
                            ("XRF indication", "XRF indication"),
                            ("density indication", "density indication"),
                            ("as declared", "as declared"),
                            ("exchange of assays", "exchange of assays"),
                        ],
                        max_length=60,
                    ),
                ),
                ("metal", models.CharField(max_length=2)),
                ("note", models.TextField(blank=True, default="")),
                ("at", models.DateTimeField()),
                ("request_key", models.UUIDField(null=True, unique=True)),
                (
                    "balance",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.scale"
                    ),
                ),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "place",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.place"
                    ),
                ),
            ],
            options={
                "ordering": ("-id",),
            },
        ),
        migrations.CreateModel(
            name="RepeatOrder",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("metal", models.CharField(default="", max_length=2)),
                ("spread_ppm", models.IntegerField(default=0)),
                ("allowed_ppm", models.IntegerField(default=0)),
                ("sentence", models.CharField(max_length=600)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "determination",
                    models.OneToOneField(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="repeat",
                        to="custody.determination",
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="repeats", to="custody.lot"
                    ),
                ),
                (
                    "worksheet",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="repeats",
                        to="custody.worksheet",
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.AddField(
            model_name="determination",
            name="worksheet",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="determinations",
                to="custody.worksheet",
            ),
        ),
        migrations.CreateModel(
            name="WorksheetImport",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("name", models.CharField(max_length=200)),
                ("sha256", models.CharField(max_length=64)),
                ("text", models.TextField()),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "worksheet",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="imports", to="custody.worksheet"
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.CreateModel(
            name="WorksheetPiece",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                ("position", models.PositiveSmallIntegerField()),
                (
                    "role",
                    models.CharField(
                        choices=[
                            ("sample", "sample"),
                            ("silver sample", "silver sample"),
                            ("proof", "proof"),
                            ("silver proof", "silver proof"),
                            ("standard", "standard"),
                        ],
                        max_length=20,
                    ),
                ),
                (
                    "lot",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="pieces", to="custody.lot"
                    ),
                ),
                (
                    "proof_metal",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="pieces",
                        to="custody.proofmetal",
                    ),
                ),
                (
                    "sample",
                    models.ForeignKey(
                        null=True, on_delete=django.db.models.deletion.PROTECT, related_name="+", to="custody.lot"
                    ),
                ),
                (
                    "worksheet",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="pieces", to="custody.worksheet"
                    ),
                ),
            ],
            options={
                "ordering": ("worksheet", "position"),
            },
        ),
        migrations.CreateModel(
            name="WorksheetReading",
            fields=[
                ("id", models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name="ID")),
                (
                    "of",
                    models.CharField(
                        choices=[
                            ("portion", "portion"),
                            ("silver added", "silver added"),
                            ("bead", "bead"),
                            ("cornet", "cornet"),
                            ("silver chloride", "silver chloride"),
                            ("volume", "volume"),
                            ("impurity", "impurity"),
                            ("discarded", "discarded"),
                        ],
                        max_length=20,
                    ),
                ),
                ("element", models.CharField(default="", max_length=2)),
                ("value", models.BigIntegerField()),
                ("undetected", models.BooleanField(default=False)),
                ("reason", models.CharField(default="", max_length=300)),
                ("at", models.DateTimeField()),
                (
                    "by",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
                    ),
                ),
                (
                    "imported",
                    models.ForeignKey(
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="readings",
                        to="custody.worksheetimport",
                    ),
                ),
                (
                    "piece",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="readings",
                        to="custody.worksheetpiece",
                    ),
                ),
            ],
            options={
                "ordering": ("id",),
            },
        ),
        migrations.AddConstraint(
            model_name="bartype",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("least_mg__gt", 0),
                    ("least_ppm__gt", 0),
                    ("most_mg__gte", models.F("least_mg")),
                    ("least_ppm__lte", 1000000),
                    models.Q(("nominal_mg__isnull", True), ("nominal_mg", models.F("least_mg")), _connector="OR"),
                ),
                name="bar_type_weighs_something",
            ),
        ),
        migrations.AddField(
            model_name="delivery",
            name="replaces",
            field=models.OneToOneField(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="replaced_by",
                to="custody.operation",
            ),
        ),
        migrations.AddField(
            model_name="delivery",
            name="slip",
            field=models.OneToOneField(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="delivery", to="custody.slip"
            ),
        ),
        migrations.AddField(
            model_name="purchaseline",
            name="purchase",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="lines", to="custody.purchase"
            ),
        ),
        migrations.AddConstraint(
            model_name="effluentlimit",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("most__gte", 0),
                    models.Q(
                        ("least__isnull", True),
                        models.Q(("least__gte", 0), ("least__lte", models.F("most"))),
                        _connector="OR",
                    ),
                ),
                name="limit_of_something",
            ),
        ),
        migrations.AddField(
            model_name="parcel",
            name="returned_from",
            field=models.ForeignKey(
                null=True, on_delete=django.db.models.deletion.PROTECT, related_name="returned_as", to="custody.bar"
            ),
        ),
        migrations.AddConstraint(
            model_name="boxbar",
            constraint=models.UniqueConstraint(fields=("box", "lot"), name="once_in_a_box"),
        ),
        migrations.AddIndex(
            model_name="bar",
            index=models.Index(fields=["serial"], name="bar_serial"),
        ),
        migrations.AddConstraint(
            model_name="bar",
            constraint=models.UniqueConstraint(
                condition=models.Q(("cancelled_by__isnull", True)),
                fields=("mark", "serial", "year"),
                name="unique_uncancelled_bar",
            ),
        ),
        migrations.AddConstraint(
            model_name="attachment",
            constraint=models.UniqueConstraint(fields=("receipt", "sha256"), name="one_attachment"),
        ),
        migrations.AddConstraint(
            model_name="metalaccount",
            constraint=models.UniqueConstraint(fields=("party", "metal"), name="one_metal_account"),
        ),
        migrations.AddConstraint(
            model_name="exchangeterms",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("ag_limit_ppm__range", (0, 1000000)),
                    ("au_limit_ppm__range", (0, 1000000)),
                    ("pd_limit_ppm__range", (0, 1000000)),
                    ("pt_limit_ppm__range", (0, 1000000)),
                ),
                name="splitting_limits",
            ),
        ),
        migrations.AddConstraint(
            model_name="exchangeterms",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "rule__in",
                        [
                            custody.calc.exchange.UmpireRule["FINAL"],
                            custody.calc.exchange.UmpireRule["NEARER"],
                            custody.calc.exchange.UmpireRule["MEAN"],
                        ],
                    )
                ),
                name="umpire_rule",
            ),
        ),
        migrations.AddConstraint(
            model_name="exchangeterms",
            constraint=models.CheckConstraint(
                condition=models.Q(("umpire", models.F("party")), _negated=True), name="umpire_is_a_third"
            ),
        ),
        migrations.AddField(
            model_name="vessel",
            name="overflows_to",
            field=models.ForeignKey(
                null=True,
                on_delete=django.db.models.deletion.PROTECT,
                related_name="overflows_from",
                to="custody.place",
            ),
        ),
        migrations.AddIndex(
            model_name="movement",
            index=models.Index(fields=["lot", "content_before"], name="movement_of_lot"),
        ),
        migrations.AddIndex(
            model_name="movement",
            index=models.Index(
                condition=models.Q(("origin__isnull", False)), fields=["origin"], name="movement_of_origin"
            ),
        ),
        migrations.AddConstraint(
            model_name="movement",
            constraint=models.UniqueConstraint(fields=("operation", "line"), name="one_line"),
        ),
        migrations.AddConstraint(
            model_name="priceconfirmation",
            constraint=models.CheckConstraint(
                condition=models.Q(("note", ""), _negated=True), name="price_confirmed_in_words"
            ),
        ),
        migrations.AddIndex(
            model_name="price",
            index=models.Index(fields=["metal", "currency", "fixing", "day"], name="prices_by_day"),
        ),
        migrations.AddConstraint(
            model_name="price",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("amount__gt", 0),
                    ("amount__lt", 1000000000),
                    ("metal__in", ("Au", "Ag", "Pt", "Pd", "Cu")),
                    ("per__in", [custody.calc.rates.Unit["GRAM"], custody.calc.rates.Unit["TROY_OUNCE"]]),
                    ("currency__regex", "^[A-Z]{3}$"),
                    ("fixing__regex", "^[^\\sA-Z]+( [^\\sA-Z]+)*$"),
                    models.Q(("source", ""), _negated=True),
                ),
                name="price_of_something",
            ),
        ),
        migrations.AddConstraint(
            model_name="price",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(("reason", ""), ("replaces__isnull", True)),
                    models.Q(("replaces__isnull", False), models.Q(("reason", ""), _negated=True)),
                    _connector="OR",
                ),
                name="price_replaced_with_a_reason",
            ),
        ),
        migrations.AddConstraint(
            model_name="price",
            constraint=models.UniqueConstraint(
                condition=models.Q(("replaces__isnull", True)),
                fields=("metal", "currency", "fixing", "day"),
                name="one_first_price",
            ),
        ),
        migrations.AddConstraint(
            model_name="pricelimit",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("jump_ppm__gt", 0), ("jump_ppm__lte", 1000000), ("metal__in", ("Au", "Ag", "Pt", "Pd", "Cu"))
                ),
                name="price_limit_of_something",
            ),
        ),
        migrations.AddConstraint(
            model_name="rolegrant",
            constraint=models.UniqueConstraint(fields=("user", "role"), name="one_grant_per_role"),
        ),
        migrations.AddConstraint(
            model_name="routeorder",
            constraint=models.CheckConstraint(
                condition=models.Q(("steps__len__gt", 0), ("wanted_ppm__gt", 0), ("wanted_ppm__lte", 1000000)),
                name="route_of_something",
            ),
        ),
        migrations.AddConstraint(
            model_name="routeorder",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("steps", models.F("advised")), models.Q(("note", ""), _negated=True), _connector="OR"
                ),
                name="own_route_says_why",
            ),
        ),
        migrations.AddConstraint(
            model_name="routeorderlot",
            constraint=models.UniqueConstraint(fields=("order", "lot"), name="one_line_per_lot"),
        ),
        migrations.AddIndex(
            model_name="operation",
            index=models.Index(fields=["day"], name="operation_day"),
        ),
        migrations.AddIndex(
            model_name="operation",
            index=models.Index(
                condition=models.Q(("party__isnull", False)), fields=["party"], name="operation_of_party"
            ),
        ),
        migrations.AddIndex(
            model_name="operation",
            index=models.Index(condition=models.Q(("run__isnull", False)), fields=["run"], name="operation_of_run"),
        ),
        migrations.AddIndex(
            model_name="operation",
            index=models.Index(
                condition=models.Q(("acceptance__isnull", False)), fields=["acceptance"], name="operation_of_acceptance"
            ),
        ),
        migrations.AddConstraint(
            model_name="operation",
            constraint=models.UniqueConstraint(fields=("number",), name="operation_number"),
        ),
        migrations.AddConstraint(
            model_name="operation",
            constraint=models.UniqueConstraint(
                condition=models.Q(("request_key__isnull", False)), fields=("request_key",), name="one_request"
            ),
        ),
        migrations.AddIndex(
            model_name="lot",
            index=models.Index(condition=models.Q(("gross_mg__gt", 0)), fields=["place", "id"], name="lot_in_place"),
        ),
        migrations.AddIndex(
            model_name="lot",
            index=models.Index(
                condition=models.Q(("gross_mg__gt", 0)), fields=["custodian", "id"], name="lot_of_custodian"
            ),
        ),
        migrations.AddIndex(
            model_name="lot",
            index=models.Index(
                condition=models.Q(("receipt__isnull", False)), fields=["receipt"], name="lot_of_receipt"
            ),
        ),
        migrations.AddIndex(
            model_name="lot",
            index=models.Index(condition=models.Q(("owner__isnull", False)), fields=["owner"], name="lot_of_owner"),
        ),
        migrations.AddIndex(
            model_name="lot",
            index=models.Index(condition=models.Q(("run__isnull", False)), fields=["run"], name="lot_of_run"),
        ),
        migrations.AddConstraint(
            model_name="lot",
            constraint=models.UniqueConstraint(fields=("number",), name="lot_number"),
        ),
        migrations.AddConstraint(
            model_name="cellreading",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("milliampere__gte", 0),
                    ("to_at__gt", models.F("from_at")),
                    models.Q(("millivolt__isnull", True), ("millivolt__gte", 0), _connector="OR"),
                ),
                name="current_over_a_time",
            ),
        ),
        migrations.AddConstraint(
            model_name="cellreading",
            constraint=models.CheckConstraint(
                condition=models.Q(("replaces__isnull", True), models.Q(("note", ""), _negated=True), _connector="OR"),
                name="replaced_with_a_reason",
            ),
        ),
        migrations.AddConstraint(
            model_name="scale",
            constraint=models.CheckConstraint(
                condition=models.Q(("d_ug__gt", 0), ("e_mg__gt", 0), ("max_mg__gt", 0), ("min_ug__gt", 0)),
                name="scale_has_a_plate",
            ),
        ),
        migrations.AddIndex(
            model_name="scalecheck",
            index=models.Index(fields=["scale", "day", "at", "id"], name="check_of_scale"),
        ),
        migrations.AddIndex(
            model_name="scalereading",
            index=models.Index(fields=["scale", "-id"], name="reading_of_scale"),
        ),
        migrations.AddConstraint(
            model_name="sealedresult",
            constraint=models.UniqueConstraint(fields=("exchange", "side"), name="one_result_per_side"),
        ),
        migrations.AddIndex(
            model_name="serialevent",
            index=models.Index(fields=["mark", "year", "serial"], name="event_of_serial"),
        ),
        migrations.AddConstraint(
            model_name="serialrange",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("first__gte", 0), ("last__gte", models.F("first")), ("width__gt", 0), ("width__lte", 12)
                ),
                name="range_of_serials",
            ),
        ),
        migrations.AddConstraint(
            model_name="settlementline",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "content_mg",
                        django.db.models.expressions.CombinedExpression(
                            django.db.models.expressions.CombinedExpression(
                                models.F("payable_mg"), "+", models.F("retained_mg")
                            ),
                            "+",
                            models.F("returned_mg"),
                        ),
                    ),
                    ("payable_mg__gte", 0),
                    ("returned_mg__gte", 0),
                ),
                name="settled_once_and_whole",
            ),
        ),
        migrations.AddConstraint(
            model_name="settlementline",
            constraint=models.UniqueConstraint(fields=("settlement", "metal"), name="one_line_per_metal"),
        ),
        migrations.AddField(
            model_name="spoiledslip",
            name="by",
            field=models.ForeignKey(
                on_delete=django.db.models.deletion.PROTECT, related_name="+", to=settings.AUTH_USER_MODEL
            ),
        ),
        migrations.AddConstraint(
            model_name="solutionassay",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("density_mg_ml__gt", 0),
                    ("volume_ml__gt", 0),
                    models.Q(
                        ("ph_centi__isnull", True),
                        models.Q(("ph_centi__gte", -200), ("ph_centi__lte", 1600)),
                        _connector="OR",
                    ),
                ),
                name="solution_of_something",
            ),
        ),
        migrations.AddConstraint(
            model_name="solutionfigure",
            constraint=models.UniqueConstraint(fields=("assay", "substance"), name="one_figure_per_substance"),
        ),
        migrations.AddConstraint(
            model_name="solutionfigure",
            constraint=models.CheckConstraint(condition=models.Q(("ug_l__gte", 0)), name="figure_not_negative"),
        ),
        migrations.AddConstraint(
            model_name="stockcount",
            constraint=models.CheckConstraint(
                condition=models.Q(("by", models.F("second")), _negated=True), name="counted_by_two"
            ),
        ),
        migrations.AddConstraint(
            model_name="stockcountline",
            constraint=models.UniqueConstraint(fields=("count", "lot"), name="counted_once"),
        ),
        migrations.AddConstraint(
            model_name="vaultaccess",
            constraint=models.CheckConstraint(
                condition=models.Q(("by", models.F("second")), _negated=True), name="vault_opened_by_two"
            ),
        ),
        migrations.AddConstraint(
            model_name="vector",
            constraint=models.UniqueConstraint(fields=("operation", "line", "column_no", "chunk"), name="one_chunk"),
        ),
        migrations.AddIndex(
            model_name="weighing",
            index=models.Index(fields=["scale", "at"], name="weighing_on_scale"),
        ),
        migrations.AddConstraint(
            model_name="weighing",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    (
                        "net_mg",
                        django.db.models.expressions.CombinedExpression(models.F("gross_mg"), "-", models.F("tare_mg")),
                    ),
                    ("net_mg__gte", 0),
                    ("tare_mg__gte", 0),
                ),
                name="net_is_gross_less_tare",
            ),
        ),
        migrations.AddConstraint(
            model_name="handover",
            constraint=models.UniqueConstraint(
                condition=models.Q(("request_key__isnull", False)), fields=("request_key", "lot"), name="one_handover"
            ),
        ),
        migrations.AddConstraint(
            model_name="handover",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("weighed_mg__isnull", False), models.Q(("not_weighed", ""), _negated=True), _connector="OR"
                ),
                name="weighed_or_says_why_not",
            ),
        ),
        migrations.AddConstraint(
            model_name="repeatorder",
            constraint=models.UniqueConstraint(fields=("worksheet", "lot", "metal"), name="one_repeat_order"),
        ),
        migrations.AddConstraint(
            model_name="repeatorder",
            constraint=models.CheckConstraint(
                condition=models.Q(("worksheet__isnull", False), ("determination__isnull", False), _connector="OR"),
                name="repeat_order_of_something",
            ),
        ),
        migrations.AddConstraint(
            model_name="determination",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    ("ag_ppm__gte", 0),
                    ("au_ppm__gte", 0),
                    ("cu_ppm__gte", 0),
                    ("pd_ppm__gte", 0),
                    ("pt_ppm__gte", 0),
                    (
                        "au_ppm__lte",
                        django.db.models.expressions.CombinedExpression(
                            django.db.models.expressions.CombinedExpression(
                                django.db.models.expressions.CombinedExpression(
                                    django.db.models.expressions.CombinedExpression(
                                        models.Value(1000000), "-", models.F("ag_ppm")
                                    ),
                                    "-",
                                    models.F("pt_ppm"),
                                ),
                                "-",
                                models.F("pd_ppm"),
                            ),
                            "-",
                            models.F("cu_ppm"),
                        ),
                    ),
                ),
                name="fineness_within_whole",
            ),
        ),
        migrations.AddConstraint(
            model_name="determination",
            constraint=models.UniqueConstraint(fields=("worksheet", "lot"), name="one_report_of_a_lot"),
        ),
        migrations.AddConstraint(
            model_name="worksheetimport",
            constraint=models.UniqueConstraint(fields=("worksheet", "sha256"), name="one_import_of_a_file"),
        ),
        migrations.AddConstraint(
            model_name="worksheetpiece",
            constraint=models.UniqueConstraint(fields=("worksheet", "position"), name="one_piece_per_position"),
        ),
        migrations.AddConstraint(
            model_name="worksheetpiece",
            constraint=models.CheckConstraint(
                condition=models.Q(
                    models.Q(
                        ("lot__isnull", False), ("proof_metal__isnull", True), ("role__in", ("sample", "silver sample"))
                    ),
                    models.Q(
                        models.Q(("role__in", ("sample", "silver sample")), _negated=True),
                        ("lot__isnull", True),
                        ("proof_metal__isnull", False),
                    ),
                    _connector="OR",
                ),
                name="piece_is_of_a_lot_or_a_proof",
            ),
        ),
        migrations.AddConstraint(
            model_name="worksheetreading",
            constraint=models.CheckConstraint(condition=models.Q(("value__gte", 0)), name="reading_not_negative"),
        ),
        migrations.AddConstraint(
            model_name="vessel",
            constraint=models.CheckConstraint(
                condition=models.Q(("capacity_ml__isnull", True), ("capacity_ml__gt", 0), _connector="OR"),
                name="vessel_holds_something",
            ),
        ),
        migrations.AddConstraint(
            model_name="vessel",
            constraint=models.CheckConstraint(
                condition=models.Q(("overflows_to", models.F("place")), _negated=True),
                name="vessel_overflows_elsewhere",
            ),
        ),
    ]
