"""Runs the migrations on the connection that app.store.engine hands over, in its transaction.

Both databases undo changes of tables, so all steps are done or none.
"""

from alembic import context

from app.store import (  # noqa: F401
    audit_tables,
    people_tables,
    practice_tables,
    signing_tables,
    tables,
)
from app.store.columns import Table

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Table.metadata,
    # SQLite cannot change a constraint in place: its tables are built anew in a batch.
    render_as_batch=True,
)
context.run_migrations()
