"""Sounds: what is heard, by what means, and that nothing ever waits for them."""

import stat
import sys
import threading
import time
import wave

import pytest

from loomproof.tui.settings import Settings
from loomproof.tui.sounds import BELLS, TONES, Sound, SoundKind, Sounds, kind_of, number_tones, write_wave


@pytest.fixture
def player(tmp_path):
    """A player that writes down what it was given."""
    log = tmp_path / "played"
    path = tmp_path / "player"
    path.write_text(f"#!{sys.executable}\nimport sys\nopen({str(log)!r}, 'a').write(sys.argv[-1] + '\\n')\n")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return (str(path),), log


def lines(log, count):
    until = time.monotonic() + 10
    while time.monotonic() < until:
        if log.exists() and len(log.read_text().splitlines()) >= count:
            return log.read_text().splitlines()
        time.sleep(0.01)
    raise AssertionError(f"nothing was played: {log.exists() and log.read_text()}")


def test_the_bell_keeps_to_what_matters():
    rung = []
    sounds = Sounds(rung.append)
    for sound in Sound:
        sounds.play(sound)
    assert rung == [BELLS[sound] for sound in Sound if BELLS[sound]]
    assert BELLS[Sound.WRONG] > BELLS[Sound.RIGHT] > 0


def test_off_is_silent():
    rung = []
    Sounds(rung.append, SoundKind.OFF).play(Sound.WRONG)
    assert rung == []


def test_tones_are_played_from_wave_files(player):
    command, log = player
    sounds = Sounds(pytest.fail, SoundKind.TONES, players=(("no-such-player",), command))
    sounds.play(Sound.RIGHT)
    with wave.open(lines(log, 1)[0]) as file:
        assert file.getnchannels() == 1
        expected = sum(round(seconds * file.getframerate()) for _, seconds in TONES[Sound.RIGHT])
        assert file.getnframes() == expected


def test_a_voice_is_given_words_and_tones_what_has_none(player):
    command, log = player
    sounds = Sounds(pytest.fail, SoundKind.VOICE, players=(command,), speakers=(command,))
    sounds.play(Sound.NEXT, number=3, words="cylinder 3 injector; touch x")
    assert lines(log, 1) == ["cylinder 3 injector; touch x"]
    sounds.play(Sound.BACK)
    assert lines(log, 2)[1].endswith(".wav")


def test_what_the_machine_lacks_falls_back_to_the_bell():
    rung = []
    for kind in (SoundKind.TONES, SoundKind.VOICE):
        sounds = Sounds(rung.append, kind, players=(("no-such-player",),), speakers=(("no-such-voice",),))
        assert sounds.means is SoundKind.BELL
        sounds.play(Sound.RIGHT)
    assert rung == [1, 1]


def test_a_player_that_hangs_holds_nothing_up_and_old_sounds_are_dropped(tmp_path):
    gate = tmp_path / "slow"
    log = tmp_path / "played"
    gate.write_text(
        f"#!{sys.executable}\nimport time\nopen({str(log)!r}, 'a').write('x\\n')\ntime.sleep(60)\n"
    )
    gate.chmod(gate.stat().st_mode | stat.S_IXUSR)
    sounds = Sounds(pytest.fail, SoundKind.TONES, players=((str(gate),),))
    done = threading.Event()

    def many():
        for _ in range(50):
            sounds.play(Sound.LOST)
        done.set()

    threading.Thread(target=many, daemon=True).start()
    assert done.wait(30), "playing waited for the player"
    assert len(lines(log, 1)) == 1


def test_turning_goes_through_what_the_machine_has(player):
    command, _ = player
    sounds = Sounds(lambda times: None, SoundKind.OFF, players=(command,), speakers=(("no-such-voice",),))
    assert [sounds.turn() for _ in range(4)] == [
        SoundKind.BELL,
        SoundKind.TONES,
        SoundKind.OFF,
        SoundKind.BELL,
    ]


def test_every_sound_differs_by_rhythm_not_by_pitch_alone():
    rhythms = {sound: tuple(seconds for _, seconds in tones) for sound, tones in TONES.items() if tones}
    assert len(set(rhythms.values())) == len(rhythms)


@pytest.mark.parametrize(
    ("number", "long", "short"), [(1, 0, 1), (4, 0, 4), (5, 1, 0), (8, 1, 3), (12, 2, 2)]
)
def test_a_number_is_beeped_out(number, long, short):
    beeps = [seconds for hertz, seconds in number_tones(number, "fuel") if hertz]
    assert (sum(s > 0.2 for s in beeps), sum(s < 0.2 for s in beeps)) == (long, short)


def test_fuel_and_spark_differ_in_pitch():
    pitch = {role: max(hertz for hertz, _ in number_tones(3, role)) for role in ("fuel", "spark", "")}
    assert len(set(pitch.values())) == 3


def test_no_tone_is_clipped_or_clicks(tmp_path):
    path = tmp_path / "a.wav"
    for tones in TONES.values():
        if tones:
            write_wave(path, tones)
            with wave.open(str(path)) as file:
                samples = memoryview(file.readframes(file.getnframes())).cast("h")
            assert samples[0] == samples[-1] == 0
            assert max(abs(s) for s in samples) < 32767


@pytest.mark.parametrize(
    ("settings", "kind"),
    [
        (Settings(), SoundKind.BELL),
        (Settings(sounds=False, sound_kind="tones"), SoundKind.OFF),
        (Settings(sound_kind="voice"), SoundKind.VOICE),
        (Settings(sound_kind="gong"), SoundKind.BELL),
    ],
)
def test_the_settings_say_by_what_means(settings, kind):
    assert kind_of(settings) is kind
