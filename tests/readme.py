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


def sources() -> list[str]:
    """Say where every block comes from, in the order of the page."""
    return [match["source"] for match in BLOCK.finditer(README.read_text(encoding="utf-8"))]


def difference(source: str) -> str | None:
    """Give what the block of a source should hold and does not; None when it holds it or cannot be made here."""
    for match in BLOCK.finditer(README.read_text(encoding="utf-8")):
        if match["source"] == source:
            body, must_agree = expected(source)
            return body if body is not None and must_agree and body != match["body"] else None
    raise KeyError(source)


def main() -> int:
    text = README.read_text(encoding="utf-8")
    write = "--write" in sys.argv[1:]
    wrong = 0
    count = 0

    def replace(match: re.Match[str]) -> str:
        nonlocal wrong, count
        count += 1
        body, must_agree = expected(match["source"])
        if body is None or (not write and not must_agree):
            return match[0]
        if body != match["body"]:
            wrong += 1
            if not write:
                print(f"README: the block of '{match['source']}' is not what the code gives today; it gives:\n{body}")
        return f"{match[1]}{body}{match['end']}"

    filled = BLOCK.sub(replace, text)
    if count == 0:
        raise SystemExit("README: no blocks found")
    if write:
        README.write_text(filled, encoding="utf-8")
        print(f"README: {count} blocks, {wrong} changed")
        return 0
    print(f"README: {count} blocks, {wrong} differ")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
