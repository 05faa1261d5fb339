"""keep what readings say of lamps"""

import sqlalchemy as sa
import sqlmodel
from alembic import op

revision = '0006'
down_revision = '0005'
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table('lampmeasurement',
    sa.Column('id', sa.Integer(), nullable=False),
    sa.Column('lamp_model_id', sa.Integer(), nullable=False),
    sa.Column('hung_lamp_id', sa.Integer(), nullable=False),
    sa.Column('tank_id', sa.Integer(), nullable=False),
    sa.Column('member_id', sa.Integer(), nullable=True),
    sa.Column('measured_on', sa.Date(), nullable=False),
    sa.Column('output_factor', sa.Float(), nullable=False),
    sa.Column('output_low', sa.Float(), nullable=False),
    sa.Column('output_high', sa.Float(), nullable=False),
    sa.Column('beam_deg', sa.Float(), nullable=True),
    sa.Column('beam_low_deg', sa.Float(), nullable=True),
    sa.Column('beam_high_deg', sa.Float(), nullable=True),
    sa.Column('readings', sa.Integer(), nullable=False),
    sa.Column('typical_error_percent', sa.Float(), nullable=True),
    sa.Column('note', sqlmodel.sql.sqltypes.AutoString(length=500), nullable=False),
    sa.Column('created_at', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=False),
    sa.Column('removed_at', sqlmodel.sql.sqltypes.UTCDateTime(), nullable=True),
    sa.CheckConstraint('output_low > 0 AND output_low <= output_factor AND output_factor <= output_high', name=op.f('ck_lampmeasurement_output_within')),
    sa.ForeignKeyConstraint(['hung_lamp_id'], ['hunglamp.id'], name=op.f('fk_lampmeasurement_hung_lamp_id_hunglamp')),
    sa.ForeignKeyConstraint(['lamp_model_id'], ['lampmodel.id'], name=op.f('fk_lampmeasurement_lamp_model_id_lampmodel')),
    sa.ForeignKeyConstraint(['member_id'], ['member.id'], name=op.f('fk_lampmeasurement_member_id_member')),
    sa.ForeignKeyConstraint(['tank_id'], ['tank.id'], name=op.f('fk_lampmeasurement_tank_id_tank')),
    sa.PrimaryKeyConstraint('id', name=op.f('pk_lampmeasurement')),
    sa.UniqueConstraint('hung_lamp_id', name=op.f('uq_lampmeasurement_hung_lamp_id'))
    )
    with op.batch_alter_table('lampmeasurement', schema=None) as batch_op:
        batch_op.create_index(batch_op.f('ix_lampmeasurement_lamp_model_id'), ['lamp_model_id'], unique=False)
        batch_op.create_index(batch_op.f('ix_lampmeasurement_member_id'), ['member_id'], unique=False)
        batch_op.create_index(batch_op.f('ix_lampmeasurement_tank_id'), ['tank_id'], unique=False)


def downgrade() -> None:
    with op.batch_alter_table('lampmeasurement', schema=None) as batch_op:
        batch_op.drop_index(batch_op.f('ix_lampmeasurement_tank_id'))
        batch_op.drop_index(batch_op.f('ix_lampmeasurement_member_id'))
        batch_op.drop_index(batch_op.f('ix_lampmeasurement_lamp_model_id'))
    op.drop_table('lampmeasurement')
