#!/usr/bin/env python3
"""The editors' JSON Schemas against the readers' own cases.

Every file that the reader accepts, the schema accepts; every file that the
reader refuses, the schema refuses, save for cases that are marked with '?'
because a schema cannot see the error. Such a mark on a case that the schema
does refuse is an error too, so that the list stays honest.

suite.json is written and never edited: its schema accepts what a suite writes,
and refuses a suite that says more than it has shown.
"""
import copy
import json
import pathlib
import re
import sys

import jsonschema
import yaml

sys.setrecursionlimit(10_000)  # steps may lie deep in each other, and older validators take many frames for each

ROOT = pathlib.Path(__file__).resolve().parent.parent
KINDS = ("gauge", "scenario", "rig", "wiring", "noise", "certificate", "regions", "job")


class Yaml12(yaml.SafeLoader):
    """YAML 1.2's core schema, as editors read it: `on` is a text, `1e-5` a number."""


Yaml12.yaml_implicit_resolvers = {}
for tag, pattern, first in (
    ("null", r"^(~|null|Null|NULL|)$", ["~", "n", "N", ""]),
    ("bool", r"^(true|True|TRUE|false|False|FALSE)$", list("tTfF")),
    ("int", r"^[-+]?[0-9]+$|^0o[0-7]+$|^0x[0-9a-fA-F]+$", list("-+0123456789")),
    ("float", r"^[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?$|^[-+]?\.(inf|Inf|INF)$|^\.(nan|NaN|NAN)$",
     list("-+0123456789.")),
):
    Yaml12.add_implicit_resolver("tag:yaml.org,2002:" + tag, re.compile(pattern), first)


def whole_number(loader, node):
    text = loader.construct_scalar(node)
    return int(text.replace("0o", ""), 8) if "0o" in text else int(text, 16) if "0x" in text else int(text)


Yaml12.add_constructor("tag:yaml.org,2002:int", whole_number)


def cases(kind):
    """(title, text, has errors, marked) of each case; the format is in cases/README.md."""
    base, title, lines, at, bad, marked = [], None, [], 0, False, False
    text = (ROOT / "tests/bench/cases" / (kind + ".cases")).read_text(encoding="utf-8")
    for line in text.splitlines() + ["=== end"]:
        if line.startswith("=== "):
            if title not in (None, "base"):
                yield title, "\n".join(lines) + "\n", bad, marked
            title, lines, at, bad, marked = line[4:], list(base), len(base), False, False
        elif line.startswith("|"):
            base.append(line[1:])
        elif line.startswith("-"):
            at = lines.index(line[1:])
            del lines[at]
        elif line.startswith("+"):
            lines.insert(at, line[1:])
            at += 1
        elif line.startswith(">"):
            bad = True
        elif line.startswith("?"):
            marked = True


def suite_cases():
    """(title, value, has errors): the approved suite, and what none may say."""
    good = json.loads((ROOT / "tests/data/approved/suite.json").read_text(encoding="utf-8"))
    yield "the approved suite", good, False
    pair = {p["outcome"]: i for i, p in enumerate(good["pairs"])}

    def changed(change):
        value = copy.deepcopy(good)
        change(value, value["pairs"])
        return value

    yield "a suite that was stopped passes", changed(lambda s, p: s.update(verdict="pass")), True
    yield "a skipped pair passes", changed(lambda s, p: p[pair["skipped"]].update(verdict="pass")), True
    yield "a skip without a reason", changed(lambda s, p: p[pair["skipped"]].update(skipped_because=None)), True
    yield "a pass that nobody played", changed(lambda s, p: p[pair["pass"]].update(attempts=[])), True
    yield "an intermittent pair passes", changed(
        lambda s, p: p[pair["intermittent"]].update(outcome="pass-on-retry", verdict="pass")), True
    yield "a pass on retry that is called clean", changed(
        lambda s, p: p[pair["pass-on-retry"]].update(outcome="pass")), True
    yield "a run that was cut short passes", changed(
        lambda s, p: p[pair["undecided"]]["attempts"][0].update(verdict="pass")), True
    yield "a word that is not ours", changed(lambda s, p: p[0].update(outcome="green")), True
    yield "a key too many", changed(lambda s, p: s.update(passed=True)), True
    yield "no counts", changed(lambda s, p: s.pop("counts")), True


def main():
    wrong = []
    count = 0
    validators = {}
    schema = json.loads((ROOT / "fixtures/schemas/suite.schema.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    for title, value, bad in suite_cases():
        count += 1
        refused = [e.message for e in jsonschema.Draft202012Validator(schema).iter_errors(value)]
        if bad != bool(refused):
            wrong.append(f"suite: {title}: {refused[0] if refused else 'accepted'}")
    for kind in KINDS:
        schema = json.loads((ROOT / "fixtures/schemas" / (kind + ".schema.json")).read_text(encoding="utf-8"))
        jsonschema.Draft202012Validator.check_schema(schema)
        validators[kind] = jsonschema.Draft202012Validator(schema)
        for title, text, bad, marked in cases(kind):
            count += 1
            try:
                refused = [e.message for e in validators[kind].iter_errors(yaml.load(text, Yaml12))]
            except yaml.YAMLError as error:
                refused = [str(error)]
            if not bad and refused:
                wrong.append(f"{kind}: {title}: a good file, refused: {refused[0]}")
            if bad and not marked and not refused:
                wrong.append(f"{kind}: {title}: a bad file, accepted")
            if bad and marked and refused:
                wrong.append(f"{kind}: {title}: marked as not visible, but refused: {refused[0]}")
    for file in sorted([*ROOT.glob("fixtures/*/*.yaml"), *ROOT.glob("scenarios/*.yaml")]):
        count += 1
        value = yaml.load(file.read_text(encoding="utf-8"), Yaml12)
        for error in validators[value["kind"]].iter_errors(value):
            wrong.append(f"{file.name}: {error.message}")
    print("\n".join(wrong + [f"{count} files against {len(KINDS) + 1} schemas, {len(wrong)} wrong"]))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
