#!/usr/bin/env python3
"""What the program prints with --json against the schemas in fixtures/schemas/v1.

    outputs_test.py PROGRAM [EMULATED_BOARD]

Every command that has --json is run, on the shipped files or on small ones, and
each output must be as its schema says. Then every output is spoilt in every
place: the schema must refuse it. What needs minutes of a board's time is in
tests/data/outputs, as it was printed.
"""
import json
import pathlib
import re
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
import warnings

import jsonschema

from spoilt_outputs import refusals

ROOT = pathlib.Path(__file__).resolve().parent.parent
SCHEMAS = ROOT / "fixtures/schemas"
GAUGE = ROOT / "fixtures/gauges/drumlin.yaml"
RIG = ROOT / "fixtures/rigs/simulated.yaml"
FAULTY = ROOT / "fixtures/rigs/simulated-faulty.yaml"
QUICK = ROOT / "scenarios/regression.yaml"

# A gauge that is graded and planned for in a second.
SMALL = {
    "two.yaml": """format: 1
kind: gauge
name: two windows
pulses_per_rev: 2
anchors: {pit: 3000}
lamps: [{id: a, colours: [blue]}]
windows:
  - {name: quiet, from: 0, show: {}}
  - {name: held, from: {pit: 0}, show: {a: blue}}
deadband: {rpm: 8, sits: below}
tolerance: {rpm: 4, response_ms: {from: 0, to: 120}}
""",
    "drive.yaml": """format: 1
kind: gauge
name: one limit
pulses_per_rev: 2
drive: {gear: 2.05, final_drive: 3.1, tyre_circumference: 1.98m}
resolution_rpm: 10
anchors: {lane: 60km/h}
lamps: [{id: a, colours: [blue]}]
windows:
  - {name: quiet, from: 0, show: {}}
  - {name: held, from: {lane: 0}, show: {a: blue}}
deadband: {rpm: 8, sits: below}
tolerance: {rpm: 4, response_ms: {from: 0, to: 120}}
""",
    "ramps.yaml": """format: 1
kind: scenario
name: ramps
profile:
  - {hold: 2950, for: 500ms}
  - {ramp: 3050, rate: 50}
  - {ramp: 2950, rate: 50}
  - {hold: 2950, for: 500ms}
judge: {thresholds: false}
""",
    # One rate tells no threshold from a slow response: undecided.
    "once.yaml": """format: 1
kind: scenario
name: once
profile:
  - {hold: 2950, for: 500ms}
  - {ramp: 3050, rate: 50}
  - {hold: 3050, for: 500ms}
""",
    # Longer than anybody waits; it is stopped.
    "long.yaml": """format: 1
kind: scenario
name: long
profile: [{hold: 2950, for: 168h}]
judge: {thresholds: false}
""",
    "dwell.yaml": """format: 1
kind: scenario
name: dwell
seed: 3
dwell: {limit_per_min: 60, longest: 2min}
noise: {jitter_us: 5}
""",
    "rig.yaml": """format: 1
kind: rig
source: {kind: simulated}
watch: {kind: simulated, unit: two.yaml, behaviour: {response_ms: 20}}
""",
    "job.yaml": """format: 1
kind: job
name: both
gauge: two.yaml
play: [ramps.yaml, once.yaml]
rig: rig.yaml
""",
    "bad.yaml": "format: 1\nkind: gauge\nname: 7\n",
}


def schemas():
    """Schema by name, and the faults of the schemas themselves."""
    wrong, found, defs = [], {}, {}
    page = (ROOT / "bench/SCRIPTS.md").read_text(encoding="utf-8")
    for file in [SCHEMAS / "suite.schema.json", *sorted((SCHEMAS / "v1").glob("*.schema.json"))]:
        schema = json.loads(file.read_text(encoding="utf-8"))
        jsonschema.Draft202012Validator.check_schema(schema)
        name = file.name[: -len(".schema.json")]
        found[name] = schema
        if schema["$id"] != "https://tachproof.invalid/" + str(file.relative_to(SCHEMAS.parent)):
            wrong.append(f"{file.name}: its $id is {schema['$id']}")
        if name != "suite" and not schema["title"].endswith(", version 1"):
            wrong.append(f"{file.name}: its title does not end with its version")
        if name != "suite" and f"`{name}`" not in page:
            wrong.append(f"{file.name}: bench/SCRIPTS.md does not name it")
        for key, value in schema.get("$defs", {}).items():
            if defs.setdefault(key, value) != value:
                wrong.append(f"{file.name}: '{key}' is something else than in another schema")
    # The words of the sources: a new one must be in the schema too.
    findings = re.findall(r"case FindingKind::\w+: return \"([\w-]+)\"", (ROOT / "core/judge/result.cc").read_text())
    faults = re.findall(r"\{Kind::\w+, \"([\w-]+)\"", (ROOT / "core/cause/fault.cc").read_text())
    numbers = re.findall(r"return \"(\w+)\";", (ROOT / "core/cause/fault_words.cc").read_text().split("number_key(")[1]
                         .split("default:")[0])
    if sorted(findings) != sorted(defs["finding"]["properties"]["kind"]["enum"]):
        wrong.append("the kinds of findings differ from core/judge/result.cc")
    if sorted(faults) != sorted(defs["fault"]["properties"]["kind"]["enum"]):
        wrong.append("the kinds of faults differ from core/cause/fault.cc")
    for number in set(numbers) - set(defs["fault"]["properties"]):
        wrong.append(f"a fault may have '{number}' by core/cause/fault_words.cc")
    return found, wrong


class Validators:
    def __init__(self, found):
        store = {schema["$id"]: schema for schema in found.values()}
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)  # Debian 12 has no other way
            self.of = {name: jsonschema.Draft202012Validator(
                schema, resolver=jsonschema.RefResolver.from_schema(schema, store=store))
                for name, schema in found.items()}

    def refusal(self, name, value):
        for error in self.of[name].iter_errors(value):
            return "/".join(map(str, error.absolute_path)) + ": " + error.message[:160]
        return None


class Outputs:
    """Runs the program in a folder of its own and keeps what it printed."""

    def __init__(self, program, folder, validators):
        self.program, self.folder, self.validators = program, folder, validators
        self.wrong, self.printed, self.commands = [], [], set()
        self.environment = {"PATH": "/usr/bin:/bin", "HOME": str(folder), "TACHPROOF_HISTORY": str(folder / "h.db")}

    def tell(self, *words):
        """Without a look at what it prints: (status, text)."""
        done = subprocess.run([self.program, *map(str, words)], cwd=self.folder, env=self.environment, text=True,
                              stdin=subprocess.DEVNULL, capture_output=True, timeout=300)
        return done.returncode, done.stdout + done.stderr

    def see(self, schema, status, *words, save=None, stop_when=None):
        """`status`: the exit status that these words must end with."""
        title = " ".join(map(str, words)).replace(str(ROOT) + "/", "")
        self.commands.add(words[0])
        with subprocess.Popen([self.program, *map(str, words)], cwd=self.folder, env=self.environment, text=True,
                              stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
            if stop_when:
                while process.poll() is None and not stop_when():
                    time.sleep(0.02)
                process.send_signal(signal.SIGINT)
            out, err = process.communicate(timeout=300)
        if process.returncode != status:
            self.wrong.append(f"{title}: exit status {process.returncode}: {err[:300]}")
        if save:
            (self.folder / save).write_text(out, encoding="utf-8")
        self.take(schema, title, out)
        return out

    def take(self, schema, title, text):
        try:
            value = json.loads(text)
        except ValueError as error:
            self.wrong.append(f"{title}: no JSON: {error}: {text[:200]}")
            return
        refusal = self.validators.refusal(schema, value)
        if refusal:
            self.wrong.append(f"{title}: not as {schema}.schema.json says: {refusal}")
        else:
            self.printed.append((schema, title, value))


def answering_generator():
    """A generator that knows its name only; its port."""
    listener = socket.create_server(("127.0.0.1", 0))

    def serve():
        while True:
            connection, _ = listener.accept()
            with connection, connection.makefile("rwb") as stream:
                for line in stream:
                    if b"?" in line:
                        stream.write(b"Corrie Works,G1,0001,1.0\n" if b"*IDN?" in line else b'0,"No error"\n')
                        stream.flush()

    threading.Thread(target=serve, daemon=True).start()
    return listener.getsockname()[1]


def see_files(o):
    o.see("check", 0, "check", QUICK, GAUGE, RIG, "--gauge", GAUGE, "--json")
    o.see("check", 0, "check", "once.yaml", "--gauge", GAUGE, "--json")
    o.see("check", 2, "check", "bad.yaml", "two.yaml", "--json")
    o.see("expect", 0, "expect", QUICK, "--gauge", GAUGE, "--json")
    o.see("expect", 0, "expect", "ramps.yaml", "--gauge", "drive.yaml", "--json")
    o.see("expect", 0, "expect", QUICK, "--gauge", GAUGE, "--rig", ROOT / "fixtures/rigs/generator.yaml", "--json")
    pressed = ROOT / "fixtures/gauges/drumlin-buttons.yaml"
    o.see("expect", 0, "expect", ROOT / "scenarios/buttons.yaml", "--gauge", pressed, "--json")
    o.see("settings-diff", 0, "settings", "diff", GAUGE, ROOT / "fixtures/gauges/drumlin-raised.yaml", "--json")
    o.see("settings-diff", 0, "settings", "diff", GAUGE, pressed, "--json")
    o.see("settings-diff", 0, "settings", "diff", "two.yaml", "drive.yaml", "--json")
    o.see("settings-diff", 0, "settings", "diff", GAUGE, GAUGE, "--json")
    o.see("settings-sheet", 0, "settings", "sheet", ROOT / "fixtures/gauges/tarn.yaml", "--json")
    o.see("settings-sheet", 0, "settings", "sheet", pressed, "--json")
    drive = ["--gear", "2.05", "--final-drive", "3.1", "--tyre-circumference", "1.98m", "--json"]
    o.see("speed", 0, "speed", "--limit", "60km/h", "--margin", "1km/h", *drive)
    o.see("speed", 0, "speed", "--rpm", "3720", *drive)


def see_studies(o):
    trial = ["grade", "ramps.yaml", "--gauge", "two.yaml", "--json"]
    o.see("grade", 0, *trial)
    o.see("grade", 0, *trial, "--shard", "1/2", save="1.json")
    o.see("grade", 0, *trial, "--shard", "2/2", save="2.json")
    o.see("grade", 0, "grade", "--merge", "1.json", "2.json")
    o.see("plan", 0, "plan", "--gauge", "two.yaml", "--out", "plan.yaml", "--json")
    lap = ["--gauge", ROOT / "fixtures/gauges/tarn.yaml", "--noise", ROOT / "fixtures/logs/tarn-lap.csv"]
    o.see("deadband-log", 0, "deadband", *lap, "--time", "t", "--rpm", "n", "--json")
    smooth = ROOT / "fixtures/noise/smooth-road.yaml"
    o.see("deadband", 0, "deadband", "--gauge", "two.yaml", "--noise", smooth, "--minutes", "10", "--step", "10",
          "--json")
    o.see("noise-fit", 0, "noise", ROOT / "fixtures/recordings/tach-edges.csv", "--ppr", "3", "--json")


def see_rigs(o, board):
    o.see("rig", 0, "rig", RIG, "--gauge", GAUGE, "--json")
    o.see("rig", 0, "rig", "--out", "practice.yaml", "--gauge", GAUGE, "--source", "simulated", "--json")
    dark = RIG.read_text().replace("faults: []", "faults: [{kind: stuck-off, lamp: left, colour: white}]")
    (o.folder / "dark.yaml").write_text(dark.replace("../gauges/drumlin.yaml", str(GAUGE)))
    o.see("rig", 1, "rig", "dark.yaml", "--gauge", GAUGE, "--json")
    o.see("ports", 0, "ports", "--json")
    o.see("ports-probe", 0, "ports", "--probe", f"127.0.0.1:{answering_generator()}", "--json")
    if board:
        with subprocess.Popen([board, "--reference", "in7", "--link", "board"], cwd=o.folder, text=True,
                              stdout=subprocess.PIPE) as emulated:
            emulated.stdout.readline()  # its port: it answers from here on
            status, text = o.tell("ports", "--hello", "board", "--json")
            emulated.terminate()
        if status == 3 and "no answer within" in text:
            print("this machine is too busy for the emulated board's time: its greeting is not looked at")
        else:
            o.take("ports-hello", "ports --hello", text)
    for file in sorted((ROOT / "tests/data/outputs").glob("*.json")):
        schema = file.stem if file.stem in o.validators.of else file.stem.split("-")[0]
        o.commands.add(schema.split("-")[0])
        o.take(schema, file.name, file.read_text())


def see_runs(o):
    drumlin = ["--gauge", GAUGE, "--unit-serial", "DR-0001", "--json"]
    two = ["--gauge", "two.yaml", "--rig", "rig.yaml", "--json"]
    o.see("result", 0, "run", QUICK, *drumlin, "--rig", RIG, "--out", "passed",
          "--certificate", ROOT / "fixtures/certificates/corrie.yaml")
    o.see("result", 1, "run", QUICK, *drumlin, "--rig", FAULTY, "--out", "failed")
    o.see("result", 3, "run", "once.yaml", *two, "--out", "undecided")
    journal = o.folder / "stopped/journal.jsonl"
    o.see("result", 3, "run", "long.yaml", *two, "--out", "stopped",
          stop_when=lambda: journal.is_file() and '"progress"' in journal.read_text())
    o.see("result", 0, "run", "dwell.yaml", *two, "--out", "dwelled")
    o.see("result", 0, "run", "dwell.yaml", *two, "--out", "dwelled-on", "--to-the-end")
    o.see("result", 0, "run", ROOT / "fixtures/jobs/drumlin-buttons.yaml", "--unit-serial", "DR-0002", "--out",
          "pressed", "--json")
    o.see("result", 0, "run", ROOT / "scenarios/supply.yaml", "--gauge", ROOT / "fixtures/gauges/drumlin-buttons.yaml",
          "--rig", ROOT / "fixtures/rigs/simulated-buttons.yaml", "--out", "fed", "--json")
    o.see("job-result", 3, "run", "job.yaml", "--out", "job", "--unit-serial", "T-1", "--json")
    o.see("result", 0, "survey", *two, "--out", "surveyed")
    o.see("result", 0, "survey", "--unknown", *two, "--out", "found")
    capture = ["judge", "passed/capture.vcd", "--gauge", GAUGE, "--wiring",
               ROOT / "fixtures/wirings/drumlin-capture.yaml"]
    o.see("result", 0, *capture, "--scenario", QUICK, "--out", "judged", "--json")
    o.see("suite", 1, "run", QUICK, ROOT / "scenarios/response.yaml", "--gauge", GAUGE, "--rig", FAULTY, "--out",
          "suite", "--json")
    o.see("suite", 1, "report", "suite", "--json")
    o.see("result", 1, "report", "failed", "--json")
    o.see("verification", 0, "report", "passed", "--verify", "--json")
    o.see("verification", 0, "report", "suite", "--verify", "--json")
    o.see("verification", 3, "report", "stopped", "--verify", "--json")
    record = o.folder / "undecided/result.json"
    record.write_text(record.read_text().replace('"verdict": "undecided"', '"verdict": "pass"', 1))
    o.see("verification", 1, "report", "undecided", "--verify", "--json")


def see_after_runs(o):
    o.see("diagnosis", 1, "diagnose", "failed", "--json")
    o.see("diagnosis", 0, "diagnose", "passed", "--json")
    o.see("comparison", 1, "compare", "passed", "failed", "--json")
    status, text = o.tell("accept", "passed", "--by", "Corrie", "--why", "first of its kind")
    if status != 0:
        o.wrong.append("accept: " + text)
    o.see("comparison", 1, "compare", "--accepted", "DR-0001", "failed", "--json")
    o.see("history", 0, "history", "--json")
    o.see("history", 0, "history", "--simulated", "--json")
    o.see("history", 0, "history", "--simulated", "--unit", "DR-0001", "--scenario", "regression", "--json")
    o.see("history", 0, "history", "--gauge", "nobody's", "--since", "2031-03-01", "--json")


def commands_with_json():
    for file in sorted((ROOT / "bench/commands").glob("*.cc")):
        text = file.read_text(encoding="utf-8")
        if re.search(r"flag\([\w.]*json_?, \"--json\"", text) and file.stem != "report_options":
            yield file.stem
    yield from ("run", "judge", "survey")  # by report_options


def main():
    program, board = (pathlib.Path(word).resolve() if word else None for word in (*sys.argv[1:3], "")[:2])
    found, wrong = schemas()
    with tempfile.TemporaryDirectory() as folder:
        o = Outputs(program, pathlib.Path(folder), Validators(found))
        for name, text in SMALL.items():
            (o.folder / name).write_text(text)
        see_files(o)
        see_studies(o)
        see_rigs(o, board)
        see_runs(o)
        see_after_runs(o)
        wrong += o.wrong
        o.wrong = wrong
        for command in sorted(set(commands_with_json()) - o.commands):
            wrong.append(f"{command} has --json, and no output of it was seen")
        for name in sorted(set(found) - {schema for schema, _, _ in o.printed}):
            wrong.append(f"{name}.schema.json: no output of it was seen")
        tried = refusals(o) if not wrong else 0
    wrong.append(f"{len(o.printed)} outputs, {len(found)} schemas, {tried} spoilt outputs, {len(wrong)} wrong")
    print("\n".join(wrong))
    return 1 if len(wrong) > 1 else 0


if __name__ == "__main__":
    sys.exit(main())
