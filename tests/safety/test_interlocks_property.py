"""No order of statements, events and times frees a hazard without a live statement.

An independent oracle keeps the plain history (a list) and re-derives from it, by scanning backwards, what
should be live; it shares no table with the code under test.
"""

import math

from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from loomproof.facts.kinds import HazardClass, JobSetting
from loomproof.safety.interlocks import Blocked, Interlocks, Permit, StatementRefusedError, Voider
from loomproof.safety.statements import StatementKind, form_for

EVERYTHING = {"stop", "link_lost", "supply_lost", "other_job", "other_box", "withdrawn"}
ALSO = {
    "fuel_isolated": {"pump_driven"},
    "spark_clear": {"pump_driven", "fuel_driven"},
    "cylinders_aired": {"fuel_driven"},
}
NEEDED = {
    "none": (),
    "fuel": ("fuel_isolated",),
    "spark": ("spark_clear",),
    "crank": ("crank_clear",),
    "motion": ("motion_clear",),
    "heat": ("heat_watched",),
}
TIMES = st.floats(min_value=0, max_value=700, allow_nan=False)


class Machine(RuleBasedStateMachine):
    def __init__(self):
        super().__init__()
        self.locks = Interlocks(expiry_s=600.0)
        self.history = []
        self.now_s = 0.0

    def live(self, kind):
        for what, at_s, which in reversed(self.history):
            if what == "stated" and which == kind:
                return at_s <= self.now_s < at_s + 600.0
            if what in EVERYTHING and which in (None, kind):
                return False
            if what in ALSO.get(kind, ()):
                return False
        return False

    @rule(seconds=TIMES)
    def time_passes(self, seconds):
        self.now_s += seconds

    @rule(seconds=TIMES)
    def the_clock_is_set_back(self, seconds):
        self.now_s = max(0.0, self.now_s - seconds)

    @rule(kind=st.sampled_from(StatementKind))
    def stated_in_full(self, kind):
        facts = form_for(kind, JobSetting.VEHICLE).fact_keys
        self.locks = self.locks.with_statement(kind, facts, "RB", self.now_s)
        self.history.append(("stated", self.now_s, kind.value))

    @rule(kind=st.sampled_from(StatementKind), data=st.data())
    def stated_in_part(self, kind, data):
        keys = form_for(kind, JobSetting.VEHICLE).fact_keys
        facts = data.draw(st.lists(st.sampled_from(keys), max_size=len(keys) - 1))
        try:
            self.locks = self.locks.with_statement(kind, facts, "RB", self.now_s)
        except StatementRefusedError:
            return
        raise AssertionError("a part of a statement was taken for the whole")

    @rule(by=st.sampled_from(Voider), kind=st.none() | st.sampled_from(StatementKind))
    def something_happens(self, by, kind):
        if by is not Voider.WITHDRAWN:
            kind = None
        self.locks = self.locks.voided(by, kind)
        self.history.append((by.value, self.now_s, kind.value if kind else None))

    @invariant()
    def permits_rest_on_live_statements(self):
        fuelled = any(what == "fuel_driven" for what, _, _ in self.history)
        for hazard in HazardClass:
            for pump in (None, StatementKind.PUMP_UNPLUGGED, StatementKind.PUMP_MAY_RUN):
                needed = list(NEEDED[hazard.value]) + ([pump.value] if pump else [])
                if hazard is HazardClass.SPARK and fuelled:
                    needed.append("cylinders_aired")
                got = self.locks.permit(hazard, self.now_s, pump=pump)
                missing = {kind for kind in needed if not self.live(kind)}
                if missing:
                    assert isinstance(got, Blocked)
                    assert {kind.value for kind in got.needs} == missing
                else:
                    assert isinstance(got, Permit)
                    assert got.until_s > self.now_s
                    assert len(got.statements) == len(needed)
                    if needed:
                        assert got.until_s <= self.now_s + 600.0
                        assert math.isfinite(got.until_s)


TestInterlocks = Machine.TestCase
TestInterlocks.settings = settings(max_examples=150, stateful_step_count=40, deadline=None)
