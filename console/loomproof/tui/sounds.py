"""Sounds for work away from the screen: the terminal's bell, tones, or a voice. None of them ever holds anything up.

Tones are made here and played by whatever player the machine has; a voice needs a speech program. What is not
there falls back to the bell. More than a few sounds waiting are dropped: an old sound is a wrong sound.
"""

from __future__ import annotations

import atexit
import math
import queue
import shutil
import struct
import subprocess
import tempfile
import threading
import wave
from collections.abc import Callable, Sequence
from contextlib import suppress
from enum import StrEnum
from pathlib import Path

from loomproof.tui.settings import Settings

RATE_HZ = 22050
LOUDNESS = 0.5
RAMP_S = 0.004
WAITING = 3
LONGEST_S = 8.0
"""A player that takes longer is ended."""
PLAYERS: tuple[tuple[str, ...], ...] = (
    ("pw-play",),
    ("paplay",),
    ("aplay", "-q"),
    ("afplay",),
    ("play", "-q"),
)
SPEAKERS: tuple[tuple[str, ...], ...] = (("espeak-ng",), ("espeak",), ("spd-say", "--wait"), ("say",))
Tone = tuple[float, float]
"""Frequency in Hz (0: silence) and length in s."""


class SoundKind(StrEnum):
    """How it sounds."""

    OFF = "off"
    BELL = "bell"
    TONES = "tones"
    VOICE = "voice"


class Sound(StrEnum):
    """What a sound means."""

    LOST = "lost"
    RIGHT = "right"
    WRONG = "wrong"
    BACK = "back"
    NEXT = "next"
    NOTE = "note"
    DONE = "done"
    TICK = "tick"


TONES: dict[Sound, tuple[Tone, ...]] = {
    Sound.LOST: ((880.0, 0.06),),
    Sound.RIGHT: ((660.0, 0.09), (990.0, 0.16)),
    Sound.WRONG: ((220.0, 0.18), (0.0, 0.06), (220.0, 0.18), (0.0, 0.06), (165.0, 0.32)),
    Sound.BACK: ((990.0, 0.05), (660.0, 0.07)),
    Sound.NEXT: (),
    Sound.NOTE: ((440.0, 0.12), (0.0, 0.05), (440.0, 0.12)),
    Sound.DONE: ((523.0, 0.12), (659.0, 0.12), (784.0, 0.12), (1047.0, 0.3)),
    Sound.TICK: ((1800.0, 0.012),),
}
"""Up: right. Down: back in its seat. Low and three: wrong. They differ by rhythm, too, for ears that miss a pitch."""
BELLS: dict[Sound, int] = {
    Sound.LOST: 0,
    Sound.RIGHT: 1,
    Sound.WRONG: 3,
    Sound.BACK: 0,
    Sound.NEXT: 0,
    Sound.NOTE: 2,
    Sound.DONE: 2,
    Sound.TICK: 1,
}
"""How often the bell rings. A bell says little, so it keeps to what matters: one ring for right, three for wrong."""
PITCH_HZ: dict[str, float] = {"fuel": 784.0, "spark": 392.0, "": 523.0}
"""Of the number's beeps, by what the load does at its cylinder: high for fuel, low for spark."""


BELL_S = 0.18
"""Between two rings of the bell, so that a terminal does not make one of them."""


def kind_of(settings: Settings) -> SoundKind:
    """Return by what means the settings want it."""
    if not settings.sounds:
        return SoundKind.OFF
    return SoundKind(settings.sound_kind) if settings.sound_kind in set(SoundKind) else SoundKind.BELL


def number_tones(number: int, role: str = "") -> tuple[Tone, ...]:
    """Return a number as it is beeped out: a long beep for every five, then a short one for each of the rest."""
    pitch = PITCH_HZ.get(role, PITCH_HZ[""])
    tones: list[Tone] = [(0.0, 0.2)]
    for length in [0.3] * (number // 5) + [0.09] * (number % 5):
        tones += [(pitch, length), (0.0, 0.1)]
    return tuple(tones)


def wave_bytes(tones: Sequence[Tone]) -> bytes:
    """Return tones as 16-bit mono samples, each with soft edges so that it does not click."""
    samples: list[int] = []
    for hertz, seconds in tones:
        count = round(seconds * RATE_HZ)
        ramp = max(1, min(round(RAMP_S * RATE_HZ), count // 2))
        for i in range(count):
            edge = min(1.0, i / ramp, (count - 1 - i) / ramp)
            samples.append(round(32767 * LOUDNESS * edge * math.sin(2 * math.pi * hertz * i / RATE_HZ)))
    return struct.pack(f"<{len(samples)}h", *samples)


def write_wave(path: Path, tones: Sequence[Tone]) -> None:
    """Write tones as a WAV file."""
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes(wave_bytes(tones))


def found(programs: Sequence[tuple[str, ...]]) -> tuple[str, ...] | None:
    """Return the first program of these that the machine has."""
    return next((command for command in programs if shutil.which(command[0])), None)


class Sounds:
    """Plays sounds in a thread of its own.

    Args:
        bell: rings the terminal's bell that many times; called in the caller's thread.
        kind: by what means.
        players, speakers: programs to look for.
    """

    def __init__(
        self,
        bell: Callable[[int], object],
        kind: SoundKind = SoundKind.BELL,
        *,
        players: Sequence[tuple[str, ...]] = PLAYERS,
        speakers: Sequence[tuple[str, ...]] = SPEAKERS,
    ) -> None:
        self._bell = bell
        self.kind = kind
        self._players = players
        self._speakers = speakers
        self._player: tuple[str, ...] | None = None
        self._speaker: tuple[str, ...] | None = None
        self._looked = False
        self._waiting: queue.Queue[tuple[tuple[str, ...], tuple[Tone, ...] | str]] = queue.Queue(WAITING)
        self._thread: threading.Thread | None = None
        self._folder: Path | None = None

    @property
    def means(self) -> SoundKind:
        """By what means it really sounds: what the machine lacks falls back to the bell."""
        self._look()
        if self.kind is SoundKind.TONES and self._player is None:
            return SoundKind.BELL
        if self.kind is SoundKind.VOICE and self._speaker is None:
            return SoundKind.TONES if self._player is not None else SoundKind.BELL
        return self.kind

    def turn(self) -> SoundKind:
        """Take the next kind of sound that the machine has, and play an example."""
        kinds = [*SoundKind]
        here = kinds.index(self.kind)
        for step in range(1, len(kinds) + 1):
            self.kind = kinds[(here + step) % len(kinds)]
            if self.means is self.kind:
                break
        self.play(Sound.RIGHT, number=3, words="voice")
        return self.kind

    def play(self, sound: Sound, *, number: int = 0, role: str = "", words: str = "") -> None:
        """Play a sound, or say its words; returns at once.

        Args:
            sound: what it means.
            number: beeped out after it, as the cylinder's.
            role: gives the number's pitch.
            words: said instead, where there is a voice.
        """
        means = self.means
        if means is SoundKind.OFF:
            return
        if means is SoundKind.BELL:
            if BELLS[sound]:
                self._bell(BELLS[sound])
            return
        if means is SoundKind.VOICE and words and self._speaker is not None:
            self._enqueue(self._speaker, words)
        elif self._player is not None:
            tones = TONES[sound] + (number_tones(number, role) if number else ())
            if tones:
                self._enqueue(self._player, tones)

    def _enqueue(self, command: tuple[str, ...], what: tuple[Tone, ...] | str) -> None:
        if self._thread is None:
            self._thread = threading.Thread(target=self._work, name="sounds", daemon=True)
            self._thread.start()
        with suppress(queue.Full):
            self._waiting.put_nowait((command, what))

    def _work(self) -> None:
        while True:
            command, what = self._waiting.get()
            with suppress(OSError, subprocess.SubprocessError):
                argument = what if isinstance(what, str) else str(self._file(what))
                subprocess.run(
                    [*command, argument],
                    stdin=subprocess.DEVNULL,
                    stdout=subprocess.DEVNULL,
                    stderr=subprocess.DEVNULL,
                    timeout=LONGEST_S,
                    check=False,
                )

    def _file(self, tones: tuple[Tone, ...]) -> Path:
        if self._folder is None:
            self._folder = Path(tempfile.mkdtemp(prefix="loomproof-sounds-"))
            atexit.register(shutil.rmtree, self._folder, ignore_errors=True)
        path = self._folder / f"{hash(tones) & 0xFFFFFFFF:08x}.wav"
        if not path.exists():
            write_wave(path, tones)
        return path

    def _look(self) -> None:
        if not self._looked and self.kind in (SoundKind.TONES, SoundKind.VOICE):
            self._looked = True
            self._player, self._speaker = found(self._players), found(self._speakers)
