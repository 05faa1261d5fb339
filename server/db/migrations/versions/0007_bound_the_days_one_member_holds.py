"""bound the days one member holds"""

import sqlalchemy as sa
from alembic import op

revision = '0007'
down_revision = '0006'
branch_labels = None
depends_on = None


def upgrade() -> None:
    with op.batch_alter_table('lendingrule', schema=None) as batch_op:
        batch_op.add_column(sa.Column('window_days', sa.Integer(), server_default=sa.text('91'), nullable=False))
        batch_op.add_column(sa.Column('window_most_days', sa.Integer(), server_default=sa.text('365'), nullable=False))


def downgrade() -> None:
    with op.batch_alter_table('lendingrule', schema=None) as batch_op:
        batch_op.drop_column('window_most_days')
        batch_op.drop_column('window_days')
