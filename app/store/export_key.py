"""The key by which patients get made-up names in an export; kept among the clinic's settings."""

import secrets
from datetime import datetime

from sqlmodel import Session, col, select

from app.store.actor import PROGRAM
from app.store.audit import note
from app.store.audit_tables import SettingRow
from app.store.engine import one_at_a_time

# No page shows a setting of this name or takes one.
NAME = "export_key"


def export_key(session: Session, now: datetime) -> bytes:
    """The key of this database, made where there is none yet; it is never changed."""
    # Of two who ask at once, the second finds the key of the first.
    one_at_a_time(session.connection())
    asked = select(SettingRow.value).where(SettingRow.name == NAME).order_by(col(SettingRow.id))
    held = session.exec(asked).first()
    if held is None:
        held = secrets.token_hex(32)
        row = SettingRow(name=NAME, value=held, by=PROGRAM.name, account_id=None, at=now)
        session.add(row)
        session.flush()
        note(session, PROGRAM, "setting", at=now, detail={"names": [NAME]}, rows=(row,))
    return held.encode()
