"""Days on which a tank got less light than its lamps and its day would give."""

from datetime import UTC, date, datetime

from sqlmodel import Session, col, select

from server.models import DimDays


def dim_days_of(db: Session, tank_id: int) -> list[DimDays]:
    """They all, the earliest first."""
    kept = select(DimDays).where(DimDays.tank_id == tank_id)
    return list(db.exec(kept.order_by(col(DimDays.first_on), col(DimDays.id))))


def remember(
    db: Session,
    *,
    tank_id: int,
    first_on: date,
    until_on: date,
    share: float,
    why: str,
    by_id: int | None,
) -> None:
    """Writes them down; the same thing told twice for the same end replaces what was told."""
    told = select(DimDays).where(
        DimDays.tank_id == tank_id, DimDays.why == why, DimDays.until_on == until_on
    )
    row = db.exec(told.limit(1)).first() or DimDays(
        tank_id=tank_id,
        first_on=first_on,
        until_on=until_on,
        share=share,
        why=why,
        created_by_id=by_id,
        created_at=datetime.now(UTC),
    )
    row.first_on, row.share = first_on, share
    db.add(row)
    db.flush()
