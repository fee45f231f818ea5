"""The process in which the coverage-guided fuzzer runs: `python -m tests.fuzzing.guided COMMAND FAILURES [flags]`.

It is a process of its own because the fuzzer never returns. A failure is written down, once for each kind, and the
fuzzing goes on. The fuzzer's own lines on standard error tell executions and coverage.
"""

from __future__ import annotations

import hashlib
import sys
from pathlib import Path
from random import Random

import atheris

with atheris.instrument_imports(include=["parsers", "ttp"], enable_loader_override=False):
    import ttp  # noqa: F401 - what the matching of a template branches on is coverage, too

    from parsers import catalogue
    from parsers import read as _read  # noqa: F401 - so that all of it is instrumented

from tests.fuzzing.damage import damaged
from tests.fuzzing.judging import failure
from tests.fuzzing.seeds import seeds

_BY_HAND = 0.8


def main() -> None:
    """Fuzz until the fuzzer's own flags end it."""
    command, failures, *flags = sys.argv[1:]
    known = {path.name.rsplit("-", 1)[0] for path in Path(failures).iterdir()}
    texts = seeds(command)

    def run(data: bytes) -> None:
        found = failure(command, data.decode("utf-8", "surrogateescape"), timed=True)
        if found is None:
            return
        name = f"{catalogue.slug(command)}-{found.kind}"
        if name in known:
            return
        known.add(name)
        digest = hashlib.sha256(data).hexdigest()[:12]
        Path(failures, f"{name}-{digest}").write_bytes(data)
        print(f"FAILURE {name}-{digest}\n{found.text}", file=sys.stderr, flush=True)

    def mutate(data: bytes, most: int, seed: int) -> bytes:
        chance = Random(seed)
        if chance.random() > _BY_HAND:
            return bytes(atheris.Mutate(data, most))
        return _bytes(damaged(data.decode("utf-8", "surrogateescape"), chance, texts))[:most]

    atheris.Setup([sys.argv[0], *flags], run, custom_mutator=mutate)
    atheris.Fuzz()


def _bytes(text: str) -> bytes:
    """The bytes that a session would have taken for this text; those of a surrogate that stands for no byte."""
    try:
        return text.encode("utf-8", "surrogateescape")
    except UnicodeEncodeError:
        return text.encode("utf-8", "surrogatepass")


if __name__ == "__main__":
    main()
