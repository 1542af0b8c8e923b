"""Hazard classes, interlocks, cautions and pulse budgets (pure)."""

from loomproof.safety.budget import (
    BoxCeilings,
    Budget,
    Limit,
    pulse_budget,
    releases_fuel,
)
from loomproof.safety.cautions import (
    CONNECTING,
    LOCAL_RULES,
    PULLING,
    PUMP,
    STOP_IS_SOFTWARE,
    Caution,
    Signal,
    cautions_for,
    opening_cautions,
)
from loomproof.safety.heat import HeatLedger
from loomproof.safety.interlocks import (
    DEFAULT_EXPIRY_S,
    VOIDER_TEXT,
    VOIDS,
    Block,
    Blocked,
    Interlocks,
    Permit,
    Statement,
    StatementRefusedError,
    Voider,
)
from loomproof.safety.ledger import FuelLedger
from loomproof.safety.loadmodel import LoadModel
from loomproof.safety.order import Phase, phase_of, safe_order
from loomproof.safety.statements import (
    HAZARD_STATEMENTS,
    Fact,
    StatementForm,
    StatementKind,
    form_for,
    hazards_of,
    pump_statement,
    statements_for,
)
from loomproof.safety.trains import Pulses, TrainProblem, check_train, duty_permille, fit_train

__all__ = [
    "CONNECTING",
    "DEFAULT_EXPIRY_S",
    "HAZARD_STATEMENTS",
    "LOCAL_RULES",
    "PULLING",
    "PUMP",
    "STOP_IS_SOFTWARE",
    "VOIDER_TEXT",
    "VOIDS",
    "Block",
    "Blocked",
    "BoxCeilings",
    "Budget",
    "Caution",
    "Fact",
    "FuelLedger",
    "HeatLedger",
    "Interlocks",
    "Limit",
    "LoadModel",
    "Permit",
    "Phase",
    "Pulses",
    "Signal",
    "Statement",
    "StatementForm",
    "StatementKind",
    "StatementRefusedError",
    "TrainProblem",
    "Voider",
    "cautions_for",
    "check_train",
    "duty_permille",
    "fit_train",
    "form_for",
    "hazards_of",
    "opening_cautions",
    "phase_of",
    "pulse_budget",
    "pump_statement",
    "releases_fuel",
    "safe_order",
    "statements_for",
]
