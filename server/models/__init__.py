"""Every table of the club. Table classes hold columns and constraints, nothing else.

The naming convention must stand before the first table: alembic can only alter
constraints on SQLite that have a name.
"""

from sqlmodel import SQLModel

SQLModel.metadata.naming_convention = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

from server.models.acclimation import (  # noqa: E402 - after the convention
    AcclimationAnswer,
    AcclimationPlan,
    AcclimationStep,
)
from server.models.history import ChoreDone, ChoreEvery, TankNote  # noqa: E402 - after the convention
from server.models.lamp import LampChannel, LampModel  # noqa: E402 - after the convention
from server.models.lamp_measurement import LampMeasurement  # noqa: E402 - after the convention
from server.models.lending import (  # noqa: E402 - after the convention
    Handover,
    LendingAct,
    LendingRule,
    Loan,
    LoanDay,
    LoanRequest,
    Message,
    Meter,
    MeterCalibration,
    MeterCondition,
    MeterRest,
    OutgoingMail,
)
from server.models.lived import AnimalMove, DimDays  # noqa: E402 - after the convention
from server.models.member import (  # noqa: E402 - after the convention
    AccessToken,
    Club,
    Invitation,
    Member,
    SignIn,
)
from server.models.safety import (  # noqa: E402 - after the convention
    Attempt,
    BelievedTime,
    KnownBrowser,
)
from server.models.schedule import Schedule, ScheduleDay  # noqa: E402 - after the convention
from server.models.survey import (  # noqa: E402 - after the convention
    ColumnMapping,
    LoggedLight,
    MeasurementSession,
    PlannedPoint,
    Reading,
    SurveyAct,
    Upload,
)
from server.models.tank import Animal, HungLamp, Setup, Tank  # noqa: E402 - after the convention

__all__ = [
    "AccessToken",
    "AcclimationAnswer",
    "AcclimationPlan",
    "AcclimationStep",
    "Animal",
    "AnimalMove",
    "Attempt",
    "BelievedTime",
    "ChoreDone",
    "ChoreEvery",
    "Club",
    "ColumnMapping",
    "DimDays",
    "Handover",
    "HungLamp",
    "Invitation",
    "KnownBrowser",
    "LampChannel",
    "LampMeasurement",
    "LampModel",
    "LendingAct",
    "LendingRule",
    "Loan",
    "LoanDay",
    "LoanRequest",
    "LoggedLight",
    "MeasurementSession",
    "Member",
    "Message",
    "Meter",
    "MeterCalibration",
    "MeterCondition",
    "MeterRest",
    "OutgoingMail",
    "PlannedPoint",
    "Reading",
    "SQLModel",
    "Schedule",
    "ScheduleDay",
    "Setup",
    "SignIn",
    "SurveyAct",
    "Tank",
    "TankNote",
    "Upload",
]
