from loomproof.job.file.loading import load_job
from loomproof.safety.order import Phase, phase_of, safe_order


def test_harmless_then_motion_crank_spark_fuel_and_the_pump_last(job):
    assert safe_order(job) == (3, 6, 5, 2, 1, 4)
    assert [phase_of(job, c) for c in safe_order(job)] == [
        Phase.HARMLESS,
        Phase.MOTION,
        Phase.CRANK,
        Phase.SPARK,
        Phase.FUEL,
        Phase.PUMP,
    ]


def test_the_examples_never_spark_after_fuel(examples):
    assert examples
    for path in examples:
        job = load_job(path)
        phases = [phase_of(job, channel) for channel in safe_order(job)]
        assert phases == sorted(phases)
        assert set(safe_order(job)) == {c.channel for c in job.channels if c.fitted}
