"""image-staged: is the target image on both members' flash, whole?"""

from __future__ import annotations

from collections.abc import Callable

from collector.finding import Answer, Evidence, Status
from collector.rules.parts import Part, answer
from collector.rules.rule import Rule
from collector.rules.witnesses import Judge, Word, about_standby, hear, unassigned, word
from collector.snapshot import Snapshot
from inventory.pairs import Image
from inventory.policy import Policy
from parsers.facts.flash import Directory
from parsers.facts.software import Version
from parsers.release import Release

_NO_IMAGE = "Add the image's file name and size in bytes, as the vendor publishes them, to the pair in the inventory."
_COPY = (
    "Copy the image to that member's flash before the window by the vendor's procedure, and compare its checksum with "
    "the published one."
)
_AGAIN = (
    "Don't activate that file. Compare its size and checksum with what the vendor publishes: if the copy was cut off, "
    "remove it and copy it again by the vendor's procedure; if the inventory states the wrong size, correct that."
)
_Sizes = tuple[int, ...]


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """The file of the image's name on each member's flash, and the standby's by the active one's listing as well."""
    image, target = snapshot.pair.image, snapshot.pair.target_release
    if _both_run(snapshot, target):
        return Answer(Status.NOT_APPLICABLE, f"Both members run {target} already.", evidence=_releases(snapshot))
    if image is None:
        clause = f"the inventory states no image for {target}, so whether it is staged isn't known"
        return answer([Part(Status.UNKNOWN, clause, remedy=_NO_IMAGE)])

    def files(facts: Directory) -> tuple[int, ...]:
        return tuple(file.at for file in facts.files or () if file.name == image.file)

    sizes, staged = _sizes(image), _staged(image)
    of_standby = about_standby(snapshot, "dir stby-bootflash:", Directory, sizes, rows=files, expected=True)
    parts: list[Part] = []
    for member in snapshot.members:
        own = word(member, member.read("dir bootflash:", Directory), sizes, rows=files)
        told = [item for item in of_standby if item.about == member.name]
        parts += hear("staged image", own, told, staged)
    return answer(parts + unassigned(of_standby, snapshot, staged))


def _both_run(snapshot: Snapshot, target: str) -> bool:
    releases = [member.read("show version", Version).facts for member in snapshot.members]
    return all(facts is not None and _is(facts.release, target) for facts in releases)


def _is(release: str | None, target: str) -> bool:
    try:
        return Release.parse(release or "") == Release.parse(target)
    except ValueError:
        return False


def _releases(snapshot: Snapshot) -> tuple[Evidence, ...]:
    return tuple(
        line for member in snapshot.members for line in member.read("show version", Version).evidence("release")
    )


def _sizes(image: Image) -> Callable[[Directory], _Sizes | None]:
    def sizes(facts: Directory) -> _Sizes | None:
        if facts.files is None:
            return None
        return tuple(file.bytes for file in facts.files if file.name == image.file)

    return sizes


def _staged(image: Image) -> Judge[_Sizes]:
    def staged(item: Word[_Sizes], sizes: _Sizes) -> Part:
        if not sizes:
            return Part(Status.CAUTION, f"{item.about} doesn't hold {image.file} yet", item.evidence, _COPY)
        other = next((size for size in sizes if size != image.bytes), None)
        if other is None:
            clause = f"{item.about} holds {image.file} with the {image.bytes:,} bytes that the inventory states"
            return Part(Status.PASS, clause, item.evidence)
        clause = f"{item.about} holds {image.file} with {other:,} bytes, where the inventory states {image.bytes:,}"
        why = "a copy cut off or another file" if other < image.bytes else "another file"
        return Part(Status.BLOCK, f"{clause}: {why}", item.evidence, _AGAIN)

    return staged


RULE = Rule(
    id="image-staged",
    title="Is the target image on both members' flash, whole?",
    why="A copy that was cut off is found out when it is activated, in the middle of the window.",
    good="17  -rw-   1250000000  Feb 05 2027 14:02:11 +01:00  wx-universal.17.12.04.bin",
    bad="17  -rw-    731906048  Feb 05 2027 14:02:11 +01:00  wx-universal.17.12.04.bin",
    # A pair that runs the target already needs no image; and who may stand in follows from the last two.
    needs=("dir bootflash:", "dir stby-bootflash:", "show version", "show redundancy", "show chassis rmi"),
    judge=judge,
)
