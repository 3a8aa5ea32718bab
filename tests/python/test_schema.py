"""The schema files against jsonschema: they are schemas, and our own check agrees with it, also in the places named."""

from __future__ import annotations

import copy
import json
import re
from pathlib import Path

import numpy as np
import pytest
import voltkeel as vk
from jsonschema import Draft202012Validator

NUMBERS = [0, 1, -1, 0.5, 2, -0.001, 1e-4, 9.9e-5, 1e5, 100001, 1e-3, 1e7, 1e300, 1e301, -100, -100.5, 200, 201, 10, 8]
OTHERS = [None, True, "3", "", [], {}, [1], [[1]], {"soc": 1}]
FORM = re.compile(r"^mutant: (/\S*|\(whole document\)): ")


def schema(root: Path, name: str) -> dict:
    return json.loads((root / "data" / "schema" / f"{name}.schema.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def validator(root) -> Draft202012Validator:
    return Draft202012Validator(schema(root, "cell"))


@pytest.fixture(scope="module")
def document(cell) -> dict:
    """A cell file with every optional field, small enough to be changed everywhere."""
    small = json.loads(vk.to_json(cell))
    for name in ("soc", "discharge_V", "charge_V", "voltage_std_V", "entropy_V_per_K"):
        small["ocv"][name] = small["ocv"][name][::40]
    small["provenance"] = {
        "made_by": "a test",
        "made_at": "2026-01-01T00:00:00Z",
        "method": "fitted to tests",
        "files": [{"role": "slow test", "name": "slow.csv", "rows": 12, "temperature_degC": 25, "initial_soc": 1}],
        "notes": ["invented"],
    }
    return small


SCHEMAS = [
    "cell",
    "cell_age",
    "pack",
    "pack_strings",
    "log_mapping",
    "test_set",
    "vehicle",
    "cooling",
    "supply",
    "charge_plan",
    "pack_parts",
    "taper",
]


@pytest.mark.parametrize("name", SCHEMAS)
def test_they_are_schemas_of_draft_2020_12(root, name):
    text = schema(root, name)
    assert text["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    Draft202012Validator.check_schema(text)


def test_what_we_write_is_valid(root, cell, demo_fit, tmp_path, validator):
    for one in (cell, demo_fit.cell):
        validator.validate(json.loads(vk.to_json(one)))
    vk.save_cell(tmp_path / "cell.json", cell)
    pack = vk.single_string_pack("boat", "cell.json", cell, vk.PackLayout(series=14, parallel=3))
    vk.save_pack(tmp_path / "pack.json", pack)
    Draft202012Validator(schema(root, "pack")).validate(json.loads((tmp_path / "pack.json").read_text()))
    again = vk.load_pack(tmp_path / "pack.json")
    layout = vk.equal_layout(again)
    assert (layout.series, layout.parallel) == (14, 3)
    assert vk.to_json(again.modules[0].cell) == vk.to_json(cell)


def test_a_cell_reads_back_bit_by_bit(cell):
    again = vk.parse_cell(vk.to_json(cell))
    assert vk.to_json(again) == vk.to_json(cell)
    assert np.array_equal(again.ocv.charge_V, cell.ocv.charge_V)
    assert np.array_equal(again.resistance.branches[2].time_s, cell.resistance.branches[2].time_s)
    assert again.charge.zones[0].current_A == cell.charge.zones[0].current_A


def test_defaults_of_the_schema_are_those_of_the_structs(root, document):
    """A field that a file leaves out reads as the schema says."""

    def defaults(node: dict, path: tuple) -> list:
        found = [(path, node["default"])] if "default" in node else []
        for name, child in node.get("properties", {}).items():
            found += defaults(child, (*path, name))
        return found

    found = defaults(schema(root, "cell"), ())
    assert len(found) > 10
    for path, default in found:
        changed = copy.deepcopy(document)
        parent = changed
        for name in path[:-1]:
            parent = parent[name]
        parent.pop(path[-1], None)
        written = json.loads(vk.to_json(vk.parse_cell(json.dumps(changed))))
        for name in path:
            written = written[name]
        assert written == default, path


def places(node: object, path: tuple = ()) -> list[tuple]:
    """Every path in a document."""
    inside = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else []
    return [path, *(p for key, child in inside for p in places(child, (*path, key)))]


def mutate(document: dict, random: np.random.Generator) -> dict:
    """Change a document in one place: another value, a field or element gone, one too many, a misspelt name."""
    changed = copy.deepcopy(document)
    paths = places(changed)[1:]
    # Shallow places are few: taken as often as the many numbers in grids.
    depth = random.integers(1, 1 + max(map(len, paths)))
    paths = [p for p in paths if len(p) == depth]
    path = paths[random.integers(len(paths))]
    parent = changed
    for key in path[:-1]:
        parent = parent[key]
    key = path[-1]
    match random.integers(5):
        case 0:
            parent[key] = NUMBERS[random.integers(len(NUMBERS))]
        case 1:
            parent[key] = copy.deepcopy(OTHERS[random.integers(len(OTHERS))])
        case 2:
            del parent[key]
        case 3 if isinstance(parent, dict):
            parent[f"{key}x"] = parent[key] if random.random() < 0.5 else parent.pop(key)
        case 3:
            parent.append(copy.deepcopy(parent[key]))
        case _ if isinstance(parent[key], (int, float)):
            parent[key] *= -1 if random.random() < 0.5 else 1000
        case _:
            parent[key] = None
    return changed


def pointer(path) -> str:
    return "".join("/" + str(p).replace("~", "~0").replace("/", "~1") for p in path)


def test_mutations_are_judged_as_jsonschema_judges_them(document, validator, random):
    """Accept and reject agree; where no type is wrong, so do the places (RFC 6901 pointers)."""
    vk.parse_cell(json.dumps(document))
    rejected = pointers_compared = refused_by_meaning = 0
    for number in range(600):
        mutant = mutate(document, random)
        errors = list(validator.iter_errors(mutant))
        try:
            vk.parse_cell(json.dumps(mutant), "mutant")
            said = ""
        except vk.DataError as error:
            said = str(error)
        ours = [
            found.group(1).replace("(whole document)", "") for line in said.splitlines() if (found := FORM.match(line))
        ]
        case = f"mutation {number}: jsonschema {[(pointer(e.absolute_path), e.message) for e in errors]}, ours {said!r}"
        assert bool(ours) == bool(errors), case
        if errors:
            rejected += 1
            if any(e.validator == "type" for e in errors):
                # The value of a wrong type is one finding for us, whatever else is wrong with it.
                assert set(ours) <= {pointer(e.absolute_path) for e in errors}, case
            else:
                pointers_compared += 1
                theirs = set()
                for e in errors:
                    extra = (
                        set(e.instance) - set(e.schema["properties"]) if e.validator == "additionalProperties" else ()
                    )
                    theirs |= {pointer([*e.absolute_path, name]) for name in extra} or {pointer(e.absolute_path)}
                assert set(ours) == theirs, case
        elif said:
            # What no schema can say: lengths, order, one value against another. Names the field.
            refused_by_meaning += 1
            assert re.match(r"mutant: (ocv|resistance|limits|charge)\.", said), case
    print(
        f"{rejected} rejected, {pointers_compared} of them compared by place, {refused_by_meaning} refused by meaning"
    )
    assert rejected > 250
    assert pointers_compared > 80
    assert refused_by_meaning > 50


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "mutant:1:"),
        ('{"a": 1,\n "a": 2}', "mutant:2:"),
        ("[1, 2", "mutant:1:"),
        ("", "mutant: the file is empty"),
        ('{"format": "voltkeel.cell",\n  "x": 01}', "mutant:2:"),
        ("[" * 1000 + "]" * 1000, "mutant:1:"),
        ('{"x": 1e999}', "mutant:1:"),
    ],
)
def test_what_is_no_json_says_where(text, says):
    with pytest.raises(vk.DataError, match=says):
        vk.parse_cell(text, "mutant")


def test_a_failed_save_leaves_the_old_file(cell, tmp_path):
    path = tmp_path / "cell.json"
    vk.save_cell(path, cell)
    before = path.read_bytes()
    broken = vk.parse_cell(vk.to_json(cell))
    broken.capacity_Ah = -1.0
    with pytest.raises(vk.DataError, match="capacity_Ah: -1"):
        vk.save_cell(path, broken)
    with pytest.raises(vk.DataError, match="capacity_Ah: -1"):
        vk.check(broken)
    assert path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == ["cell.json"]
