"""The demo without a person: unknown hang -> robot session -> solve -> follow -> measured beams, real processes."""

from __future__ import annotations

import json
import subprocess
import sys

SEED = 3


def test_the_demo_calibrates_follows_and_goes_dark() -> None:
    words = ["--seconds", "5", "--seed", str(SEED), "--json", "--no-view", "--universe", "30270"]
    done = subprocess.run(
        [sys.executable, "-m", "bridge", "demo", *words], capture_output=True, text=True, timeout=300, check=False
    )
    print(f"seed {SEED}", done.stderr)
    assert done.returncode == 0, done.stderr + done.stdout
    found = json.loads(done.stdout)
    assert found["session"]["sightings"] == 60
    assert found["session"]["missed"] == []
    # 60 beams with 3 cm per axis: RMS 4.24 +- 0.4 cm at 1 sigma; 5 sigma per axis is no hand but a fault
    assert 0.03 < found["session"]["hand_rms_m"] < 0.056
    assert found["session"]["hand_worst_m"] < 0.16
    assert found["trusted"] is True
    assert found["calibration"]["unsolved"] == []
    # facts/solver.md: 5 marks, 3 cm hand, 1 cm survey: 3.2 to 3.5 cm RMS, 5.6 to 6.4 cm at 95 % (mean over rigs)
    assert found["calibration"]["all"]["rms_m"] < 0.045
    assert found["calibration"]["all"]["p95_m"] < 0.09
    assert found["standing"]["all"]["rms_m"] < 0.06
    assert found["standing"]["all"]["in_pool"] == 1.0
    assert found["strolling"]["all"]["in_pool"] > 0.99
    # facts/motion.md: not led, beams are 15 cm behind a stroll; led, what is left is the poses' error and the machine's
    led, plain = (found[name]["all"]["rms_m"] for name in ("strolling", "strolling_not_led"))
    assert led < 0.08 < plain
    # fade 0.2 s + 0.1 s; one measurement is 0.04 s
    assert found["leaving"]["all"]["longest_lit_outside_s"] <= 0.34
    assert found["leaving"]["all"]["lit_outside_s"] > 0, "nobody left: the blackout was not tried"
    desk = found["desk"]
    assert (desk["priority"], desk["universes"], desk["failed"]) == (100, [30370, 30371], 0)
    # The cues change a colour by 0.3 of full a second at most, the light by 0.2: a tenth is a third of a second late
    assert desk["colour_off"] < 0.1
    assert desk["light_off"] < 0.1
    assert 0.55 < desk["light"][0] <= desk["light"][1] <= 1.0
    assert found["bridge_exit"] == 0
    assert found["dark_at_the_end"] is True


def test_wrong_arguments_are_exit_2() -> None:
    for words in (["--seconds", "0"], ["--seed", "-1"], ["--universe", "70000"], ["--view", "nowhere"]):
        done = subprocess.run(
            [sys.executable, "-m", "bridge", "demo", *words], capture_output=True, text=True, timeout=60, check=False
        )
        assert done.returncode == 2, words
        assert "expected" in done.stderr
