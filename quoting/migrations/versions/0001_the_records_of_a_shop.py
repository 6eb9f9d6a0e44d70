"""The records of a shop."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "account_names",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("role", sa.String(length=24), nullable=False),
        sa.Column("detail", sa.String(length=200), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_account_names")),
        sa.UniqueConstraint(
            "role", "detail", name=op.f("uq_account_names_role_detail")
        ),
    )
    op.create_table(
        "answers",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("word", sa.String(length=200), nullable=False),
        sa.Column("codes", sa.String(length=400), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_answers")),
        sa.UniqueConstraint("word", name=op.f("uq_answers_word")),
    )
    op.create_table(
        "cash_counts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=20), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("counted", sa.BigInteger(), nullable=False),
        sa.Column("expected", sa.BigInteger(), nullable=False),
        sa.Column("banked", sa.BigInteger(), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_cash_counts")),
        sa.UniqueConstraint("number", name=op.f("uq_cash_counts_number")),
    )
    with op.batch_alter_table("cash_counts", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_cash_counts_on"), ["on"], unique=False)

    op.create_table(
        "changeovers",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("operations", sa.Text(), nullable=False),
        sa.Column("what", sa.String(length=300), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_changeovers")),
    )
    op.create_table(
        "customers",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=300), nullable=False),
        sa.Column("address", sa.Text(), nullable=False),
        sa.Column("phone", sa.String(length=80), nullable=False),
        sa.Column("email", sa.String(length=300), nullable=False),
        sa.Column("terms", sa.String(length=80), nullable=False),
        sa.Column("tax_number", sa.String(length=80), nullable=False),
        sa.Column("up_to", sa.BigInteger(), nullable=True),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.Column("postcode", sa.String(length=80), nullable=False),
        sa.Column("town", sa.String(length=200), nullable=False),
        sa.Column("country", sa.String(length=2), nullable=False),
        sa.Column("register_number", sa.String(length=80), nullable=False),
        sa.Column("collective", sa.Boolean(), nullable=False),
        sa.Column("certificate", sa.String(length=80), nullable=False),
        sa.Column("certified_by", sa.String(length=200), nullable=False),
        sa.Column("certified_until", sa.Date(), nullable=True),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_customers")),
    )
    with op.batch_alter_table("customers", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_customers_name"), ["name"], unique=False)

    op.create_table(
        "devices",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("token", sa.String(length=64), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_devices")),
        sa.UniqueConstraint("token", name=op.f("uq_devices_token")),
    )
    op.create_table(
        "earlier_jobs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("jobs", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.Column("content", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_earlier_jobs")),
        sa.UniqueConstraint("sha256", name=op.f("uq_earlier_jobs_sha256")),
    )
    op.create_table(
        "editions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("imported", sa.DateTime(), nullable=False),
        sa.Column("draft", sa.Boolean(), nullable=False),
        sa.Column("made_of_id", sa.Integer(), nullable=True),
        sa.Column("files", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["made_of_id"],
            ["editions.id"],
            name=op.f("fk_editions_made_of_id_editions"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_editions")),
        sa.UniqueConstraint("sha256", name=op.f("uq_editions_sha256")),
    )
    with op.batch_alter_table("editions", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_editions_valid_from"), ["valid_from"], unique=False
        )

    op.create_table(
        "known_heads",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("casting", sa.String(length=80), nullable=False),
        sa.Column("name", sa.String(length=300), nullable=False),
        sa.Column("layout", sa.String(length=80), nullable=False),
        sa.Column("sizes", sa.Text(), nullable=False),
        sa.Column("limits", sa.Text(), nullable=False),
        sa.Column("notes", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_known_heads")),
        sa.UniqueConstraint("casting", name=op.f("uq_known_heads_casting")),
    )
    op.create_table(
        "month_acts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("month", sa.String(length=7), nullable=False),
        sa.Column("act", sa.String(length=12), nullable=False),
        sa.Column("what", sa.String(length=8), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("sent", sa.LargeBinary(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_month_acts")),
    )
    with op.batch_alter_table("month_acts", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_month_acts_month"), ["month"], unique=False
        )

    op.create_table(
        "month_balances",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("month", sa.String(length=7), nullable=False),
        sa.Column("role", sa.String(length=24), nullable=False),
        sa.Column("detail", sa.String(length=200), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_month_balances")),
        sa.UniqueConstraint(
            "month",
            "role",
            "detail",
            "currency",
            name=op.f("uq_month_balances_month_role_detail_currency"),
        ),
    )
    op.create_table(
        "once",
        sa.Column("token", sa.String(length=64), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("result", sa.String(length=300), nullable=False),
        sa.PrimaryKeyConstraint("token", name=op.f("pk_once")),
    )
    op.create_table(
        "part_prices",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("part", sa.String(length=80), nullable=False),
        sa.Column("valid_from", sa.Date(), nullable=False),
        sa.Column("price", sa.BigInteger(), nullable=True),
        sa.Column("cost", sa.BigInteger(), nullable=True),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("supplier", sa.String(length=80), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_part_prices")),
        sa.UniqueConstraint(
            "part", "valid_from", name=op.f("uq_part_prices_part_valid_from")
        ),
    )
    op.create_table(
        "search_words",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column(
            "word",
            sa.String(length=80).with_variant(
                sa.String(length=80, collation="C"), "postgresql"
            ),
            nullable=False,
        ),
        sa.Column("subject", sa.String(length=20), nullable=False),
        sa.Column("subject_id", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_search_words")),
    )
    with op.batch_alter_table("search_words", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_search_words_subject_subject_id_word"),
            ["subject", "subject_id", "word"],
            unique=False,
        )
        batch_op.create_index(
            batch_op.f("ix_search_words_subject_word_subject_id"),
            ["subject", "word", "subject_id"],
            unique=False,
        )

    op.create_table(
        "series",
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("next", sa.Integer(), nullable=False),
        sa.Column("last_on", sa.Date(), nullable=True),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_series")),
    )
    op.create_table(
        "setup",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("secret", sa.String(length=200), nullable=False),
        sa.Column("zone", sa.String(length=60), nullable=False),
        sa.Column("confidence", sa.Integer(), nullable=False),
        sa.Column("by_machinist", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_setup")),
    )
    op.create_table(
        "sign_in_attempts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("who", sa.String(length=200), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_in_attempts")),
    )
    with op.batch_alter_table("sign_in_attempts", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_sign_in_attempts_who_at"), ["who", "at"], unique=False
        )

    op.create_table(
        "trail",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("who", sa.String(length=200), nullable=False),
        sa.Column("what", sa.String(length=80), nullable=False),
        sa.Column("subject", sa.String(length=40), nullable=False),
        sa.Column("subject_id", sa.Integer(), nullable=False),
        sa.Column("old", sa.Text(), nullable=False),
        sa.Column("new", sa.Text(), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("before", sa.String(length=64), nullable=False),
        sa.Column("seal", sa.String(length=64), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_trail")),
        sa.UniqueConstraint("before", name=op.f("uq_trail_before")),
        sa.UniqueConstraint("seal", name=op.f("uq_trail_seal")),
    )
    with op.batch_alter_table("trail", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_trail_subject_subject_id"),
            ["subject", "subject_id"],
            unique=False,
        )

    op.create_table(
        "users",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("sign_in", sa.String(length=80), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("initials", sa.String(length=80), nullable=False),
        sa.Column("password", sa.Text(), nullable=False),
        sa.Column("pin", sa.Text(), nullable=False),
        sa.Column("roles", sa.String(length=80), nullable=False),
        sa.Column("stamp", sa.String(length=40), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("shortcuts", sa.Boolean(), nullable=False),
        sa.Column("created", sa.DateTime(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_users")),
        sa.UniqueConstraint("sign_in", name=op.f("uq_users_sign_in")),
    )
    op.create_table(
        "contacts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=300), nullable=False),
        sa.Column("phone", sa.String(length=80), nullable=False),
        sa.Column("email", sa.String(length=300), nullable=False),
        sa.ForeignKeyConstraint(
            ["customer_id"],
            ["customers.id"],
            name=op.f("fk_contacts_customer_id_customers"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_contacts")),
    )
    with op.batch_alter_table("contacts", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_contacts_customer_id"), ["customer_id"], unique=False
        )

    op.create_table(
        "entries",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("event", sa.String(length=24), nullable=False),
        sa.Column("document_number", sa.String(length=20), nullable=False),
        sa.Column("line", sa.Integer(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("tax_date", sa.Date(), nullable=False),
        sa.Column("role", sa.String(length=24), nullable=False),
        sa.Column("detail", sa.String(length=200), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.Column("base", sa.BigInteger(), nullable=False),
        sa.Column("authority", sa.String(length=200), nullable=False),
        sa.Column("category", sa.String(length=8), nullable=False),
        sa.Column("rate", sa.String(length=20), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=True),
        sa.Column("narrative", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(
            ["customer_id"],
            ["customers.id"],
            name=op.f("fk_entries_customer_id_customers"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_entries")),
    )
    with op.batch_alter_table("entries", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_entries_document_number"), ["document_number"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_entries_on_currency"), ["on", "currency"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_entries_role_detail_on"),
            ["role", "detail", "on"],
            unique=False,
        )

    op.create_table(
        "learnings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.Column("why", sa.String(length=300), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("edition_id", sa.Integer(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("jobs", sa.Integer(), nullable=False),
        sa.Column("rows", sa.Integer(), nullable=False),
        sa.Column("milliseconds", sa.Integer(), nullable=False),
        sa.Column("good", sa.Boolean(), nullable=False),
        sa.Column("said", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["edition_id"],
            ["editions.id"],
            name=op.f("fk_learnings_edition_id_editions"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_learnings")),
    )
    with op.batch_alter_table("learnings", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_learnings_good_id"), ["good", "id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_learnings_sha256"), ["sha256"], unique=False
        )

    op.create_table(
        "quotes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=20), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=True),
        sa.Column("caller", sa.String(length=300), nullable=False),
        sa.Column("phone", sa.String(length=80), nullable=False),
        sa.Column("email", sa.String(length=300), nullable=False),
        sa.Column("order_number", sa.String(length=80), nullable=False),
        sa.Column("registration", sa.String(length=80), nullable=False),
        sa.Column("engine", sa.String(length=200), nullable=False),
        sa.Column("casting", sa.String(length=80), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=False),
        sa.Column("call_back", sa.Date(), nullable=True),
        sa.Column("arrives", sa.Date(), nullable=True),
        sa.Column("over_the_counter", sa.Boolean(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["customer_id"],
            ["customers.id"],
            name=op.f("fk_quotes_customer_id_customers"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quotes")),
        sa.UniqueConstraint("number", name=op.f("uq_quotes_number")),
    )
    with op.batch_alter_table("quotes", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_quotes_call_back"), ["call_back"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_quotes_casting"), ["casting"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_quotes_customer_id"), ["customer_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_quotes_state_on"), ["state", "on"], unique=False
        )

    op.create_table(
        "attempts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("quote_id", sa.Integer(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.Column("how", sa.String(length=40), nullable=False),
        sa.Column("outcome", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["quote_id"], ["quotes.id"], name=op.f("fk_attempts_quote_id_quotes")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_attempts")),
    )
    with op.batch_alter_table("attempts", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_attempts_quote_id"), ["quote_id"], unique=False
        )

    op.create_table(
        "papers",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("number", sa.String(length=40), nullable=False),
        sa.Column("quote_id", sa.Integer(), nullable=True),
        sa.Column("customer_id", sa.Integer(), nullable=True),
        sa.Column("title", sa.String(length=300), nullable=False),
        sa.Column("made", sa.Date(), nullable=False),
        sa.Column("sha256", sa.String(length=64), nullable=False),
        sa.Column("issued", sa.DateTime(), nullable=False),
        sa.Column("issued_by", sa.String(length=200), nullable=False),
        sa.Column("html", sa.Text(), nullable=False),
        sa.Column("pdf", sa.LargeBinary(), nullable=True),
        sa.ForeignKeyConstraint(
            ["customer_id"],
            ["customers.id"],
            name=op.f("fk_papers_customer_id_customers"),
        ),
        sa.ForeignKeyConstraint(
            ["quote_id"], ["quotes.id"], name=op.f("fk_papers_quote_id_quotes")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_papers")),
    )
    with op.batch_alter_table("papers", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_papers_customer_id_kind"),
            ["customer_id", "kind"],
            unique=False,
        )
        batch_op.create_index(
            batch_op.f("ix_papers_quote_id_kind"), ["quote_id", "kind"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_papers_sha256"), ["sha256"], unique=False)

    op.create_table(
        "revisions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("quote_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("edition_id", sa.Integer(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("valid_until", sa.Date(), nullable=False),
        sa.Column("ready", sa.Date(), nullable=True),
        sa.Column("said", sa.Text(), nullable=False),
        sa.Column("saved", sa.DateTime(), nullable=False),
        sa.Column("saved_by", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(
            ["edition_id"],
            ["editions.id"],
            name=op.f("fk_revisions_edition_id_editions"),
        ),
        sa.ForeignKeyConstraint(
            ["quote_id"], ["quotes.id"], name=op.f("fk_revisions_quote_id_quotes")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_revisions")),
        sa.UniqueConstraint(
            "quote_id", "number", name=op.f("uq_revisions_quote_id_number")
        ),
    )
    with op.batch_alter_table("revisions", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_revisions_edition_id"), ["edition_id"], unique=False
        )

    op.create_table(
        "documents",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("number", sa.String(length=20), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("supplied", sa.Date(), nullable=False),
        sa.Column("pay_by", sa.Date(), nullable=True),
        sa.Column("customer_id", sa.Integer(), nullable=True),
        sa.Column("quote_id", sa.Integer(), nullable=True),
        sa.Column("corrects_id", sa.Integer(), nullable=True),
        sa.Column("buyer", sa.String(length=300), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("net", sa.BigInteger(), nullable=False),
        sa.Column("tax", sa.BigInteger(), nullable=False),
        sa.Column("gross", sa.BigInteger(), nullable=False),
        sa.Column("deducted", sa.BigInteger(), nullable=False),
        sa.Column("left", sa.BigInteger(), nullable=False),
        sa.Column("settled", sa.Date(), nullable=True),
        sa.Column("reason", sa.String(length=80), nullable=False),
        sa.Column("because", sa.Text(), nullable=False),
        sa.Column("certificate", sa.String(length=80), nullable=False),
        sa.Column("issued", sa.DateTime(), nullable=False),
        sa.Column("issued_by", sa.String(length=200), nullable=False),
        sa.Column("no_xml", sa.String(length=300), nullable=False),
        sa.Column("paper_id", sa.Integer(), nullable=True),
        sa.Column("xml", sa.LargeBinary(), nullable=True),
        sa.Column("content", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["corrects_id"],
            ["documents.id"],
            name=op.f("fk_documents_corrects_id_documents"),
        ),
        sa.ForeignKeyConstraint(
            ["customer_id"],
            ["customers.id"],
            name=op.f("fk_documents_customer_id_customers"),
        ),
        sa.ForeignKeyConstraint(
            ["paper_id"], ["papers.id"], name=op.f("fk_documents_paper_id_papers")
        ),
        sa.ForeignKeyConstraint(
            ["quote_id"], ["quotes.id"], name=op.f("fk_documents_quote_id_quotes")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_documents")),
        sa.UniqueConstraint("number", name=op.f("uq_documents_number")),
    )
    with op.batch_alter_table("documents", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_documents_corrects_id"), ["corrects_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_documents_customer_id_settled"),
            ["customer_id", "settled"],
            unique=False,
        )
        batch_op.create_index(
            batch_op.f("ix_documents_on_kind"), ["on", "kind"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_documents_paper_id"), ["paper_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_documents_quote_id"), ["quote_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_documents_settled_on"), ["settled", "on"], unique=False
        )

    op.create_table(
        "payments",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=20), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=True),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("method", sa.String(length=40), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.Column("rounding", sa.BigInteger(), nullable=False),
        sa.Column("left", sa.BigInteger(), nullable=False),
        sa.Column("settled", sa.Date(), nullable=True),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.Column("paper_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["customer_id"],
            ["customers.id"],
            name=op.f("fk_payments_customer_id_customers"),
        ),
        sa.ForeignKeyConstraint(
            ["paper_id"], ["papers.id"], name=op.f("fk_payments_paper_id_papers")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_payments")),
        sa.UniqueConstraint("number", name=op.f("uq_payments_number")),
    )
    with op.batch_alter_table("payments", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_payments_customer_id_settled"),
            ["customer_id", "settled"],
            unique=False,
        )
        batch_op.create_index(batch_op.f("ix_payments_on"), ["on"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_payments_settled_on"), ["settled", "on"], unique=False
        )

    op.create_table(
        "ways",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("revision_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("label", sa.String(length=200), nullable=False),
        sa.Column("job", sa.Text(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("net", sa.BigInteger(), nullable=False),
        sa.Column("tax", sa.BigInteger(), nullable=False),
        sa.Column("total", sa.BigInteger(), nullable=False),
        sa.Column("condemned", sa.BigInteger(), nullable=True),
        sa.Column("cost", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["revision_id"],
            ["revisions.id"],
            name=op.f("fk_ways_revision_id_revisions"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_ways")),
        sa.UniqueConstraint(
            "revision_id", "place", name=op.f("uq_ways_revision_id_place")
        ),
    )
    op.create_table(
        "approvals",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("quote_id", sa.Integer(), nullable=False),
        sa.Column("way_id", sa.Integer(), nullable=False),
        sa.Column("said_by", sa.String(length=300), nullable=False),
        sa.Column("how", sa.String(length=40), nullable=False),
        sa.Column("said_at", sa.DateTime(), nullable=False),
        sa.Column("up_to", sa.BigInteger(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("note", sa.Text(), nullable=False),
        sa.Column("recorded", sa.DateTime(), nullable=False),
        sa.Column("recorded_by", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(
            ["quote_id"], ["quotes.id"], name=op.f("fk_approvals_quote_id_quotes")
        ),
        sa.ForeignKeyConstraint(
            ["way_id"], ["ways.id"], name=op.f("fk_approvals_way_id_ways")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_approvals")),
    )
    with op.batch_alter_table("approvals", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_approvals_quote_id"), ["quote_id"], unique=False
        )

    op.create_table(
        "deposits",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("quote_id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=20), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("method", sa.String(length=40), nullable=False),
        sa.Column("taken", sa.DateTime(), nullable=False),
        sa.Column("taken_by", sa.String(length=200), nullable=False),
        sa.Column("held", sa.BigInteger(), nullable=False),
        sa.Column("document_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["document_id"],
            ["documents.id"],
            name=op.f("fk_deposits_document_id_documents"),
        ),
        sa.ForeignKeyConstraint(
            ["quote_id"], ["quotes.id"], name=op.f("fk_deposits_quote_id_quotes")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_deposits")),
        sa.UniqueConstraint("number", name=op.f("uq_deposits_number")),
    )
    with op.batch_alter_table("deposits", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_deposits_held"), ["held"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_deposits_quote_id"), ["quote_id"], unique=False
        )

    op.create_table(
        "document_codes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("document_id", sa.Integer(), nullable=False),
        sa.Column("code", sa.String(length=80), nullable=False),
        sa.Column("net", sa.BigInteger(), nullable=False),
        sa.Column("tax", sa.BigInteger(), nullable=False),
        sa.Column("before_net", sa.BigInteger(), nullable=False),
        sa.Column("before_tax", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["document_id"],
            ["documents.id"],
            name=op.f("fk_document_codes_document_id_documents"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_document_codes")),
        sa.UniqueConstraint(
            "document_id", "code", name=op.f("uq_document_codes_document_id_code")
        ),
    )
    op.create_table(
        "document_lines",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("document_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("code", sa.String(length=80), nullable=False),
        sa.Column("description", sa.Text(), nullable=False),
        sa.Column("income", sa.String(length=40), nullable=False),
        sa.Column("work", sa.String(length=20), nullable=False),
        sa.Column("net", sa.BigInteger(), nullable=False),
        sa.Column("tax", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["document_id"],
            ["documents.id"],
            name=op.f("fk_document_lines_document_id_documents"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_document_lines")),
        sa.UniqueConstraint(
            "document_id", "place", name=op.f("uq_document_lines_document_id_place")
        ),
    )
    op.create_table(
        "document_taxes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("document_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("authority", sa.String(length=200), nullable=False),
        sa.Column("category", sa.String(length=8), nullable=False),
        sa.Column("rate", sa.String(length=20), nullable=False),
        sa.Column("label", sa.String(length=200), nullable=False),
        sa.Column("reason", sa.Text(), nullable=False),
        sa.Column("base", sa.BigInteger(), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.Column("before_base", sa.BigInteger(), nullable=False),
        sa.Column("before_tax", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["document_id"],
            ["documents.id"],
            name=op.f("fk_document_taxes_document_id_documents"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_document_taxes")),
        sa.UniqueConstraint(
            "document_id", "place", name=op.f("uq_document_taxes_document_id_place")
        ),
    )
    op.create_table(
        "foretold",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("way_id", sa.Integer(), nullable=False),
        sa.Column("learning_id", sa.Integer(), nullable=False),
        sa.Column("minutes", sa.Text(), nullable=False),
        sa.Column("low", sa.BigInteger(), nullable=True),
        sa.Column("likely", sa.BigInteger(), nullable=True),
        sa.Column("high", sa.BigInteger(), nullable=True),
        sa.Column("told", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["learning_id"],
            ["learnings.id"],
            name=op.f("fk_foretold_learning_id_learnings"),
        ),
        sa.ForeignKeyConstraint(
            ["way_id"], ["ways.id"], name=op.f("fk_foretold_way_id_ways")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_foretold")),
        sa.UniqueConstraint("way_id", name=op.f("uq_foretold_way_id")),
    )
    op.create_table(
        "given_up",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=20), nullable=False),
        sa.Column("how", sa.String(length=24), nullable=False),
        sa.Column("document_id", sa.Integer(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("gross", sa.BigInteger(), nullable=False),
        sa.Column("tax", sa.BigInteger(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(
            ["document_id"],
            ["documents.id"],
            name=op.f("fk_given_up_document_id_documents"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_given_up")),
        sa.UniqueConstraint("number", name=op.f("uq_given_up_number")),
    )
    with op.batch_alter_table("given_up", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_given_up_document_id"), ["document_id"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_given_up_on"), ["on"], unique=False)

    op.create_table(
        "orders",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=20), nullable=False),
        sa.Column("quote_id", sa.Integer(), nullable=False),
        sa.Column("way_id", sa.Integer(), nullable=False),
        sa.Column("customer_id", sa.Integer(), nullable=False),
        sa.Column("state", sa.String(length=20), nullable=False),
        sa.Column("batch", sa.String(length=80), nullable=False),
        sa.Column("booked", sa.DateTime(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("promised", sa.Date(), nullable=True),
        sa.Column("up_to", sa.BigInteger(), nullable=True),
        sa.Column("second_contact", sa.String(length=300), nullable=False),
        sa.Column("waits_for", sa.String(length=80), nullable=False),
        sa.Column("waits_since", sa.Date(), nullable=True),
        sa.Column("next_step", sa.String(length=300), nullable=False),
        sa.Column("ready", sa.Date(), nullable=True),
        sa.Column("told", sa.Date(), nullable=True),
        sa.Column("collected", sa.Date(), nullable=True),
        sa.Column("collected_by", sa.String(length=300), nullable=False),
        sa.Column("invoiced", sa.Boolean(), nullable=False),
        sa.Column("work", sa.Text(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["customer_id"],
            ["customers.id"],
            name=op.f("fk_orders_customer_id_customers"),
        ),
        sa.ForeignKeyConstraint(
            ["quote_id"], ["quotes.id"], name=op.f("fk_orders_quote_id_quotes")
        ),
        sa.ForeignKeyConstraint(
            ["way_id"], ["ways.id"], name=op.f("fk_orders_way_id_ways")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_orders")),
        sa.UniqueConstraint("number", name=op.f("uq_orders_number")),
        sa.UniqueConstraint("quote_id", name=op.f("uq_orders_quote_id")),
    )
    with op.batch_alter_table("orders", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_orders_batch"), ["batch"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_orders_customer_id"), ["customer_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_orders_invoiced_state"), ["invoiced", "state"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_orders_state_promised"), ["state", "promised"], unique=False
        )

    op.create_table(
        "surcharges_held",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("document_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("description", sa.Text(), nullable=False),
        sa.Column("net", sa.BigInteger(), nullable=False),
        sa.Column("held", sa.BigInteger(), nullable=False),
        sa.Column("tax_back", sa.Boolean(), nullable=False),
        sa.Column("return_by", sa.Date(), nullable=True),
        sa.Column("kept_on", sa.Date(), nullable=True),
        sa.Column("kept", sa.BigInteger(), nullable=False),
        sa.Column("kept_number", sa.String(length=20), nullable=False),
        sa.Column("kept_at", sa.DateTime(), nullable=True),
        sa.Column("kept_by", sa.String(length=200), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(
            ["document_id"],
            ["documents.id"],
            name=op.f("fk_surcharges_held_document_id_documents"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_surcharges_held")),
    )
    with op.batch_alter_table("surcharges_held", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_surcharges_held_document_id"), ["document_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_surcharges_held_held"), ["held"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_surcharges_held_kept_on"), ["kept_on"], unique=False
        )

    op.create_table(
        "way_lines",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("way_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("code", sa.String(length=80), nullable=False),
        sa.Column("description", sa.Text(), nullable=False),
        sa.Column("income", sa.String(length=20), nullable=False),
        sa.Column("quantity", sa.String(length=40), nullable=False),
        sa.Column("tax_code", sa.String(length=80), nullable=False),
        sa.Column("net", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["way_id"], ["ways.id"], name=op.f("fk_way_lines_way_id_ways")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_way_lines")),
        sa.UniqueConstraint("way_id", "place", name=op.f("uq_way_lines_way_id_place")),
    )
    op.create_table(
        "allocations",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("payment_id", sa.Integer(), nullable=True),
        sa.Column("credit_id", sa.Integer(), nullable=True),
        sa.Column("document_id", sa.Integer(), nullable=True),
        sa.Column("deposit_id", sa.Integer(), nullable=True),
        sa.Column("refund_id", sa.Integer(), nullable=True),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(
            ["credit_id"],
            ["documents.id"],
            name=op.f("fk_allocations_credit_id_documents"),
        ),
        sa.ForeignKeyConstraint(
            ["deposit_id"],
            ["deposits.id"],
            name=op.f("fk_allocations_deposit_id_deposits"),
        ),
        sa.ForeignKeyConstraint(
            ["document_id"],
            ["documents.id"],
            name=op.f("fk_allocations_document_id_documents"),
        ),
        sa.ForeignKeyConstraint(
            ["payment_id"],
            ["payments.id"],
            name=op.f("fk_allocations_payment_id_payments"),
        ),
        sa.ForeignKeyConstraint(
            ["refund_id"],
            ["payments.id"],
            name=op.f("fk_allocations_refund_id_payments"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_allocations")),
    )
    with op.batch_alter_table("allocations", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_allocations_credit_id"), ["credit_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_allocations_deposit_id"), ["deposit_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_allocations_document_id"), ["document_id"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_allocations_on"), ["on"], unique=False)
        batch_op.create_index(
            batch_op.f("ix_allocations_payment_id"), ["payment_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_allocations_refund_id"), ["refund_id"], unique=False
        )

    op.create_table(
        "clocked",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("operations", sa.Text(), nullable=False),
        sa.Column("minutes", sa.String(length=20), nullable=False),
        sa.Column("person", sa.String(length=200), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.Column("aside", sa.String(length=300), nullable=False),
        sa.ForeignKeyConstraint(
            ["order_id"], ["orders.id"], name=op.f("fk_clocked_order_id_orders")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_clocked")),
    )
    with op.batch_alter_table("clocked", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_clocked_order_id"), ["order_id"], unique=False
        )

    op.create_table(
        "deposit_moves",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("number", sa.String(length=20), nullable=False),
        sa.Column("deposit_id", sa.Integer(), nullable=False),
        sa.Column("how", sa.String(length=20), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("gross", sa.BigInteger(), nullable=False),
        sa.Column("tax_before", sa.BigInteger(), nullable=False),
        sa.Column("tax_now", sa.BigInteger(), nullable=False),
        sa.Column("document_id", sa.Integer(), nullable=True),
        sa.Column("quote_id", sa.Integer(), nullable=True),
        sa.Column("method", sa.String(length=40), nullable=False),
        sa.Column("why", sa.Text(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(
            ["deposit_id"],
            ["deposits.id"],
            name=op.f("fk_deposit_moves_deposit_id_deposits"),
        ),
        sa.ForeignKeyConstraint(
            ["document_id"],
            ["documents.id"],
            name=op.f("fk_deposit_moves_document_id_documents"),
        ),
        sa.ForeignKeyConstraint(
            ["quote_id"], ["quotes.id"], name=op.f("fk_deposit_moves_quote_id_quotes")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_deposit_moves")),
    )
    with op.batch_alter_table("deposit_moves", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_deposit_moves_deposit_id"), ["deposit_id"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_deposit_moves_on"), ["on"], unique=False)

    op.create_table(
        "found",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("finding", sa.String(length=80), nullable=False),
        sa.Column("at_risk", sa.Integer(), nullable=False),
        sa.Column("affected", sa.Integer(), nullable=False),
        sa.Column("on", sa.Date(), nullable=False),
        sa.Column("at", sa.DateTime(), nullable=False),
        sa.Column("by", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(
            ["order_id"], ["orders.id"], name=op.f("fk_found_order_id_orders")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_found")),
        sa.UniqueConstraint(
            "order_id", "finding", name=op.f("uq_found_order_id_finding")
        ),
    )
    op.create_table(
        "order_heads",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("known_head_id", sa.Integer(), nullable=True),
        sa.Column("tag", sa.String(length=8), nullable=False),
        sa.Column("label", sa.String(length=80), nullable=False),
        sa.Column("layout", sa.String(length=300), nullable=False),
        sa.Column("casting", sa.String(length=80), nullable=False),
        sa.Column("condition", sa.String(length=200), nullable=False),
        sa.Column("came_with", sa.Text(), nullable=False),
        sa.Column("remarks", sa.Text(), nullable=False),
        sa.Column("stands", sa.String(length=120), nullable=False),
        sa.Column("condemned", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["known_head_id"],
            ["known_heads.id"],
            name=op.f("fk_order_heads_known_head_id_known_heads"),
        ),
        sa.ForeignKeyConstraint(
            ["order_id"], ["orders.id"], name=op.f("fk_order_heads_order_id_orders")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_order_heads")),
        sa.UniqueConstraint(
            "order_id", "tag", name=op.f("uq_order_heads_order_id_tag")
        ),
    )
    with op.batch_alter_table("order_heads", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_order_heads_known_head_id"), ["known_head_id"], unique=False
        )

    op.create_table(
        "order_steps",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("operation", sa.String(length=80), nullable=False),
        sa.Column("phase", sa.String(length=80), nullable=False),
        sa.Column("centre", sa.String(length=80), nullable=False),
        sa.Column("minutes", sa.String(length=20), nullable=False),
        sa.Column("positions", sa.Text(), nullable=False),
        sa.Column("gate", sa.Boolean(), nullable=False),
        sa.ForeignKeyConstraint(
            ["order_id"], ["orders.id"], name=op.f("fk_order_steps_order_id_orders")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_order_steps")),
        sa.UniqueConstraint(
            "order_id", "place", name=op.f("uq_order_steps_order_id_place")
        ),
    )
    op.create_table(
        "orders_invoiced",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("document_id", sa.Integer(), nullable=False),
        sa.Column("order_id", sa.Integer(), nullable=True),
        sa.Column("quote_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["document_id"],
            ["documents.id"],
            name=op.f("fk_orders_invoiced_document_id_documents"),
        ),
        sa.ForeignKeyConstraint(
            ["order_id"], ["orders.id"], name=op.f("fk_orders_invoiced_order_id_orders")
        ),
        sa.ForeignKeyConstraint(
            ["quote_id"], ["quotes.id"], name=op.f("fk_orders_invoiced_quote_id_quotes")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_orders_invoiced")),
    )
    with op.batch_alter_table("orders_invoiced", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_orders_invoiced_document_id"), ["document_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_orders_invoiced_order_id"), ["order_id"], unique=False
        )
        batch_op.create_index(
            batch_op.f("ix_orders_invoiced_quote_id"), ["quote_id"], unique=False
        )

    op.create_table(
        "photos",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("tag", sa.String(length=80), nullable=False),
        sa.Column("caption", sa.String(length=300), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("taken", sa.DateTime(), nullable=False),
        sa.Column("taken_by", sa.String(length=200), nullable=False),
        sa.Column("image", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["order_id"], ["orders.id"], name=op.f("fk_photos_order_id_orders")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photos")),
    )
    with op.batch_alter_table("photos", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_photos_order_id"), ["order_id"], unique=False
        )

    op.create_table(
        "allocation_taxes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("allocation_id", sa.Integer(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("base", sa.BigInteger(), nullable=False),
        sa.Column("amount", sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(
            ["allocation_id"],
            ["allocations.id"],
            name=op.f("fk_allocation_taxes_allocation_id_allocations"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_allocation_taxes")),
    )
    with op.batch_alter_table("allocation_taxes", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_allocation_taxes_allocation_id"),
            ["allocation_id"],
            unique=False,
        )

    op.create_table(
        "asks",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("order_id", sa.Integer(), nullable=False),
        sa.Column("revision_id", sa.Integer(), nullable=False),
        sa.Column("text", sa.Text(), nullable=False),
        sa.Column("photo_id", sa.Integer(), nullable=True),
        sa.Column("reply_by", sa.Date(), nullable=True),
        sa.Column("sent", sa.DateTime(), nullable=False),
        sa.Column("sent_by", sa.String(length=200), nullable=False),
        sa.ForeignKeyConstraint(
            ["order_id"], ["orders.id"], name=op.f("fk_asks_order_id_orders")
        ),
        sa.ForeignKeyConstraint(
            ["photo_id"], ["photos.id"], name=op.f("fk_asks_photo_id_photos")
        ),
        sa.ForeignKeyConstraint(
            ["revision_id"],
            ["revisions.id"],
            name=op.f("fk_asks_revision_id_revisions"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_asks")),
    )
    with op.batch_alter_table("asks", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_asks_order_id"), ["order_id"], unique=False
        )

    _guard_the_trail()


def downgrade() -> None:
    _drop_guards()
    with op.batch_alter_table("asks", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_asks_order_id"))

    op.drop_table("asks")
    with op.batch_alter_table("allocation_taxes", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_allocation_taxes_allocation_id"))

    op.drop_table("allocation_taxes")
    with op.batch_alter_table("photos", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_photos_order_id"))

    op.drop_table("photos")
    with op.batch_alter_table("orders_invoiced", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_orders_invoiced_quote_id"))
        batch_op.drop_index(batch_op.f("ix_orders_invoiced_order_id"))
        batch_op.drop_index(batch_op.f("ix_orders_invoiced_document_id"))

    op.drop_table("orders_invoiced")
    op.drop_table("order_steps")
    with op.batch_alter_table("order_heads", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_order_heads_known_head_id"))

    op.drop_table("order_heads")
    op.drop_table("found")
    with op.batch_alter_table("deposit_moves", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_deposit_moves_on"))
        batch_op.drop_index(batch_op.f("ix_deposit_moves_deposit_id"))

    op.drop_table("deposit_moves")
    with op.batch_alter_table("clocked", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_clocked_order_id"))

    op.drop_table("clocked")
    with op.batch_alter_table("allocations", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_allocations_refund_id"))
        batch_op.drop_index(batch_op.f("ix_allocations_payment_id"))
        batch_op.drop_index(batch_op.f("ix_allocations_on"))
        batch_op.drop_index(batch_op.f("ix_allocations_document_id"))
        batch_op.drop_index(batch_op.f("ix_allocations_deposit_id"))
        batch_op.drop_index(batch_op.f("ix_allocations_credit_id"))

    op.drop_table("allocations")
    op.drop_table("way_lines")
    with op.batch_alter_table("surcharges_held", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_surcharges_held_kept_on"))
        batch_op.drop_index(batch_op.f("ix_surcharges_held_held"))
        batch_op.drop_index(batch_op.f("ix_surcharges_held_document_id"))

    op.drop_table("surcharges_held")
    with op.batch_alter_table("orders", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_orders_state_promised"))
        batch_op.drop_index(batch_op.f("ix_orders_invoiced_state"))
        batch_op.drop_index(batch_op.f("ix_orders_customer_id"))
        batch_op.drop_index(batch_op.f("ix_orders_batch"))

    op.drop_table("orders")
    with op.batch_alter_table("given_up", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_given_up_on"))
        batch_op.drop_index(batch_op.f("ix_given_up_document_id"))

    op.drop_table("given_up")
    op.drop_table("foretold")
    op.drop_table("document_taxes")
    op.drop_table("document_lines")
    op.drop_table("document_codes")
    with op.batch_alter_table("deposits", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_deposits_quote_id"))
        batch_op.drop_index(batch_op.f("ix_deposits_held"))

    op.drop_table("deposits")
    with op.batch_alter_table("approvals", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_approvals_quote_id"))

    op.drop_table("approvals")
    op.drop_table("ways")
    with op.batch_alter_table("payments", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_payments_settled_on"))
        batch_op.drop_index(batch_op.f("ix_payments_on"))
        batch_op.drop_index(batch_op.f("ix_payments_customer_id_settled"))

    op.drop_table("payments")
    with op.batch_alter_table("documents", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_documents_settled_on"))
        batch_op.drop_index(batch_op.f("ix_documents_quote_id"))
        batch_op.drop_index(batch_op.f("ix_documents_paper_id"))
        batch_op.drop_index(batch_op.f("ix_documents_on_kind"))
        batch_op.drop_index(batch_op.f("ix_documents_customer_id_settled"))
        batch_op.drop_index(batch_op.f("ix_documents_corrects_id"))

    op.drop_table("documents")
    with op.batch_alter_table("revisions", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_revisions_edition_id"))

    op.drop_table("revisions")
    with op.batch_alter_table("papers", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_papers_sha256"))
        batch_op.drop_index(batch_op.f("ix_papers_quote_id_kind"))
        batch_op.drop_index(batch_op.f("ix_papers_customer_id_kind"))

    op.drop_table("papers")
    with op.batch_alter_table("attempts", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_attempts_quote_id"))

    op.drop_table("attempts")
    with op.batch_alter_table("quotes", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_quotes_state_on"))
        batch_op.drop_index(batch_op.f("ix_quotes_customer_id"))
        batch_op.drop_index(batch_op.f("ix_quotes_casting"))
        batch_op.drop_index(batch_op.f("ix_quotes_call_back"))

    op.drop_table("quotes")
    with op.batch_alter_table("learnings", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_learnings_sha256"))
        batch_op.drop_index(batch_op.f("ix_learnings_good_id"))

    op.drop_table("learnings")
    with op.batch_alter_table("entries", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_entries_role_detail_on"))
        batch_op.drop_index(batch_op.f("ix_entries_on_currency"))
        batch_op.drop_index(batch_op.f("ix_entries_document_number"))

    op.drop_table("entries")
    with op.batch_alter_table("contacts", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_contacts_customer_id"))

    op.drop_table("contacts")
    op.drop_table("users")
    with op.batch_alter_table("trail", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_trail_subject_subject_id"))

    op.drop_table("trail")
    with op.batch_alter_table("sign_in_attempts", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sign_in_attempts_who_at"))

    op.drop_table("sign_in_attempts")
    op.drop_table("setup")
    op.drop_table("series")
    with op.batch_alter_table("search_words", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_search_words_subject_word_subject_id"))
        batch_op.drop_index(batch_op.f("ix_search_words_subject_subject_id_word"))

    op.drop_table("search_words")
    op.drop_table("part_prices")
    op.drop_table("once")
    op.drop_table("month_balances")
    with op.batch_alter_table("month_acts", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_month_acts_month"))

    op.drop_table("month_acts")
    op.drop_table("known_heads")
    with op.batch_alter_table("editions", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_editions_valid_from"))

    op.drop_table("editions")
    op.drop_table("earlier_jobs")
    op.drop_table("devices")
    with op.batch_alter_table("customers", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_customers_name"))

    op.drop_table("customers")
    op.drop_table("changeovers")
    with op.batch_alter_table("cash_counts", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_cash_counts_on"))

    op.drop_table("cash_counts")
    op.drop_table("answers")
    op.drop_table("account_names")


def _guard_the_trail() -> None:
    """Refuse, in the database itself, to change or take out an entry of the trail."""
    if op.get_bind().dialect.name == "sqlite":
        for change in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER trail_refuses_{change.lower()} BEFORE {change} ON trail "
                "BEGIN SELECT RAISE(ABORT, 'entries of the trail are only ever added'); "
                "END"
            )
    else:
        op.execute(
            "CREATE FUNCTION trail_is_kept() RETURNS trigger LANGUAGE plpgsql AS $$ "
            "BEGIN RAISE EXCEPTION 'entries of the trail are only ever added' "
            "USING ERRCODE = 'restrict_violation'; END $$"
        )
        op.execute(
            "CREATE TRIGGER trail_is_kept BEFORE UPDATE OR DELETE OR TRUNCATE ON trail "
            "FOR EACH STATEMENT EXECUTE FUNCTION trail_is_kept()"
        )


def _drop_guards() -> None:
    if op.get_bind().dialect.name == "sqlite":
        for change in ("update", "delete"):
            op.execute(f"DROP TRIGGER trail_refuses_{change}")
    else:
        op.execute("DROP TRIGGER trail_is_kept ON trail")
        op.execute("DROP FUNCTION trail_is_kept()")
