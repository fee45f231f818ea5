"""flash-space: is there room for the images on both members' flash?"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from collector.finding import Answer, Status
from collector.nights.night import Room
from collector.rules.parts import Part, answer
from collector.rules.roles import role
from collector.rules.rule import Rule
from collector.rules.witnesses import Judge, Word, about_standby, hear, unassigned, word
from collector.sizes import exactly, rounded
from collector.snapshot import MemberSnapshot, Reading, Snapshot
from inventory.pairs import Image
from inventory.policy import Policy
from parsers.facts.flash import Directory

OWN, PEER = "dir bootflash:", "dir stby-bootflash:"
FOLDER = "dir bootflash:core"
_REMEDY = (
    "Free space on that member's flash by the vendor's clean-up procedure: inactive packages and old images first, "
    "never what the running release or the boot variable needs. Look at the directory again afterwards."
)
_NO_IMAGE = "Add the image's file name and size in bytes, as the vendor publishes them, to the pair in the inventory."
# Below this share of what is needed, rounded sizes could hide on which side of the limit the flash is.
_CLOSE = 0.05


class _Flash(NamedTuple):
    free: int
    staged: int | None
    """How many images of the target are staged: 1 or 0; None where the files weren't listed."""
    other_size: int | None
    """The size in bytes of a file that has the image's name but not its size."""


def judge(snapshot: Snapshot, policy: Policy) -> Answer:
    """Each member's flash by its own listings, and the standby's by the active one's as well."""
    image = snapshot.pair.image
    if image is None:
        clause = f"the inventory states no image for {snapshot.pair.target_release}, so the space needed isn't known"
        return answer([Part(Status.UNKNOWN, clause, remedy=_NO_IMAGE)])

    def flash(facts: Directory) -> _Flash | None:
        return _flash(facts, image)

    def files(facts: Directory) -> tuple[int, ...]:
        return tuple(file.at for file in facts.files or () if file.name == image.file)

    room = _room(image, policy.images_to_hold)
    of_standby = about_standby(snapshot, PEER, Directory, flash, "bytes_free", rows=files, expected=True)
    parts: list[Part] = []
    for member in snapshot.members:
        own = word(member, member.read(OWN, Directory), flash, "bytes_free", rows=files)
        told = [item for item in of_standby if item.about == member.name]
        parts += hear("free space", own, [*told, *_by_folder(member, own, told, room)], room)
    return answer(parts + unassigned(of_standby, snapshot, room))


def _by_folder(
    member: MemberSnapshot, own: Word[_Flash], told: Sequence[Word[_Flash]], room: Judge[_Flash]
) -> list[Word[_Flash]]:
    """The free space below the listing of a folder, where it comes to something else than the listing that counts.

    It is the same flash, so a figure that was spoilt in one of the two stands out.
    """
    listed = own if own.value is not None or not own.withheld else next(iter(told), own)
    flash = listed.value
    if flash is None:
        return []
    reading = member.read(FOLDER, Directory)
    item = word(
        member,
        reading,
        lambda facts: flash._replace(free=facts.bytes_free) if facts.bytes_free is not None else None,
        "bytes_free",
        # An answer without totals, as of a folder that isn't there, is no loss.
        expected=reading.facts is None,
    )
    if item.value is None:
        return [item]
    return [item] if room(item, item.value).status is not room(listed, flash).status else []


def rooms(snapshot: Snapshot, policy: Policy) -> tuple[Room, ...]:
    """Each member's flash in figures, in the members' order: what a store keeps of it night after night.

    From the member's own listing, else from what its partner tells of the standby. They decide nothing: which of two
    listings counts is for the rule to say.
    """
    return tuple(_measured(snapshot, member, policy) for member in snapshot.members)


def listing(snapshot: Snapshot, member: MemberSnapshot) -> Reading[Directory]:
    """The listing that the member's room is read from."""
    own, told = member.read(OWN, Directory), snapshot.other(member).read(PEER, Directory)
    tells = told.facts is not None and role(snapshot, member) == "standby"
    return told if own.facts is None and tells else own


def _measured(snapshot: Snapshot, member: MemberSnapshot, policy: Policy) -> Room:
    facts, image = listing(snapshot, member).facts, snapshot.pair.image
    if facts is None:
        return Room(member.name, None, None, None)
    needed = None
    if image is not None:
        flash = _flash(facts, image)
        # Where the files weren't listed, nobody knows whether the image is among them.
        if flash is not None and flash.staged is not None:
            needed = _needed(flash, image, policy.images_to_hold)
    return Room(member.name, facts.bytes_free, facts.bytes_total, needed)


def _flash(facts: Directory, image: Image) -> _Flash | None:
    if facts.bytes_free is None:
        return None
    if facts.files is None:
        return _Flash(facts.bytes_free, None, None)
    sizes = [file.bytes for file in facts.files if file.name == image.file]
    staged = int(image.bytes in sizes)
    return _Flash(facts.bytes_free, staged, None if staged or not sizes else sizes[0])


def _needed(flash: _Flash, image: Image, images: int) -> int:
    """The bytes that so many images take, less what is staged already."""
    return (images - (flash.staged or 0)) * image.bytes


def _room(image: Image, images: int) -> Judge[_Flash]:
    def judged(item: Word[_Flash], flash: _Flash) -> Part:
        short = _needed(flash, image, images) - flash.free
        clause = _arithmetic(item.about, flash, image, images)
        if short <= 0:
            return Part(Status.PASS, clause, item.evidence)
        if flash.staged is None and short <= image.bytes:
            clause = f"{clause}; that is enough only if the image is staged, and the files weren't listed"
            return Part(Status.UNKNOWN, clause, item.evidence)
        return Part(Status.BLOCK, clause, item.evidence, _REMEDY)

    return judged


def _arithmetic(about: str, flash: _Flash, image: Image, images: int) -> str:
    need = images * image.bytes
    missing = _needed(flash, image, images) - flash.free
    size = exactly if abs(missing) < _CLOSE * need else rounded
    noun, need_word = ("image of", "needs") if images == 1 else ("images of", "need")
    clause = f"{about} has {size(flash.free)} free, and {images} {noun} {size(image.bytes)} {need_word} {size(need)}"
    if flash.staged:
        clause += f", of which {size(image.bytes)} is staged already"
    if flash.other_size is not None:
        clause += f" ({image.file} is there with {exactly(flash.other_size)} and doesn't count)"
    return f"{clause}: {size(missing)} short" if missing > 0 else clause


RULE = Rule(
    id="flash-space",
    title="Is there room for the images on both members' flash?",
    why="An upgrade that fills the flash halfway leaves a member with half a release, and the pair without a partner.",
    good="26458804224 bytes total (19503411200 bytes free)",
    bad="26458804224 bytes total (1411203072 bytes free)",
    needs=(OWN, PEER, FOLDER),
    judge=judge,
)
