"""Further channels of heads as files of daily life have them: macros, prism, frost, blades, control, settings."""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from tests.unit.exchange.lifelike_parts import ANY, Fn, Part, Set, cuts, iris, middle, pattern, ranges


def macro(rng: Random) -> Part:
    attribute = rng.choice(
        ["ColorMacro1", "Effects1", "ColorMacro1", "Gobo1WheelAudio", "VideoEffect1Type", "EffectsSync"]
    )
    name, start = (
        rng.choice(["No function", "No Function", "Off", "No effect", "None", "No macro", "Open"]),
        rng.choice([1, 8, 10]),
    )
    if rng.random() < 0.5:
        return Part([Fn("NoFeature", name, 0, (0, 1)), Fn(attribute, "Macro", start)], good=[(0, start - 1)])
    return Part(
        [Fn(attribute, f"{attribute} 1", 0, (0, 1), [Set(name, 0), Set("Macro 1", start), Set("Macro 2", 99)])],
        good=[(0, start - 1)],
    )


def prism(rng: Random) -> list[Part]:
    name, start = (
        rng.choice(["Open", "No effect", "Prism out", "No prism", "Off", "Prism Open"]),
        rng.choice([8, 20, 128]),
    )
    sets = [Set(name, 0, 1), Set(rng.choice(["Prism", "3-facet", "5 facet linear", "Prism in"]), start, 2)]
    if rng.random() < 0.5:
        fns = [Fn("Prism1", "Prism1 1", 0, (0, 1), sets)]
    else:
        fns = [Fn("Prism1", name, 0, (0, 0)), Fn("Prism1", "Prism in", start, (1, 1)), Fn("Prism1Macro", "Macro", 200)]
    return [Part(fns, good=[(0, start - 1)]), Part([Fn("Prism1Pos", "Index", 0), Fn("Prism1PosRotate", "Rot", 128)])]


def frost(rng: Random) -> Part:
    sets = [Set("Open", 0), Set("Frost", 10)] if rng.random() < 0.5 else []
    fns = [Fn("Frost1", "Frost1 1", 0, (0.0, 1.0), sets)]
    if rng.random() < 0.3:
        fns += [Fn("Frost1PulseOpen", "Pulse", 180), Fn("Frost1Ramp", "Ramp", 220)]
    return Part(fns, good=[(0, 9)])


def blades(rng: Random) -> list[Part]:
    out = []
    for each in range(1, 5):
        out.append(Part([Fn(f"Blade{each}A", f"Blade{each}A 1", 0, (0.0, 1.0))], good=[(0, 3)]))
        second = rng.choice(["B", "Rot"])
        turn = Part([Fn(f"Blade{each}Rot", "", 0, (-30.0, 30.0))], default=128)
        out.append(Part([Fn(f"Blade{each}B", "", 0, (0.0, 1.0))], good=[(0, 3)]) if second == "B" else turn)
    return [*out, Part([Fn("ShaperRot", "", 0, (-60.0, 60.0))], default=128)]


def animation(rng: Random) -> list[Part]:
    sets = [Set(rng.choice(["Open", "No animation", "Out"]), 0, 1), Set("Animation", 12, 2)]
    return [
        Part([Fn("AnimationWheel1", "AnimationWheel1 1", 0, (0, 1), sets)], good=[(0, 11)]),
        Part([Fn("AnimationWheel1Pos", "", 0, (0, 360))]),
    ]


def control(rng: Random) -> Part:
    """Commands, with nothing at the default: first, or elsewhere."""
    idle = rng.choice(["No function", "No Function", "Idle", "Reserved", "Normal", "Safe", "no function", "Unused"])
    commands = [
        "Lamp On (hold 3s)",
        "Lamp Off (hold 5 s)",
        "Total Reset (3s)",
        "Pan/Tilt Reset",
        "Fan mode auto",
        "Display off",
        "Blackout while pan/tilt moving",
        "Zoom/Focus reset",
        "Shutdown",
        "Calibration",
    ]
    chosen = rng.sample(commands, rng.randint(2, 7))
    at = rng.choice([0, 0, 0, len(chosen) // 2, len(chosen)])
    names = [*chosen[:at], idle, *chosen[at:]]
    starts = cuts(rng, len(names))
    good = ranges(starts, [name == idle for name in names])
    attribute = rng.choice(["Control1", "Control1", "Control2", "Function", "LampControl"])
    if rng.random() < 0.5:
        fns = [Fn(attribute, f"{attribute} 1", 0, (0, 1), [Set(n, s) for n, s in zip(names, starts, strict=True)])]
    else:
        fns = [
            Fn(
                "NoFeature"
                if n == idle and rng.random() < 0.5
                else "FixtureGlobalReset"
                if "Total" in n and rng.random() < 0.5
                else attribute,
                n,
                s,
                (0, 1),
            )
            for n, s in zip(names, starts, strict=True)
        ]
    return Part(fns, default=middle(good[0]), good=good, geometry="Base")


def speed(rng: Random) -> Part:
    name = rng.choice(["PositionMSpeed", "PositionMSpeed", "IntensityMSpeed", "ColorMixMSpeed"])
    sets = rng.choice(
        [
            [],
            [Set("Max", 0), Set("Min", 255)],
            [Set("Tracking mode", 0), Set("Vector fast -> slow", 4)],
            [Set("Fast", 0), Set("Slow", 255)],
        ]
    )
    return Part(
        [Fn(name, f"{name} 1", 0, (0.0, 1.0), sets)],
        good=[(0, 3)] if name == "PositionMSpeed" else ANY,
        geometry="Base",
    )


def setting(rng: Random) -> Part:
    name = rng.choice(
        [
            "DimmerCurve",
            "DimmerMode",
            "Fans",
            "PanTiltMode",
            "LEDFrequency",
            "NoFeature",
            "Dummy",
            "CRIMode",
            "Focus1MSpeed",
            "ZoomMSpeed",
            "BlackoutMode",
            "FanMode",
            "PixelZoomMode",
            "Gobo1MSpeed",
        ]
    )
    sets = rng.choice(
        [[], [Set("Default", 0), Set("Linear", 50), Set("Square law", 100)], [Set("Standard", 0), Set("Silent", 128)]]
    )
    return Part([Fn(name, f"{name} 1", 0, (0.0, 1.0), sets)], geometry="Base")


def turning(rng: Random, geometry: str) -> Part:
    """Endless pan in a channel of its own, which must stand still."""
    sets = [Set("No rotation", 0), Set("CW fast -> slow", 4), Set("Stop", 127), Set("CCW slow -> fast", 130)]
    sets = sets[rng.choice([0, 1]) :]
    good = ranges([0, 4, 127, 130], [sets[0].start == 0, False, True, False])
    return Part([Fn("PanRotate", "Pan Rotate", sets[0].start, (-300.0, 300.0), sets)], geometry, default=128, good=good)


def wheel_modes(rng: Random) -> list[Part]:
    """A colour wheel whose parts hang on a channel of modes."""
    choosing = [Fn("Color1Mode", "Index", 0), Fn("Color1Mode", "Spin", 128)]
    wheel = "Colours of modes"
    names = [Set(name, 30 * n, n + 1) for n, name in enumerate(["Open", "Red", "Blue", "Amber"])]
    index = Fn("Color1", "Color1 1", 0, (1, 4), names, ("wheel", "Index", 0, 127), wheel)
    spin = Fn(
        "Color1WheelSpin", "Spin", 0, (-90.0, 90.0), [Set("Stop", 0)], ("wheel", "Spin", 128, 255), "Colours of modes"
    )
    wheels = {wheel: (["Open", "Red", "Blue", "Amber"], "Open")}
    return [Part(choosing, key="wheel", good=[(0, 127)]), Part([index, spin], good=[(0, 29)], wheels=wheels)]


Maker = Callable[[Random], "Part | list[Part]"]
EXTRAS: tuple[Maker, ...] = (
    iris,
    pattern,
    lambda rng: pattern(rng, 2),
    lambda rng: pattern(rng, 1, "Color"),
    wheel_modes,
    macro,
    prism,
    frost,
    blades,
    animation,
    control,
    control,
    speed,
    setting,
    setting,
)
