"""What shipped files share stands in kits: no declaration stands identically in two of them."""

from __future__ import annotations

from collections import defaultdict

from engine.procedure.build.kits import SECTIONS
from engine.procedure.report.checking import check_file
from engine.procedure.source.files import read_source
from engine.procedure.source.tree import Map, read_tree


def plain(node):
    """A part of a file as what it says, wherever it stands."""
    if isinstance(node, Map):
        return tuple((str(k), plain(v)) for k, v in node.items())
    return tuple(plain(i) for i in node) if isinstance(node, list) else str(node)


def declarations(path):
    """Section, name and entry of each declaration. Where a kit's symptom leads from a file is that file's own."""
    tree, _ = read_tree(read_source(path))
    for section in SECTIONS:
        node = tree
        for key in section.split("."):
            node = node.get(key, {})
        for name, entry in node.items():
            if section != "symptoms" or (isinstance(entry, Map) and "kind" in entry):
                yield section, str(name), plain(entry)


def test_no_declaration_stands_identically_in_two_shipped_files(folder):
    found = defaultdict(list)
    for path in sorted(folder.rglob("*.yaml")):
        for declaration in declarations(path):
            found[declaration].append(path.name)
    assert len(found) > 150
    assert {key[:2]: files for key, files in found.items() if len(files) > 1} == {}


def test_every_kit_is_sound_by_itself_and_used(folder, advisers):
    kits = {p.stem: p for p in folder.glob("kits/*.yaml")}
    assert len(kits) > 5
    used = set()
    for path in folder.rglob("*.yaml"):
        tree, _ = read_tree(read_source(path))
        used |= {str(k) for k in tree.get("uses", ())}
    assert used == kits.keys()
    for path in kits.values():
        checked = check_file(path, (folder,), advisers)
        assert checked.kit and [str(p) for p in checked.problems] == []


def test_no_kit_holds_what_nothing_takes(folder, advisers):
    from engine.procedure.build.load import load

    kits = {p.stem: {(s, n) for s, n, _ in declarations(p)} for p in folder.glob("kits/*.yaml")}
    taken = defaultdict(set)
    for path in folder.glob("*.yaml"):
        program = load(path, (folder,), advisers).program
        for file in program.files.values():
            for kit, names in file.uses.items():
                taken[kit] |= set(names)
    left = {kit: sorted(n for _, n in names if n not in taken[kit]) for kit, names in kits.items()}
    assert {kit: names for kit, names in left.items() if names} == {}
