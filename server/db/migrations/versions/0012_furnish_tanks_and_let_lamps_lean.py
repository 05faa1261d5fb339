"""furnish tanks and let lamps lean"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = '0012'
down_revision = '0011'
branch_labels = None
depends_on = None

TEXT = sqlmodel.sql.sqltypes.AutoString(length=20000)


def upgrade() -> None:
    for table in ('tank', 'setup'):
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.add_column(sa.Column('furnishing', TEXT, nullable=False, server_default=''))
    with op.batch_alter_table('hunglamp', schema=None) as batch_op:
        for name in ('tilt_deg', 'toward_deg'):
            batch_op.add_column(sa.Column(name, sa.Float(), nullable=False, server_default='0'))
        batch_op.create_check_constraint('tilt_small', 'tilt_deg >= 0 AND tilt_deg <= 60')
    for table, names in (('tank', ['furnishing']), ('setup', ['furnishing']),
                         ('hunglamp', ['tilt_deg', 'toward_deg'])):
        with op.batch_alter_table(table, schema=None) as batch_op:
            for name in names:
                batch_op.alter_column(name, server_default=None)


def downgrade() -> None:
    with op.batch_alter_table('hunglamp', schema=None) as batch_op:
        batch_op.drop_constraint('tilt_small', type_='check')
        batch_op.drop_column('toward_deg')
        batch_op.drop_column('tilt_deg')
    for table in ('setup', 'tank'):
        with op.batch_alter_table(table, schema=None) as batch_op:
            batch_op.drop_column('furnishing')
