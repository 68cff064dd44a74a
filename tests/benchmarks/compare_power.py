#!/usr/bin/env python3
"""How large a change `compare` finds: the table of COMPARE.md.

    compare_power.py TACHPROOF SOURCES [SEEDS]

Each unit is played twice by each scenario, the second time with a change of its
own and another seed; counted is what `compare` makes of it.
"""
import json
import os
import re
import subprocess
import sys
import tempfile

program, sources = os.path.abspath(sys.argv[1]), os.path.abspath(sys.argv[2])
seeds = int(sys.argv[3]) if len(sys.argv) > 3 else 20
boundary = "beyond"
units = {"100 Hz": "update_hz: 100", "20 Hz": "update_hz: 20"}
changes = {"none": ("response_ms: 20", "")}
for rpm in (1, 2, 3, 5, 8):
    changes["threshold +%d rpm" % rpm] = (
        "response_ms: 20", ", faults: [{kind: boundary-moved, boundary: %s, by_rpm: %d}]" % (boundary, rpm))
for ms in (10, 20, 40, 80):
    changes["response +%d ms" % ms] = ("response_ms: %d" % (20 + ms), "")


def run(scratch, scenario, unit, change, seed):
    response, faults = changes[change]
    with open(scratch + "/rig.yaml", "w") as out:
        out.write("format: 1\nkind: rig\nsource: {kind: simulated}\nwatch: {kind: simulated, unit: %s/fixtures/gauges/"
                  "drumlin.yaml, behaviour: {%s, %s%s}}\n" % (sources, response, units[unit], faults))
    text = open(sources + "/scenarios/%s.yaml" % scenario).read()
    with open(scratch + "/scenario.yaml", "w") as out:
        out.write(re.sub(r"(?m)^seed: .*", "seed: %d" % seed, text))
    folder = scratch + "/%s-%s-%s-%d" % (scenario, unit, change, seed)
    done = subprocess.run([program, "run", scratch + "/scenario.yaml", "--gauge", sources + "/fixtures/gauges/drumlin.yaml",
                           "--rig", scratch + "/rig.yaml", "--no-history", "--out", folder], capture_output=True)
    assert done.returncode != 2, done.stderr
    return folder


def row_words(items, change):
    if change.startswith("threshold"):
        return [i["word"] for i in items if i["what"] == "threshold" and i["boundary"] == boundary]
    return [i["word"] for i in items if i["what"] == "response"]


with tempfile.TemporaryDirectory() as scratch:
    print("| scenario, unit | change | exit 1, 3, 0 | its rows: unintended, cannot tell, as intended |\n| --- | --- | --- | --- |")
    for scenario in sys.argv[4].split(",") if len(sys.argv) > 4 else ("acceptance", "survey"):
        for unit in units:
            old = [run(scratch, scenario, unit, "none", seed) for seed in range(1, seeds + 1)]
            for change in changes:
                exits, words = {0: 0, 1: 0, 3: 0}, {}
                for seed in range(1, seeds + 1):
                    new = run(scratch, scenario, unit, change, seed + 1000)
                    done = subprocess.run([program, "compare", old[seed - 1], new, "--json"], capture_output=True)
                    exits[done.returncode] += 1
                    for word in row_words(json.loads(done.stdout)["items"], change):
                        words[word] = words.get(word, 0) + 1
                count = [words.get(w, 0) for w in ("unintended", "cannot-tell", "as-intended")]
                print("| %s, %s | %s | %d, %d, %d | %d, %d, %d |" % (scenario, unit, change, exits[1], exits[3], exits[0], *count),
                      flush=True)
