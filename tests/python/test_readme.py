"""Code blocks and outputs in README.md are what the code gives today; one test a block, for all cores."""

import importlib.util
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
_spec = importlib.util.spec_from_file_location("readme", ROOT / "tests" / "readme.py")
readme = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(readme)


def test_the_page_has_its_blocks() -> None:
    sources = readme.sources()
    assert len(sources) == len(set(sources)) > 15
    assert sum(source.startswith("$ ") for source in sources) > 10


@pytest.mark.parametrize("source", readme.sources())
def test_the_readme_is_true(source: str) -> None:
    program = source.removeprefix("$ ").split()[0]
    if program.startswith("build/") and not (ROOT / program).exists():
        pytest.skip("needs the release build with examples: cmake --preset release && cmake --build --preset release")
    given = readme.difference(source)
    assert given is None, f"README: the block of '{source}' is not what the code gives today; it gives:\n{given}"
