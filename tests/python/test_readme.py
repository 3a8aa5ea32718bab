"""Code blocks and outputs in README.md are what the code gives today; one test a block, for all cores."""

import pytest
from conftest import ROOT, load_program

readme = load_program("readme")
BLOCKS = readme.blocks()
SOURCES = [source for source, _ in BLOCKS]


def test_the_page_has_its_blocks() -> None:
    assert len(SOURCES) == len(set(SOURCES)) > 15
    assert sum(source.startswith("$ ") for source in SOURCES) > 10


@pytest.mark.parametrize(("source", "standing"), BLOCKS, ids=SOURCES)
def test_the_readme_is_true(source: str, standing: str) -> None:
    program = source.removeprefix("$ ").split()[0]
    if program.startswith("build/") and not (ROOT / program).exists():
        pytest.skip("needs the release build with examples: cmake --preset release && cmake --build --preset release")
    message = readme.difference(source, standing)
    assert message is None, message
