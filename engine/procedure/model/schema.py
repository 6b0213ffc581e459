"""The JSON Schema of procedure and job files, for editors: plain objects and lists, the manual as hover text."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from engine.procedure.language.functions import TAUGHT
from engine.vocabulary.states import STATES

#: The dialect that editors' YAML servers understand best.
DIALECT = "http://json-schema.org/draft-07/schema#"
#: Of these keys one set must be there. The loader says more; this is what an editor can say while a file is typed.
_ONE_OF = {
    "Step": (("branch",), ("go",), ("call",), ("end",)),
    "Branch": (("when", "go"), ("otherwise",)),
    "Move": (("to",), ("by", "direction")),
    "Reading": (("choices",), ("unit", "range")),
    "Wait": (("for",), ("until", "at_most")),
}


@dataclass(frozen=True, slots=True)
class Offers:
    """Names that an editor offers while somebody types: of advisers, kits and files; any other may be written."""

    advisers: tuple[str, ...] = ()
    kits: tuple[str, ...] = ()
    files: tuple[str, ...] = ()


def offers_of(folder: Path, advisers: Iterable[str]) -> Offers:
    """What is offered with the files of a folder and these advisers."""
    kits, files = ({p.stem for p in folder.glob(where)} for where in ("kits/*.yaml", "*.yaml"))
    return Offers(tuple(sorted(advisers)), tuple(sorted(kits)), tuple(sorted(files)))


def schema(offers: Offers = Offers()) -> dict[str, Any]:
    """The schema of a procedure file."""
    from engine.procedure.model.file import ProcedurePart

    made = _schema(ProcedurePart, "Evendraw procedure")
    definitions = made["definitions"]
    definitions["Wait"] = definitions["Step"]["properties"]["wait"]
    _one_of(definitions)
    _known_states(definitions["Step"]["properties"]["state"])
    # A file may say of a kit's symptom only where it leads.
    definitions["Symptom"].pop("required", None)
    definitions["Symptom"]["anyOf"] = [{"required": keys} for keys in (["kind", "ask"], ["go"], ["call"])]
    made["properties"]["symptoms"]["additionalProperties"] = {
        "anyOf": [{"$ref": "#/definitions/Symptom"}, definitions["Step"]["properties"]["go"]]
    }
    for list_ in ("read", "checklist"):
        short = definitions["Step"]["properties"][list_]["items"]["anyOf"][2]
        short["maxProperties"] = 1  # `{flow: has_meter}`; more keys than one are a reading written out
    _offer(made, offers)
    return made


def kit_schema(offers: Offers = Offers()) -> dict[str, Any]:
    """The schema of a kit."""
    from engine.procedure.model.file import KitPart

    made = _schema(KitPart, "Evendraw kit")
    _one_of(made["definitions"])
    _offer(made, offers)
    return made


def _offer(made: dict[str, Any], offers: Offers) -> None:
    """Put the names on offer, and the functions of guards, where an editor looks for them."""
    definitions = made["definitions"]
    if offers.advisers and "Advise" in definitions:
        _open(definitions["Advise"]["properties"]["adviser"], offers.advisers)
    if offers.kits:
        uses = made["properties"]["uses"]
        uses["items"] = {"anyOf": [{"enum": list(offers.kits)}, uses["items"]]}
    for name in ("Step", "Symptom", "SymptomWay"):
        call = definitions.get(name, {}).get("properties", {}).get("call")
        if call is not None and offers.files:
            _open(call, offers.files)
    written: list[dict[str, str]] = [
        {"label": example, "description": line, "body": example} for line, example in TAUGHT.values()
    ]
    for entry in definitions.values():
        if "when" in entry.get("properties", {}):
            entry["properties"]["when"]["defaultSnippets"] = written


def _open(name: dict[str, Any], known: Iterable[str]) -> None:
    """Offer known names under a key that takes any."""
    name["anyOf"] = [{"enum": list(known)}, {k: name.pop(k) for k in ("type", "pattern", "maxLength")}]


def _known_states(state: dict[str, Any]) -> None:
    """Offer the trade's keys of `state` with their words; a file may declare others."""
    state["properties"] = {
        s.name: {
            "title": s.name.replace("_", " ").capitalize(),
            "description": s.about,
            "anyOf": [{"enum": list(s.choices)}, state["additionalProperties"]],
        }
        for s in STATES
    }


def _one_of(definitions: dict[str, Any]) -> None:
    for name, sets in _ONE_OF.items():
        if name in definitions:
            definitions[name]["anyOf"] = [{"required": list(keys)} for keys in sets]


def job_schema() -> dict[str, Any]:
    """The schema of a job file."""
    from engine.job.job_file import FORMAT
    from engine.job.model import Job

    made = _schema(Job, "Evendraw job")
    said = {
        "description": "Of this file: 2. Without it the file is of before, when exhaust not said was of each cylinder.",
        "enum": [1, FORMAT],
    }
    return {**made, "properties": {"format": said, **made["properties"]}}


def write(folder: Path, advisers: Iterable[str]) -> None:
    """Export the schemas into the folder of the procedures, where the repository keeps them."""
    offers = offers_of(folder, advisers)
    for name, made in (("procedure", schema(offers)), ("kit", kit_schema(offers)), ("job", job_schema())):
        with (folder / f"{name}.schema.json").open("w", encoding="utf-8", newline="\n") as file:
            file.write(text(made))


def text(made: dict[str, Any]) -> str:
    """A schema as the text of its file."""
    return json.dumps(made, indent=2, ensure_ascii=False) + "\n"


def _schema(model: type[BaseModel], title: str) -> dict[str, Any]:
    found = model.model_json_schema(by_alias=True)
    definitions = found.pop("$defs", {})
    plain = {_name(k): _plain(v) for k, v in sorted(definitions.items())}
    for name, entry in plain.items():
        entry["title"] = name
    whole = {**_plain(found), "title": title, "definitions": plain}
    return {"$schema": DIALECT, **_inlined(whole, plain)}


def _name(model: str) -> str:
    return model.removesuffix("Part")


def _plain(node: Any) -> Any:
    """Without what says nothing to a person: null as an alternative, empty defaults, alternatives of one."""
    if isinstance(node, list):
        return [_plain(n) for n in node]
    if not isinstance(node, dict):
        return node
    made: dict[str, Any] = {
        k: {n: _plain(p) for n, p in v.items()} if k == "properties" else _plain(v)
        for k, v in node.items()
        if not (k == "default" and _says_nothing(v))
    }
    if "$ref" in made:
        made["$ref"] = "#/definitions/" + _name(made["$ref"].rpartition("/")[2])
    for word in ("anyOf", "oneOf"):
        if word in made:
            made[word] = [n for n in made[word] if n != {"type": "null"}]
            if len(made[word]) == 1:
                made |= {k: v for k, v in made.pop(word)[0].items() if k not in made}
    patterns = made.pop("patternProperties", None)
    if patterns is not None:  # names of the file's own: an editor then also says which name is none
        ((pattern, value),) = patterns.items()
        made |= {"additionalProperties": value, "propertyNames": {**made.get("propertyNames", {}), "pattern": pattern}}
    return made


def _says_nothing(default: Any) -> bool:
    return default in (None, "") or isinstance(default, list | dict)


def _inlined(node: Any, definitions: dict[str, Any]) -> Any:
    """What stands beside a reference is not read in this dialect, so what a key refers to is put in its place."""
    if isinstance(node, list):
        return [_inlined(n, definitions) for n in node]
    if not isinstance(node, dict):
        return node
    if "$ref" in node and len(node) > 1:
        own = {k: v for k, v in node.items() if k != "$ref"}
        node = {**definitions[node["$ref"].rpartition("/")[2]], **own}
    return {k: _inlined(v, definitions) for k, v in node.items()}
