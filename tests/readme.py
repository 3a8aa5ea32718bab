"""Fills the code and output blocks of README.md, or checks that they are what the code gives today.

A block follows a comment that says where it comes from:

    <!-- from: file PATH [after TEXT] -->     a source file, or what follows the paragraph whose line holds TEXT
    <!-- from: $ COMMAND [; needs NAME] -->   what a command prints when run at the top of the tree; skipped when the
                                              environment has no variable NAME
    <!-- from: summary PATH -->               a file of an earlier run; filled, never checked (times differ)

Usage: python tests/readme.py [--write]
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
README = ROOT / "README.md"
BLOCK = re.compile(r"(<!-- from: (?P<source>.*?) -->\n```\w*\n)(?P<body>.*?)(?P<end>```\n)", re.DOTALL)


def from_file(words: str) -> str:
    path, _, after = words.partition(" after ")
    lines = (ROOT / path).read_text(encoding="utf-8").splitlines()
    if after:
        start = max(k for k, line in enumerate(lines) if after in line and not line.startswith("//"))
        while lines[start].strip():
            start += 1
        lines = lines[start + 1 :]
    return "\n".join(lines).strip() + "\n"


def from_command(command: str) -> str:
    environment = dict(os.environ)
    environment["PATH"] = f"{Path(sys.executable).parent}{os.pathsep}{environment['PATH']}"
    environment["COLUMNS"] = "110"
    done = subprocess.run(
        ["bash", "-c", command], cwd=ROOT, env=environment, capture_output=True, text=True, check=False
    )
    if done.returncode != 0:
        raise SystemExit(f"README: '{command}' failed with code {done.returncode}:\n{done.stdout}{done.stderr}")
    return "\n".join(line.rstrip() for line in done.stdout.splitlines()).strip("\n") + "\n"


def expected(source: str) -> tuple[str | None, bool]:
    """Give the text of a block, or None when it cannot be made here, and whether it must agree."""
    kind, _, rest = source.partition(" ")
    if kind == "file":
        return from_file(rest), True
    if kind == "summary":
        path = ROOT / rest
        return (path.read_text(encoding="utf-8") if path.exists() else None), False
    if kind != "$":
        raise SystemExit(f"README: unknown source '{source}'")
    command, _, need = rest.partition(" ; needs ")
    if need and not os.environ.get(need):
        print(f"README: block of '{command}' skipped, {need} is not set")
        return None, True
    return from_command(command), True


def blocks() -> list[tuple[str, str]]:
    """Give every block of the page: where it comes from, and what stands in it."""
    return [(match["source"], match["body"]) for match in BLOCK.finditer(README.read_text(encoding="utf-8"))]


def difference(source: str, standing: str) -> str | None:
    """Say what a block should hold and does not; None when it holds it or cannot be made here."""
    body, must_agree = expected(source)
    if body is None or not must_agree or body == standing:
        return None
    return f"README: the block of '{source}' is not what the code gives today; it gives:\n{body}"


def main() -> int:
    found = blocks()
    if not found:
        raise SystemExit("README: no blocks found")
    wrong = 0
    if "--write" in sys.argv[1:]:

        def replace(match: re.Match[str]) -> str:
            nonlocal wrong
            body, _ = expected(match["source"])
            if body is None or body == match["body"]:
                return match[0]
            wrong += 1
            return f"{match[1]}{body}{match['end']}"

        README.write_text(BLOCK.sub(replace, README.read_text(encoding="utf-8")), encoding="utf-8")
        print(f"README: {len(found)} blocks, {wrong} changed")
        return 0
    for source, standing in found:
        message = difference(source, standing)
        if message is not None:
            wrong += 1
            print(message)
    print(f"README: {len(found)} blocks, {wrong} differ")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
