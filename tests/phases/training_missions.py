"""Training flights flown to a script: traffic circuits, and airwork with stalls and steep turns.

Run as a program (``python tests/phases/training_missions.py [FLIGHTS]``) it prints the confusion
tables. The definitions' thresholds were settled on the flights 0 to 199; the tables are those
from `missions.START` on.

The truth is the command's own phase. In a traffic circuit the CICTT taxonomy counts all from the
entry into the pattern to the flare as approach, and a climb-out as initial climb up to 1,000 ft
or the pattern, whichever comes first. An airwork block is manoeuvring from the first exercise
to the end of the last one's recovery.
"""

from __future__ import annotations

import sys
from collections.abc import Callable

import missions
import numpy as np
from missions import KINDS, Flight, Pilot

LIGHT, TURBOPROP = KINDS[2], KINDS[1]
CHANNELS = missions.CHANNELS
ATTITUDE = (*CHANNELS, "heading", "roll")
GRAVITY_KT_S = 9.80665 * 3600 / 1852


class Trainee(Pilot):
    """Flies the exercises of a training flight."""

    def turned(self, phase: str, degrees: float, rate: float, height: float, kt: float) -> None:
        """Turn level through an angle at a rate [deg/s]."""
        self.turn = rate
        self.level(phase, abs(degrees / rate), height, kt)
        self.turn = 0.0

    def climb_out(self, ground: float, pattern: float) -> None:
        """Climb from the ground to the height of the pattern, turning crosswind on the way."""
        fpm = self.rng.uniform(*self.kind.climb_fpm)
        self.wheels = 0.0
        while self.h < ground + 35:
            self.second("take-off", fpm, self.kind.rotate + 20)
        turning = ground + self.rng.uniform(450, 700)
        while self.h < min(ground + 1000, pattern - 40):
            self.turn = 3.0 if turning < self.h < turning + 500 else 0.0
            self.second("initial climb", fpm, self.kind.rotate + 30)
        self.turn = 0.0
        self.to("approach", pattern, fpm, self.kind.rotate + 35)

    def circuit(self, ground: float, end: str) -> None:
        """Fly a circuit from the climb-out to a touch-and-go, a go-around or a full stop."""
        rng, kind = self.rng, self.kind
        pattern = ground + rng.choice([800, 1000] if kind is LIGHT else [1000, 1500])
        downwind = kind.approach_kt * rng.uniform(1.2, 1.5)
        if self.h > ground + 100:
            # After a go-around: still within the pattern.
            self.to("approach", pattern, rng.uniform(*kind.climb_fpm), kind.rotate + 30)
        else:
            self.climb_out(ground, pattern)
        self.turned("approach", 90, 3.0, pattern, downwind)
        self.level("approach", rng.uniform(40, 150), pattern, downwind)
        self.turned("approach", 90, 3.0, pattern, downwind)
        glide = -kind.approach_kt * 5.3
        self.turn = 3.0
        self.wait("approach", 30, kind.approach_kt * 1.1, glide * 0.9)
        self.turn = 0.0
        low = ground + (rng.uniform(100, 350) if end == "go-around" else 50)
        while self.h > low:
            self.second("approach", glide, kind.approach_kt)
        if end == "go-around":
            return
        while self.h > ground + 5:
            self.second("landing", max(glide, -(self.h - ground) * 12), kind.approach_kt - 5)
        self.h, self.v, self.wheels = ground, 0.0, 1.0
        if end == "full stop":
            brake = rng.uniform(3.0, 5.0)
            while self.kt > 20:
                self.second("landing", 0.0, 0.0, brake)
            return
        # Flaps up, trim, power: the speed falls, then rises again.
        for _ in range(int(rng.uniform(4, 12))):
            self.second("landing", 0.0, 0.0, 1.5)
        pull = rng.uniform(*kind.pull_kt_s)
        while self.kt < kind.rotate:
            self.second("take-off", 0.0, 300.0, pull)

    def steep_turns(self, height: float) -> None:
        """Turn once or twice through a full circle, banked by 43 to 58 deg."""
        for sign in self.rng.permutation([-1.0, 1.0])[: int(self.rng.integers(1, 3))]:
            bank = np.radians(self.rng.uniform(43, 58))
            true = self.kt * (1 + 0.02 * self.h / 1000)
            rate = float(np.degrees(GRAVITY_KT_S * np.tan(bank) / true))
            self.turned("manoeuvring", 360, float(sign) * rate, height + self.rng.normal(0, 40),
                        self.kind.cruise_kt * 0.9)
            self.level("manoeuvring", self.rng.uniform(3, 15), height, self.kind.cruise_kt * 0.9)

    def stall(self, height: float) -> None:
        """Slow down level to the stall, lose height in the recovery, and climb back."""
        rng, kind = self.rng, self.kind
        speed = kind.rotate * rng.uniform(0.72, 0.85)
        # The entry: a knot a second or so (the certification rules' rate).
        while self.kt > speed:
            self.second("manoeuvring", (height - self.h) * 6.0, 0.0, rng.uniform(0.8, 1.6))
        lost = rng.uniform(180, 600)
        bottom = self.h - lost
        while self.h > bottom:
            self.second("manoeuvring", -rng.uniform(1500, 3000), kind.climb_kt, 3.0)
        self.to("manoeuvring", height, rng.uniform(600, 1200), kind.climb_kt)

    def airwork(self, height: float, exercises: int) -> None:
        """Fly exercises with short rests; the block begins and ends with stalls."""
        rng = self.rng
        for i in range(exercises):
            stalls = i in (0, exercises - 1) or rng.random() < 0.5
            if stalls:
                for _ in range(int(rng.integers(1, 4))):
                    self.stall(height)
            else:
                self.steep_turns(height)
            if i < exercises - 1:
                self.level("manoeuvring", rng.uniform(15, 100), height, self.kind.cruise_kt * 0.9)


def circuits(seed: int) -> Flight:
    """Fly a session of three to eight circuits."""
    rng = np.random.default_rng([1931, seed])
    ground = rng.uniform(-200, 3000)
    pilot = Trainee(LIGHT if seed % 2 else TURBOPROP, rng, ground)
    pilot.taxi(rng.uniform(60, 300))
    pilot.kt = 0.0
    pull = rng.uniform(*pilot.kind.pull_kt_s)
    while pilot.kt < pilot.kind.rotate:
        pilot.second("take-off", 0.0, 300.0, pull)
    for _ in range(int(rng.integers(2, 8))):
        pilot.circuit(ground, str(rng.choice(["touch", "touch", "touch", "go-around"])))
    pilot.circuit(ground, "full stop")
    pilot.taxi(rng.uniform(60, 300))
    return pilot.flight


def airwork(seed: int) -> Flight:
    """Fly out to the training area, exercises there, and home again."""
    rng = np.random.default_rng([1932, seed])
    ground = rng.uniform(-200, 2500)
    pilot = Trainee(LIGHT if seed % 2 else TURBOPROP, rng, ground)
    kind = pilot.kind
    pilot.taxi(rng.uniform(60, 300))
    fpm = pilot.take_off()
    area = float(np.round(ground + rng.uniform(4500, 8000), -2))
    pilot.to("climb", area, fpm, kind.climb_kt)
    pilot.level("cruise", rng.uniform(330, 700), area, kind.cruise_kt)
    pilot.airwork(area, int(rng.integers(3, 7)))
    pilot.level("cruise", rng.uniform(330, 700), area, kind.cruise_kt)
    pilot.to("descent", ground + rng.uniform(3600, 4200), rng.uniform(*kind.descend_fpm),
             kind.descend_kt)
    pilot.approach(ground, False)
    pilot.taxi(rng.uniform(60, 300))
    return pilot.flight


SCRIPTS: dict[str, Callable[[int], Flight]] = {"circuits": circuits, "airwork": airwork}


def mixed(seed: int) -> Flight:
    """Fly one of all: missions of the line, circuits and airwork."""
    return (missions.fly, circuits, airwork)[seed % 3](seed)


def main() -> None:
    flights = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    for name, script in {**SCRIPTS, "all together": mixed}.items():
        for channels in (CHANNELS, CHANNELS[:2], ATTITUDE):
            for rate in (1.0, 0.25):
                print(f"{name}: {flights} flights, {rate} Hz, {', '.join(channels)}")
                print(missions.printed(missions.confusion(
                    flights, channels, rate, start=missions.START, script=script,
                    snippets=False)), "\n")


if __name__ == "__main__":
    main()
