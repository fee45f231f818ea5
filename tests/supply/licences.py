"""Under which licence everything stands that a user's readypair brings along: `licences.txt`, read and judged.

`python -m tests.supply.licences` prints what the installed packages say of themselves.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

from license_expression import ExpressionError, get_spdx_licensing
from packaging.utils import NormalizedName, canonicalize_name

from tests.supply.lock import FOR_USERS, asked, needed

LIST = Path(__file__).with_name("licences.txt")

# Libraries under these may be imported by a work under Apache-2.0 and installed beside it, unchanged; readypair's own
# archives hold none of them. Common practice, no source.
PERMITTED = {
    *("0BSD", "Apache-2.0", "BSD-2-Clause", "BSD-3-Clause", "CC0-1.0", "ISC", "MIT", "MIT-0", "MIT-CMU", "Zlib"),
    *("EPL-2.0", "MPL-2.0", "PSF-2.0"),
    *("LGPL-2.1-only", "LGPL-2.1-or-later", "LGPL-3.0-only"),
}

_SPDX = get_spdx_licensing()


@dataclass(frozen=True)
class Licence:
    """A package's licence as an SPDX expression; `says` is what its metadata has where that is none."""

    package: NormalizedName
    expression: str
    says: str = ""

    def __str__(self) -> str:
        return " | ".join(filter(None, (self.package, self.expression, self.says)))


def listed(text: str) -> tuple[Licence, ...]:
    """The rows of the list, in its order."""
    rows = [line for line in text.splitlines() if line and not line.startswith("#")]
    return tuple(_row(*(cell.strip() for cell in row.split("|"))) for row in rows)


def _row(package: str, expression: str, says: str = "") -> Licence:
    return Licence(canonicalize_name(package), expression, says)


def stated(package: NormalizedName) -> str:
    """What the installed package's metadata says: an SPDX expression where there is one, else what it has."""
    about = metadata.metadata(package)
    classifiers = [each for each in about.get_all("Classifier", []) if each.startswith("License :: ")]
    texts = [*about.get_all("License-Expression", []), *map(_first_line, about.get_all("License", []))]
    said = [each for each in (*texts, *classifiers) if each]
    return next(filter(None, map(_expression, said)), " / ".join(said))


def _first_line(text: str) -> str:
    return next((line.strip() for line in text.splitlines() if line.strip(" =")), "")


def _expression(text: str) -> str | None:
    try:
        return str(_SPDX.parse(text, validate=True, strict=True))
    except ExpressionError:
        return None


def permitted(expression: str) -> bool:
    """Whether what is under it may be used: all licences joined by AND, one of those joined by OR."""
    return _permits(_SPDX.parse(expression, validate=True, strict=True))


def _permits(expression: Any) -> bool:
    if isinstance(expression, _SPDX.OR):
        return any(map(_permits, expression.args))
    if isinstance(expression, _SPDX.AND):
        return all(map(_permits, expression.args))
    # With an exception it is a licence of its own.
    return str(expression) in PERMITTED


def brought() -> Iterable[NormalizedName]:
    """The packages that readypair brings to this machine, with every extra that is for users."""
    return needed(asked(*FOR_USERS)).keys()


if __name__ == "__main__":
    print(*(f"{package} | {stated(package)}" for package in brought()), sep="\n")
