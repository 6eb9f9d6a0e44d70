"""How Alembic reaches the database: the open transaction that it is given."""

from alembic import context

from quoting.store.models import Record, Utc


def _render(kind: str, item: object, _context: object) -> str | bool:
    """Write an instant by the type it is kept as."""
    return "sa.DateTime()" if kind == "type" and isinstance(item, Utc) else False


context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Record.metadata,
    render_as_batch=True,
    compare_type=True,
    render_item=_render,
)
context.run_migrations()
