"""keep the time believed and tries at passwords"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = '0008'
down_revision = '0007'
branch_labels = None
depends_on = None


def upgrade() -> None:

    op.create_table('attempt',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('key', sqlmodel.sql.sqltypes.AutoString(length=64), nullable=False),
    sa.Column('at', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_attempt'))
    )
    with op.batch_alter_table('attempt', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_attempt_at'), ['at'], unique=False)
        batch_op.create_index('ix_attempt_key_at', ['key', 'at'], unique=False)

    op.create_table('believedtime',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('at', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
    sa.CheckConstraint('id = 1', name=op.f('ck_believedtime_only_one')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_believedtime'))
    )
    op.create_table('knownbrowser',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('member_id', sa.Integer(), nullable=False),
    sa.Column('token_hash', sqlmodel.sql.sqltypes.AutoString(length=64), nullable=False),
    sa.Column('created_at', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
    sa.ForeignKeyConstraint(['member_id'], ['member.id'], name=op.f('fk_knownbrowser_member_id_member')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_knownbrowser')),
    sa.UniqueConstraint('token_hash', name=op.f('uq_knownbrowser_token_hash'))
    )
    with op.batch_alter_table('knownbrowser', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_knownbrowser_member_id'), ['member_id'], unique=False)



def downgrade() -> None:
    raise NotImplementedError("go back by restoring the copy that was set aside before the upgrade")
