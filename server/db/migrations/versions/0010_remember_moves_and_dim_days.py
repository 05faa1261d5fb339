"""remember moves and dim days"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = '0010'
down_revision = '0009'
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table('animalmove',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('animal_id', sa.Integer(), nullable=False),
    sa.Column('moved_on', sa.Date(), nullable=False),
    sa.Column('from_x_cm', sa.Float(), nullable=False),
    sa.Column('from_y_cm', sa.Float(), nullable=False),
    sa.Column('from_depth_cm', sa.Float(), nullable=False),
    sa.ForeignKeyConstraint(['animal_id'], ['animal.id'], name=op.f('fk_animalmove_animal_id_animal')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_animalmove'))
    )
    with op.batch_alter_table('animalmove', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_animalmove_animal_id'), ['animal_id'], unique=False)
    op.create_table('dimdays',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('tank_id', sa.Integer(), nullable=False),
    sa.Column('first_on', sa.Date(), nullable=False),
    sa.Column('until_on', sa.Date(), nullable=False),
    sa.Column('share', sa.Float(), nullable=False),
    sa.Column('why', sqlmodel.sql.sqltypes.AutoString(length=24), nullable=False),
    sa.Column('created_by_id', sa.Integer(), nullable=True),
    sa.Column('created_at', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
    sa.CheckConstraint('share >= 0 AND share < 1', name=op.f('ck_dimdays_share_less')),
    sa.CheckConstraint('until_on > first_on', name=op.f('ck_dimdays_days_in_order')),
    sa.ForeignKeyConstraint(['created_by_id'], ['member.id'], name=op.f('fk_dimdays_created_by_id_member')),
    sa.ForeignKeyConstraint(['tank_id'], ['tank.id'], name=op.f('fk_dimdays_tank_id_tank')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_dimdays'))
    )
    with op.batch_alter_table('dimdays', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_dimdays_tank_id'), ['tank_id'], unique=False)


def downgrade() -> None:
    with op.batch_alter_table('dimdays', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_dimdays_tank_id'))
    op.drop_table('dimdays')
    with op.batch_alter_table('animalmove', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_animalmove_animal_id'))
    op.drop_table('animalmove')
