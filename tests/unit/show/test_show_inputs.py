# ruff: noqa: E501 (rows of a table stay rows)
"""`inputs:` in network.yaml, `source` and `motion` of targets: what is read, and one test per reason to refuse."""

from __future__ import annotations

import pytest

from bridge.geometry.stage import Source, Walk
from bridge.show.inputs_cross import is_point
from bridge.wire.settings import InputSettings

STAGE, NET = "stage.yaml", "network.yaml"
LAST = "record: {folder: captures, days: 14, megabytes: 2000}\n"
INPUTS = """inputs:
  tags: {protocol: otp, interface: eth1, system: 3}
  stage: {protocol: psn, interface: 10.0.0.5, to: "239.1.2.3:5000"}
  sound: {protocol: adm-osc, listen: "10.0.0.5:4002"}
"""
TARGETS = (
    "targets: {lead: {height: 1.3, size: 2.0, source: osc, sizes: {tight: 0.8, half: 1.2}, heights: {seated: 0.9}}}\n"
)


def with_inputs(folder, text: str = INPUTS) -> None:
    folder.edit(NET, LAST, LAST + text)


def with_targets(folder, text: str) -> int:
    with_inputs(folder)
    return folder.edit(STAGE, TARGETS, text)


def test_every_input_is_read(folder) -> None:
    with_inputs(folder)
    assert folder.load().network.inputs == {
        "tags": InputSettings("otp", "eth1", 3),
        "stage": InputSettings("psn", "10.0.0.5", host="239.1.2.3", port=5000),
        "sound": InputSettings("adm-osc", host="10.0.0.5", port=4002),
    }


def test_an_input_needs_its_protocol_alone(folder) -> None:
    assert folder.load().network.inputs == {}
    with_inputs(folder, "inputs: {a: {protocol: otp}, b: {protocol: psn}, c: {protocol: adm-osc}}\n")
    assert folder.load().network.inputs == {
        "a": InputSettings("otp", None, 1),
        "b": InputSettings("psn", host="236.10.10.10", port=56_565),
        "c": InputSettings("adm-osc", host="127.0.0.1", port=4001),
    }


GROUP = 'an IPv4 multicast group and a port from 1 to 65535, such as "236.10.10.10:56565" (what is sent to one address of this machine is not heard)'
MAPPING = (
    'a mapping of names to inputs such as {tags: {protocol: otp}, stage: {protocol: psn, to: "236.10.10.10:56565"}}'
)


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("tags: {}", "tags: found no key 'protocol', which is required"),
        ("tags: otp", "tags: found 'otp', allowed is a mapping such as {protocol: otp, system: 1}"),
        ("tags: {protocol: opt}", "tags.protocol: found 'opt', allowed is otp or psn or adm-osc (nearest is 'otp')"),
        ("tags: {protocol: otp, system: 0}", "tags.system: found 0, allowed is a whole number from 1 to 200"),
        ("tags: {protocol: otp, system: 201}", "tags.system: found 201, allowed is a whole number from 1 to 200"),
        ("tags: {protocol: otp, listen: '127.0.0.1:1'}", "tags.listen: found 'listen', a key of adm-osc, beside protocol otp; allowed: protocol, interface, system"),
        ("a: {protocol: psn, system: 1}", "a.system: found 'system', a key of otp, beside protocol psn; allowed: protocol, interface, to"),
        ("a: {protocol: psn, listen: '127.0.0.1:9'}", "a.listen: found 'listen', a key of adm-osc, beside protocol psn, nearest is 'to'; allowed: protocol, interface, to"),
        ("a: {protocol: adm-osc, to: '236.10.10.10:5'}", "a.to: found 'to', a key of psn, beside protocol adm-osc, nearest is 'listen'; allowed: protocol, listen"),
        ("a: {protocol: adm-osc, interface: eth0}", "a.interface: found 'interface', a key of otp and psn, beside protocol adm-osc, nearest is 'listen'; allowed: protocol, listen"),
        ("a: {protocol: psn, to: '10.0.0.9:56565'}", f"a.to: found '10.0.0.9:56565', allowed is {GROUP}"),
        ("a: {protocol: psn, to: 236.10.10.10}", f"a.to: found '236.10.10.10', allowed is {GROUP}"),
        ("a: {protocol: psn, to: '236.10.10.10:0'}", f"a.to: found '236.10.10.10:0', allowed is {GROUP}"),
        ("a: {protocol: psn, to: '236.10.10.999:5'}", f"a.to: found '236.10.10.999:5', allowed is {GROUP}"),
        ("a: {protocol: psn, to: [1]}", f"a.to: found [1], allowed is {GROUP}"),
        ("my tags: {protocol: otp}", "found the name 'my tags', allowed is a name of letters, digits, - and _"),
        ("a/b: {protocol: otp}", "found the name 'a/b', allowed is a name of letters, digits, - and _"),
    ],
)  # fmt: skip
def test_an_input_is_refused(folder, written: str, says: str) -> None:
    line = folder.edit(NET, LAST, LAST) + 2
    with_inputs(folder, f"inputs:\n  {written}\n")
    assert folder.problems() == [f"network.yaml:{line}: inputs{'.' if not says.startswith('found') else ': '}{says}"]


def test_inputs_are_a_mapping(folder) -> None:
    line = folder.edit(NET, LAST, LAST) + 1
    with_inputs(folder, "inputs: [tags]\n")
    assert folder.problems() == [f"network.yaml:{line}: inputs: found ['tags'], allowed is {MAPPING}"]


def test_a_mistyped_key_has_its_nearest(folder) -> None:
    with_inputs(folder, "inputs: {a: {protocol: otp, sytem: 2}}\n")
    (said,) = folder.problems()
    assert "inputs.a: found unknown key 'sytem', nearest is 'system'" in said


OWN = "allowed is a place of its own"


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        (["a: {protocol: otp}", "b: {protocol: otp, interface: 127.0.0.1}"], "found system 1 on 127.0.0.1, where 'a' is heard already (line {a})"),
        (["a: {protocol: psn}", "b: {protocol: psn}"], "found 236.10.10.10:56565 on 127.0.0.1, where 'a' is heard already (line {a})"),
        (["a: {protocol: adm-osc}", "b: {protocol: adm-osc, listen: '0.0.0.0:4001'}"], "found 0.0.0.0:4001, where 'a' is heard already (line {a})"),
    ],
)  # fmt: skip
def test_two_inputs_at_one_place(folder, rows: list[str], says: str) -> None:
    line = folder.edit(NET, LAST, LAST) + 2
    with_inputs(folder, "inputs:\n" + "".join(f"  {row}\n" for row in rows))
    assert folder.problems() == [f"network.yaml:{line + 1}: inputs.b: {says.format(a=line)}, {OWN}"]


def test_adm_osc_needs_another_port_than_osc(folder) -> None:
    line = folder.edit(NET, LAST, LAST) + 1
    with_inputs(folder, "inputs: {a: {protocol: adm-osc, listen: '0.0.0.0:9000'}}\n")
    says = "inputs.a.listen: found 0.0.0.0:9000, where osc listens (127.0.0.1:9000), allowed is another port"
    assert folder.problems() == [f"network.yaml:{line}: {says}"]


@pytest.mark.parametrize(
    "rows",
    [
        "{a: {protocol: otp}, b: {protocol: otp, system: 2}, c: {protocol: otp, interface: eth1}}",
        "{a: {protocol: psn}, b: {protocol: psn, to: '236.10.10.10:56566'}, c: {protocol: psn, interface: eth1}}",
        "{a: {protocol: adm-osc, listen: '127.0.0.1:0'}, b: {protocol: adm-osc, listen: '127.0.0.1:0'}}",
        "{a: {protocol: adm-osc, listen: '10.0.0.1:4001'}, b: {protocol: adm-osc, listen: '10.0.0.2:4001'}}",
        "{a: {protocol: adm-osc, listen: '127.0.0.1:8787'}}",  # the panel's is TCP
    ],
)
def test_places_that_are_not_the_same(folder, rows: str) -> None:
    with_inputs(folder, f"inputs: {rows}\n")
    assert len(folder.load().network.inputs) in (1, 2, 3)


def test_sources_and_motion_are_read(folder) -> None:
    with_targets(
        folder,
        "targets:\n"
        "  lead: {source: {input: tags, point: 01/7, z: tag}, motion: {predict: off, fastest: 4.5, noise: 2 cm, delay: 0.03}}\n"
        "  b: {source: [{input: stage, point: 4}, {input: sound, point: 4}], motion: {noise: auto}}\n"
        "  c: {source: osc}\n"
        "  d:\n",
    )
    a, b, c, d = folder.load().stage.targets
    assert a.sources == (Source("tags", "1/7", "tag"),)
    assert a.walk == Walk(predict=False, fastest=4.5, noise=0.02, delay=0.03)
    assert b.sources == (Source("stage", "4"), Source("sound", "4"))
    assert (b.walk, c.sources, c.walk, d.sources, d.walk) == (Walk(), (), Walk(), (), Walk())


POINT = "the number of a point, or GROUP/POINT such as 1/7"


@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("source: tags", "source: found 'tags', allowed is osc, or {input: tags, point: 1/7}, or a list of such points, the preferred first"),
        ("source: []", "source: found [], allowed is a list of points {input: tags, point: 1/7}, a list of at least 1"),
        ("source: [osc]", "source.1: found 'osc', allowed is a point {input: tags, point: 1/7} in a list: OSC is heard beside every one of them"),
        ("source: {input: tags}", "source: found no key 'point', which is required"),
        ("source: {point: 1/7}", "source: found no key 'input', which is required"),
        ("source: {input: tags, point: x}", f"source.point: found 'x', allowed is {POINT}"),
        ("source: {input: tags, point: 1.5}", f"source.point: found 1.5, allowed is {POINT}"),
        ("source: {input: tags, point: 1/2/3}", f"source.point: found '1/2/3', allowed is {POINT}"),
        ("source: {input: tags, point: on}", f"source.point: found 'on', allowed is {POINT}"),
        ("source: {input: tags, point: 1/7, z: up}", "source.z: found 'up', allowed is floor or tag"),
        ("source: [{input: tags, point: 1/7}, {input: tags, point: 1/07}]", "source: found a list of 2, allowed is each point once (1/7 of tags is there twice)"),
        ("source: {input: tag, point: 1/7}", "source.input: found unknown input 'tag', nearest is 'tags'; allowed: tags, stage, sound"),
        ("source: {input: tags, point: 7}", "source.point: found 7 of 'tags', allowed is GROUP/POINT such as 1/7, the group from 1 to 60000, the point from 1 to 4294967295 (otp)"),
        ("source: {input: stage, point: 70000}", "source.point: found 70000 of 'stage', allowed is the number of a tracker from 0 to 65535 (psn)"),
        ("source: [{input: tags, point: 1/7}, {input: sound, point: 0}]", "source.2.point: found 0 of 'sound', allowed is the number of an object from 1 on (adm-osc)"),
        ("motion: {predict: maybe}", "motion.predict: found 'maybe', allowed is on or off"),
        ("motion: {fastest: 0}", "motion.fastest: found 0, allowed is a number above 0 and up to 100 m/s"),
        ("motion: {noise: 0}", "motion.noise: found 0, allowed is a length above 0 and up to 10 m"),
        ("motion: {noise: on}", "motion.noise: found 'on', allowed is metres, or text with a unit such as 3.2 m, 320 cm, 3200 mm, 126 in, 10.5 ft or 10' 6\", above 0 and up to 10 m"),
        ("motion: {delay: 2.5}", "motion.delay: found 2.5, allowed is a number from 0 to 2 s"),
        ("motion: {delay: -0.1}", "motion.delay: found -0.1, allowed is a number from 0 to 2 s"),
        ("motion: on", "motion: found 'on', allowed is a mapping such as {predict: on, fastest: 9}"),
    ],
)  # fmt: skip
def test_a_source_or_motion_is_refused(folder, written: str, says: str) -> None:
    line = with_targets(folder, f"targets:\n  lead: {{{written}}}\n") + 1
    assert folder.problems() == [f"stage.yaml:{line}: targets.lead.{says}"]


def test_a_point_steers_one_target(folder) -> None:
    line = with_targets(
        folder,
        "targets:\n  lead: {source: {input: tags, point: 1/7}}\n  other: {source: [{input: stage, point: 1}, {input: tags, point: 1/7}]}\n",
    )
    says = f"found 1/7 of 'tags', which steers lead already (line {line + 1}), allowed is each point for one target"
    assert folder.problems() == [f"stage.yaml:{line + 2}: targets.other.source.2.point: {says}"]


def test_without_inputs_no_source_is_known(folder) -> None:
    line = folder.edit(STAGE, TARGETS, "targets: {lead: {source: {input: tags, point: 1/7}}}\n")
    says = "found unknown input 'tags'; allowed: none is defined"
    assert folder.problems() == [f"stage.yaml:{line}: targets.lead.source.input: {says}"]


def test_an_input_with_a_problem_is_not_also_unknown(folder) -> None:
    with_targets(folder, "targets: {lead: {source: {input: tags, point: 1/7}}}\n")
    line = folder.edit(NET, "system: 3", "system: 999")
    assert folder.problems() == [
        f"network.yaml:{line}: inputs.tags.system: found 999, allowed is a whole number from 1 to 200"
    ]


@pytest.mark.parametrize(
    ("protocol", "point", "is_one"),
    [
        ("otp", "1/1", True),
        ("otp", "60000/4294967295", True),
        ("otp", "60001/1", False),
        ("otp", "1/4294967296", False),
        ("otp", "0/1", False),
        ("otp", "1/0", False),
        ("otp", "1", False),
        ("psn", "0", True),
        ("psn", "65535", True),
        ("psn", "65536", False),
        ("psn", "1/1", False),
        ("adm-osc", "1", True),
        ("adm-osc", "0", False),
        ("adm-osc", "1/1", False),
    ],
)
def test_what_may_be_a_point_of_a_protocol(protocol: str, point: str, is_one: bool) -> None:
    """Ranges: E1.59's group 1..60000 and point 1..2^32-1; PosiStageNet's tracker identity is 16 bits."""
    assert is_point(protocol, point) is is_one
