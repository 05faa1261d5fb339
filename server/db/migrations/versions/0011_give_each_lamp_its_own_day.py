"""give each lamp its own day"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = '0011'
down_revision = '0010'
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('scheduleday', schema=None) as batch_op:
        batch_op.add_column(sa.Column('lamp_number', sa.Integer(), server_default=sa.text('0'), nullable=False))
        batch_op.add_column(sa.Column('control', sqlmodel.sql.sqltypes.AutoString(length=16), server_default=sa.text("''"), nullable=False))
        batch_op.create_check_constraint('lamp_number_counts', 'lamp_number >= 0')
        batch_op.create_check_constraint('control_known', "control IN ('', 'by_hand', 'clock_switch', 'programs', 'full')")


def downgrade() -> None:
    with op.batch_alter_table('scheduleday', schema=None) as batch_op:
        batch_op.drop_constraint('control_known', type_='check')
        batch_op.drop_constraint('lamp_number_counts', type_='check')
        batch_op.drop_column('control')
        batch_op.drop_column('lamp_number')
