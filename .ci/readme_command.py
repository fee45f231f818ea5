"""Prints one of the README's two commands, `demo` or `test`: the block that follows the comment with its name."""

import re
import sys
from pathlib import Path


def main() -> None:
    """Find the block; exit with a sentence where the README has none or several."""
    name = sys.argv[1]
    text = Path("README.md").read_text(encoding="utf-8")
    blocks = re.findall(rf"<!-- command: {re.escape(name)} -->\n```sh\n(.*?)```", text, re.DOTALL)
    if len(blocks) != 1:
        sys.exit(f"README.md has {len(blocks)} commands named {name!r}; it must have one")
    print(blocks[0].strip())


if __name__ == "__main__":
    main()
