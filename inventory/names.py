"""What a name may be: text on one line and, where a folder is called by it, nothing that a file system minds."""

from __future__ import annotations

import re

LONGEST = 200
NOT_ONE_LINE = f"must be a line of at most {LONGEST} visible characters"
NO_FOLDER = (
    "a member's name must be usable as a folder's name: letters, digits and hyphens such as quay-a; blanks at an end, "
    "/ \\ : * ? \" < > |, a dot or a hyphen in front, and names of devices such as con aren't"
)

# What Windows and shells take for something else than a part of a name is refused everywhere: folders travel.
_NOT_IN_FOLDERS = set('/\\:*?"<>|')
_DEVICES = re.compile(r"(con|prn|aux|nul|(com|lpt)[0-9])(\..*)?", re.IGNORECASE)
_LONGEST_FOLDER_BYTES = 255
# Files of our own that stand beside the members' folders, or in them.
_TAKEN = ("manifest.json", "selection.json")


def is_one_line(name: str) -> bool:
    """Whether it can be shown as it is: not blank, no control characters, no novel."""
    return bool(name.strip()) and name.isprintable() and len(name) <= LONGEST


def is_folder(name: str) -> bool:
    """Whether a folder of this name is made, and found again, on any file system."""
    return (
        bool(name)
        and name == name.strip()
        and not name.startswith((".", "-"))
        and not name.endswith(".")
        and name.isprintable()
        and not set(name) & _NOT_IN_FOLDERS
        and not _DEVICES.fullmatch(name)
        and len(name.encode("utf-8", "replace")) <= _LONGEST_FOLDER_BYTES
        and name.lower() not in _TAKEN
    )
