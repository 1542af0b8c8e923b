from pathlib import Path

import pytest

from loomproof.job.kinds import Setting
from loomproof.job.loading import parse_job

JOB = """
schema_version = 1
setting = "{setting}"
[identity]
title = "Test loom"
job_number = "T-1"
[engine]
cylinders = 4
firing_order = [1, 3, 4, 2]
ignition = "single"
displacement_cm3 = {displacement}
[[connectors]]
id = "H1"
name = "header"
cavities = 16
[[locations]]
id = "cyl1"
name = "cylinder 1"
cylinder = 1
[[locations]]
id = "coil1"
name = "coil of cylinder 1"
cylinder = 1
[[channels]]
channel = 1
name = "injector 1"
cavity = "H1-1"
load = "injector_high"
location = "cyl1"
[[channels]]
channel = 2
name = "coil 1"
cavity = "H1-2"
load = "coil_bare"
location = "coil1"
[[channels]]
channel = 3
name = "purge valve"
cavity = "H1-3"
load = "valve_purge"
[[channels]]
channel = 4
name = "fuel pump relay"
cavity = "H1-4"
load = "fuel_pump_relay"
fuel_pump = true
[[channels]]
channel = 5
name = "starter relay"
cavity = "H1-5"
load = "starter_relay"
[[channels]]
channel = 6
name = "fan motor"
cavity = "H1-6"
load = "motor_fan"
"""


@pytest.fixture(scope="session")
def make_job():
    def make(setting=Setting.VEHICLE, displacement=2000):
        return parse_job(JOB.format(setting=setting.value, displacement=displacement))

    return make


@pytest.fixture(scope="session")
def job(make_job):
    return make_job()


@pytest.fixture(scope="session")
def examples():
    return sorted((Path(__file__).parents[2] / "examples").glob("*.toml"))
