"""The record's nouns, one a file; rules that must always hold are named constraints."""

from .adjustments import Adjustment, AdjustmentKind
from .base import Record, new_id
from .blower_tables import BlowerTable
from .company import Company, UnitSystem, companys_day
from .crews import Crew, CrewMembership
from .customers import Customer
from .digests import DigestSubscription
from .duct_sections import (
    RULES_BY_SHAPE,
    AirPath,
    DrilledSide,
    DuctSection,
    LayoutRule,
    Material,
    Shape,
    Swirl,
)
from .equipment import Equipment, EquipmentKind, FanDrive
from .flow_readings import FlowMethod, FlowReading
from .flow_sets import FlowSet, FlowSetMember
from .instruments import Calibration, DirectionResponse, Instrument, Principle, Shows
from .measurements import Measurement
from .people import REDACTED, Person, Role
from .pressures import PressureReading
from .report_links import ReportLink
from .results import Computation, Result, State, Verdict
from .sites import Climate, Site
from .standings import ChangedSystem, Standing
from .targets import Basis, Call, Target, TargetSource
from .temperature_rises import TemperatureRise
from .tokens import Token
from .traverses import Mode, ReadingKind, TakenIn, Traverse, TraverseRevision
from .visits import Purpose, Stage, Visit, VisitHandover

__all__ = [
    "REDACTED",
    "RULES_BY_SHAPE",
    "Adjustment",
    "AdjustmentKind",
    "AirPath",
    "Basis",
    "BlowerTable",
    "Calibration",
    "Call",
    "ChangedSystem",
    "Climate",
    "Company",
    "Computation",
    "Crew",
    "CrewMembership",
    "Customer",
    "DigestSubscription",
    "DirectionResponse",
    "DrilledSide",
    "DuctSection",
    "Equipment",
    "EquipmentKind",
    "FanDrive",
    "FlowMethod",
    "FlowReading",
    "FlowSet",
    "FlowSetMember",
    "Instrument",
    "LayoutRule",
    "Material",
    "Measurement",
    "Mode",
    "Person",
    "PressureReading",
    "Principle",
    "Purpose",
    "ReadingKind",
    "Record",
    "ReportLink",
    "Result",
    "Role",
    "Shape",
    "Shows",
    "Site",
    "Stage",
    "Standing",
    "State",
    "Swirl",
    "TakenIn",
    "Target",
    "TargetSource",
    "TemperatureRise",
    "Token",
    "Traverse",
    "TraverseRevision",
    "UnitSystem",
    "Verdict",
    "Visit",
    "VisitHandover",
    "companys_day",
    "new_id",
]
