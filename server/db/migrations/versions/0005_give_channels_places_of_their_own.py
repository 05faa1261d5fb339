"""give channels places of their own"""

import sqlalchemy as sa
from alembic import op

revision = '0005'
down_revision = '0004'
branch_labels = None
depends_on = None

_COLUMNS = (
    ('count_x', sa.Integer),
    ('count_y', sa.Integer),
    ('pitch_x_cm', sa.Float),
    ('pitch_y_cm', sa.Float),
    ('side_cm', sa.Float),
    ('tube_length_cm', sa.Float),
)


def upgrade() -> None:
    with op.batch_alter_table('lampchannel', schema=None) as batch_op:
        for name, kind in _COLUMNS:
            batch_op.add_column(sa.Column(name, kind(), nullable=True))


def downgrade() -> None:
    with op.batch_alter_table('lampchannel', schema=None) as batch_op:
        for name, _ in reversed(_COLUMNS):
            batch_op.drop_column(name)
