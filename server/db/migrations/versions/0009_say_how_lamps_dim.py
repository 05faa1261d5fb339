"""say how lamps dim"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = '0009'
down_revision = '0008'
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('lampmodel', schema=None) as batch_op:
        batch_op.add_column(sa.Column('dims', sqlmodel.sql.sqltypes.AutoString(length=8), nullable=False, server_default=''))
        batch_op.add_column(sa.Column('least_percent', sa.Float(), nullable=True))
        batch_op.add_column(sa.Column('step_percent', sa.Float(), nullable=True))
        batch_op.create_check_constraint('dims_known', "dims IN ('', 'no', 'steps', 'smooth')")
    with op.batch_alter_table('lampmodel', schema=None) as batch_op:
        batch_op.alter_column('dims', server_default=None)


def downgrade() -> None:
    with op.batch_alter_table('lampmodel', schema=None) as batch_op:
        batch_op.drop_constraint('dims_known', type_='check')
        batch_op.drop_column('step_percent')
        batch_op.drop_column('least_percent')
        batch_op.drop_column('dims')
