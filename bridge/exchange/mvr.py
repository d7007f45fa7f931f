"""An MVR file (DIN SPEC 15801) in our words: its heads where they hang, their patch, and the profiles they bring."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from bridge.errors import FileRefused
from bridge.exchange.archive import MOST_XML, Archive
from bridge.exchange.found import Found, FoundFixture, FoundProfile
from bridge.exchange.mvr_fields import switch_of
from bridge.exchange.mvr_patch import Patch, Universes, patch_in
from bridge.exchange.mvr_place import Pose, odd_places, pose_of
from bridge.exchange.mvr_says import Says, shown
from bridge.exchange.mvr_scene import UNREAD, Placed, Scene
from bridge.exchange.mvr_types import Types, Use, type_of
from bridge.exchange.xml_tree import Element, parse_xml
from bridge.rig.fixture import Vector3

SCENE = "GeneralSceneDescription.xml"
LONGEST_NAME = 200
MOST_FIXTURES = 10_000


def read_mvr(source: Path | bytes, what: str, mode: str | None = None) -> Found:
    """The heads of a drawing; `mode` is what a person answers where a fixture's mode is none of its type.

    Raises FileRefused where it is no such archive or its scene cannot be read; all else is said in what is returned.
    """
    archive = Archive(source, what)
    try:
        scene = Scene(_root(archive))
        return _Reader(archive, scene, mode).found()
    finally:
        archive.close()


def _root(archive: Archive) -> Element:
    member = archive.find(SCENE)
    if member is None:
        gdtf = archive.find("description.xml") is not None
        likely = "is it a GDTF file, of one fixture type?" if gdtf else "is it an MVR file?"
        raise FileRefused(f"{archive.what}: expected {SCENE} in it, found {len(archive.names)} other files: {likely}")
    root = parse_xml(archive.read(member, MOST_XML), f"{archive.what}, {member}", UNREAD)
    if root.tag.casefold() != SCENE[:-4].casefold():
        raise FileRefused(f"{archive.what}: expected a scene (<{SCENE[:-4]}>) in {member}, found <{root.tag[:60]}>")
    return root


class _Reader:
    def __init__(self, archive: Archive, scene: Scene, mode: str | None) -> None:
        self._scene = scene
        self._says = Says()
        self._universes = Universes()
        self._ids: set[str] = set()
        self._uses: dict[int, Use] = {}
        self._poses: list[tuple[str, Pose]] = []
        placed = list(scene.objects())
        self._fixtures = [each for each in placed if each.kind == "fixture"]
        if len(self._fixtures) > MOST_FIXTURES:
            raise FileRefused(f"{archive.what}: found {len(self._fixtures)} fixtures, allowed are {MOST_FIXTURES}")
        self._others = Counter(each.kind for each in placed)
        used: dict[Use, list[str]] = {}
        for each in self._fixtures:
            used.setdefault(self._use(each), []).append(_label(each))
        self._types = Types(archive, used, self._says, mode)

    def found(self) -> Found:
        heads = [head for each in self._fixtures if (head := self._head(each)) is not None]
        self._the_rest()
        types, says = self._types, self._says
        return Found(
            profiles=tuple(types.profiles.values()),
            fixtures=tuple(heads),
            questions=(*says.questions(), *odd_places(self._poses)),
            skipped=says.skipped(),
            notes=says.notes(),
            asks=tuple(types.asks),
        )

    def _head(self, placed: Placed) -> FoundFixture | None:
        said, label = placed.said, _label(placed)
        use = self._use(placed)
        known = self._types.of(use)
        patch = patch_in(placed.element, known.breaks)
        why = known.why or _multipatch(said) or patch.why
        if not why:
            footprint = known.profile.document["footprint"] if known.profile else 1
            why = self._universes.refuse(patch, footprint, label)
        if why:
            self._says.skip(label, placed.place.where, type_of(use.spec), why)
            return None
        self._says.note(patch.note, label)
        profile = self._types.taken(known.profile) if known.profile is not None else None
        for axis in (each for each in ("pan", "tilt") if profile is None and getattr(use, f"invert_{each}")):
            self._says.ask(f"its patch inverts {axis}: give it a profile whose {axis} runs from the other end", label)
        pose = pose_of(placed.place, _axes_of(profile), known.base)
        self._says.ask(pose.question, label)
        self._says.note(pose.note, label)
        self._poses.append((label, pose))
        return self._fixture(placed, use, patch, profile, pose)

    def _fixture(
        self, placed: Placed, use: Use, patch: Patch, profile: FoundProfile | None, pose: Pose
    ) -> FoundFixture:
        truss = self._scene.truss_of(placed)
        if not truss and any(step.startswith("group") for step in placed.place.way):
            self._says.note(
                "in a group, but on no truss: say `truss` in rig.yaml where the group is one", _label(placed)
            )
        return FoundFixture(
            name=placed.said.get("name", "")[:LONGEST_NAME],
            id=self._id(placed),
            number=_number(placed.said),
            where=placed.place.where,
            profile=profile.key if profile is not None else None,
            type=type_of(use.spec),
            mode=use.mode,
            universe=patch.universe,
            address=patch.address,
            hang=pose.hang,
            at=pose.at,
            truss=truss,
        )

    def _use(self, placed: Placed) -> Use:
        said = placed.said
        if id(placed.element) not in self._uses:
            inverted = [self._inverted(placed, axis) for axis in ("pan", "tilt")]
            self._uses[id(placed.element)] = Use(said.get("gdtfspec", ""), said.get("gdtfmode", ""), *inverted)
        return self._uses[id(placed.element)]

    def _inverted(self, placed: Placed, axis: str) -> bool:
        said = placed.said.get(f"dmxinvert{axis}")
        switch = switch_of(said)
        if said is not None and switch is None:
            text = f"DMXInvert{axis.title()} says '{shown(said)}', neither true nor false: taken as false"
            self._says.ask(text, _label(placed))
        return bool(switch)

    def _id(self, placed: Placed) -> str:
        uuid = placed.said.get("uuid", "")[:LONGEST_NAME]
        bare = uuid.strip("{}").casefold()
        if not bare or bare in self._ids:
            why = "the same uuid as another fixture" if uuid else "no uuid"
            self._says.note(f"{why}: a later import knows it by its name only", _label(placed))
            return ""
        self._ids.add(bare)
        return uuid

    def _the_rest(self) -> None:
        if self._others["projector"]:
            self._says.skip_all(f"{self._others['projector']} projectors", "projectors have no pan and tilt")
        for symbol, count in self._scene.defined.items():
            self._says.skip_all(
                f"{count} fixtures in the definition of symbol '{shown(symbol)}'",
                "what a symbol draws has no patch of its own: place these fixtures themselves",
            )
        if not self._fixtures:
            self._says.note("no fixtures are in it", "")


def _label(placed: Placed) -> str:
    """A fixture in messages: its name, and its number where it has one."""
    name = placed.said.get("name", "") or type_of(placed.said.get("gdtfspec", "")) or "a fixture without a name"
    number = _number(placed.said)
    return f"{shown(name)} ({number})" if number and number != name else shown(name)


def _number(said: dict[str, str]) -> str:
    """FixtureID, else CustomId, else FixtureIDNumeric; 0 is none."""
    for key in ("fixtureid", "customid", "fixtureidnumeric"):
        if said.get(key, "").strip("0"):
            return said[key][:60]
    return ""


def _multipatch(said: dict[str, str]) -> str:
    """Why a fixture that moves along with another is none of ours, or ""."""
    for key in ("multipatch", "multipatchrequest"):
        if said.get(key, "").strip("0-{} "):
            return f"moves along with another fixture (multipatch of {shown(said[key])}): it has no channels of its own"
    return ""


def _axes_of(profile: FoundProfile | None) -> Vector3:
    """Where pan and tilt axes meet from where drawings place the base, m, hanging frame."""
    x, y, z = profile.document.get("axes_at", (0, 0, 0)) if profile is not None else (0, 0, 0)
    return float(x), float(y), float(z)
