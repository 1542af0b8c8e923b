"""What the safety machine draws from: commands right and wrong, limits, waits."""

from hypothesis import strategies as st

from loomproof_wire import messages as wire
from loomproof_wire.messages import Hazard, LoadClass
from tests.sim.safety.oracle import CHANNELS

channels = st.sampled_from(CHANNELS)
load_classes = st.sampled_from(list(LoadClass))
hazards = st.sampled_from(list(Hazard))
few_ms = st.sampled_from([0.01, 0.5, 1, 5, 30, 99, 100, 250, 399, 400, 401, 1500])
WIDE = {
    "max_on_time_us": 100_000,
    "max_hold_ms": 10_000,
    "max_duty_permille": 900,
    "max_count": 2000,
}
limit_sets = st.fixed_dictionaries(
    {
        "max_on_time_us": st.sampled_from([100, 5000, 100_000]),
        "max_hold_ms": st.sampled_from([0, 50, 1000, 10_000]),
        "max_duty_permille": st.sampled_from([10, 500, 900]),
        "max_count": st.sampled_from([1, 5, 2000]),
        "max_current_ma": st.sampled_from([200, 200, 20_000]),
        "max_sense_us": st.sampled_from([0, 60, 200]),
    }
)
on_times = st.sampled_from([50, 100, 5000, 30_000, 100_000])
periods = st.sampled_from([200, 10_000, 60_000, 200_000, 1_000_000])
counts = st.sampled_from([1, 3, 10, 2000])
every = st.sampled_from([0, 1, 3])
decimations = st.sampled_from([1, 20])
samples = st.sampled_from([0, 30, 600])
holds = st.sampled_from([1, 50, 800, 10_000])
drives = st.one_of(
    st.builds(wire.DriveTrain, channels, counts, periods, on_times, every, decimations, samples),
    st.builds(wire.DriveHold, channels, holds, decimations, samples),
    st.builds(
        wire.DrivePeakHold,
        channel=channels,
        count=counts,
        period_us=periods,
        on_time_us=on_times,
        peak_us=st.sampled_from([50, 1000]),
        chop_period_us=st.sampled_from([200, 1000]),
        chop_duty_permille=st.sampled_from([50, 500, 950]),
        trace_every=every,
        trace_decimation=decimations,
        trace_samples=samples,
    ),
    st.builds(
        wire.DriveStepper,
        st.sampled_from([(1, 2, 3, 4), (4, 3, 2, 1), (1, 1, 2, 3), (1, 2, 3, 14)]),
        st.sampled_from([-40, -3, 0, 5, 200]),
        st.sampled_from([1000, 20_000, 1_000_000]),
    ),
    st.builds(
        wire.DriveBridge,
        st.sampled_from([15, 15, 16, 1]),
        st.sampled_from([16, 16, 15, 2]),
        holds,
        st.sampled_from([500, 1000]),
        st.sampled_from([1, 300, 900]),
        decimations,
        samples,
    ),
    st.builds(
        wire.Watch,
        channels,
        st.sampled_from([0, 1]),
        st.sampled_from([50, 800, 100_000]),
        st.sampled_from([1000, 10_000]),
        st.just(300),
    ),
)
single = st.sampled_from([1, 2, 3, 4, 13, 14])
sound_trains = st.sampled_from(
    [(100, 200), (5000, 10_000), (30_000, 60_000), (100_000, 200_000), (50, 1_000_000)]
)
sound_drives = st.one_of(
    st.builds(
        lambda channel, count, pulse, n, k, m: wire.DriveTrain(channel, count, pulse[1], pulse[0], n, k, m),
        single,
        counts,
        sound_trains,
        every,
        decimations,
        samples,
    ),
    st.builds(wire.DriveHold, single, holds, decimations, samples),
    st.builds(wire.DriveStepper, st.just((1, 2, 3, 4)), st.sampled_from([-40, 5, 200]), st.just(20_000)),
    st.builds(
        wire.DriveBridge, st.just(15), st.just(16), holds, st.just(1000), st.just(300), decimations, samples
    ),
    st.builds(
        wire.Watch, single, st.just(1), st.sampled_from([50, 800, 100_000]), st.just(1000), st.just(300)
    ),
)
looks = st.one_of(
    st.builds(wire.Sense, channels, st.sampled_from([10, 60, 80, 120, 200]), st.sampled_from([1, 30])),
    st.builds(wire.Scan, st.sampled_from([0xFFFF, 0x000F, 0xE000, 0x0001]), st.sampled_from([0, 60, 200])),
)
