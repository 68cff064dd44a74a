"""How time and memory of each command grow with its work: growth.py BUILD [boundaries|length|recording|history...].

Prints a table for each: seconds of processor time, the most memory that the process had, and the exponent of time over
the four largest sizes. Processor time, so that a busy machine matters little. `recording` needs 20 GB below TMPDIR.
"""
import math
import os
import shutil
import sqlite3
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
FIXTURES = HERE.parent.parent / "fixtures"
TACHPROOF = Path(sys.argv[1]).resolve() / "bench/tachproof"
MB = 1024.0


def say(text):
    print(text, file=sys.stderr, flush=True)


def timed(*words, allowed=(0,)):
    """Seconds of processor time and MB of memory that the command took, threads and all."""
    words = [str(TACHPROOF), *map(str, words)]
    child = os.fork()
    if child == 0:
        nothing = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nothing, 1)
        os.dup2(os.open("said", os.O_WRONLY | os.O_CREAT | os.O_TRUNC), 2)
        os.execv(words[0], words)
    _, status, usage = os.wait4(child, 0)
    code = os.waitstatus_to_exitcode(status)
    if code not in allowed:
        raise RuntimeError(f"{' '.join(words)}: exit {code}\n{Path('said').read_text()}")
    return usage.ru_utime + usage.ru_stime, usage.ru_maxrss / MB


def exponent(sizes, values):
    """Of the straight line through the logarithms."""
    x, y = [math.log(s) for s in sizes], [math.log(max(v, 1e-4)) for v in values]
    mx, my = sum(x) / len(x), sum(y) / len(y)
    return sum((a - mx) * (b - my) for a, b in zip(x, y)) / sum((a - mx) ** 2 for a in x)


class Curves:
    def __init__(self, of, sizes):
        self.of, self.sizes, self.rows = of, sizes, {}

    def add(self, name, size, cost):
        say(f"{self.of} {size:g}: {name} {cost[0]:.3f} s, {cost[1]:.0f} MB")
        self.rows.setdefault(name, {})[size] = cost

    def print(self):
        print(f"\n| {self.of} | " + " | ".join(f"{s:g}" for s in self.sizes) + " | exponent |")
        print("| --- |" + " --- |" * (len(self.sizes) + 1))
        for name, row in self.rows.items():
            seconds = " | ".join(self.cell(row.get(s)) for s in self.sizes)
            # Starting takes some 10 ms whatever the work: sizes that cost less say nothing of growth.
            large = [s for s in self.sizes if s in row and row[s][0] > 0.05][-4:]
            grows = f"{exponent(large, [row[s][0] for s in large]):.2f}" if len(large) > 1 else "below 0.05 s"
            print(f"| `{name}` | {seconds} | {grows} |")

    @staticmethod
    def cell(cost):
        return "-" if cost is None else f"{cost[0]:.3g} s, {cost[1]:.0f} MB"


def gauge_of(boundaries, moved=0):
    """So many boundaries, 60 rpm apart; with `moved` the middle one lies so far off."""
    cues = ["{left: white}", "{left: blue, right: blue}", "{right: magenta}", "{}"]
    windows = ["  - {name: w0, from: 0, show: {}}"]
    for i in range(1, boundaries + 1):
        rpm = 1940 + 60 * i + (moved if i == boundaries // 2 + 1 else 0)
        windows.append(f"  - {{name: w{i}, from: {rpm}, show: {cues[(i - 1) % 4]}}}")
    return "\n".join(["format: 1", "kind: gauge", f"name: of {boundaries}", "pulses_per_rev: 3", "lamps:",
                      "  - {id: left, colours: [white, blue]}", "  - {id: right, colours: [blue, magenta]}",
                      "windows:", *windows, "deadband: {rpm: 7, sits: below}",
                      "tolerance: {rpm: 3, response_ms: {from: 0, to: 120}, settle_ms: 10}", ""])


def scenario_of(steps):
    return "\n".join(["format: 1", "kind: scenario", "name: grown", "seed: 5", "profile:", *steps, ""])


def rig_of(gauge):
    return ("format: 1\nkind: rig\nsource: {kind: simulated}\n"
            f"watch: {{kind: simulated, unit: {gauge}, behaviour: {{response_ms: 20, faults: []}}}}\n")


def boundaries():
    curves = Curves("boundaries", [3, 6, 12, 25, 50, 100, 200])
    for n in curves.sizes:
        top = 1940 + 60 * n + 100
        Path("gauge.yaml").write_text(gauge_of(n))
        Path("moved.yaml").write_text(gauge_of(n, 15))
        Path("rig.yaml").write_text(rig_of("gauge.yaml"))
        Path("rig-moved.yaml").write_text(rig_of("moved.yaml"))
        Path("scenario.yaml").write_text(scenario_of(
            ["  - {hold: 1900, for: 2s}", f"  - {{ramp: {top}, rate: 30}}", f"  - {{hold: {top}, for: 1s}}",
             "  - {ramp: 1900, rate: 30}", "  - {hold: 1900, for: 1s}"]))
        with_rig = ["--gauge", "gauge.yaml", "--rig", "rig.yaml", "--no-history"]
        curves.add("check", n, timed("check", "gauge.yaml"))
        curves.add("settings diff", n, timed("settings", "diff", "gauge.yaml", "moved.yaml", allowed=(0, 1)))
        curves.add("expect", n, timed("expect", "scenario.yaml", "--gauge", "gauge.yaml"))
        curves.add("run", n, timed("run", "scenario.yaml", *with_rig, "--out", f"run-{n}", allowed=(0, 3)))
        curves.add("report --verify", n, timed("report", f"run-{n}", "--verify", allowed=(0, 3)))
        curves.add("compare", n, timed("compare", f"run-{n}", f"run-{n}", allowed=(0, 1, 3)))
        timed("run", "scenario.yaml", "--gauge", "gauge.yaml", "--rig", "rig-moved.yaml", "--no-history",
              "--out", f"moved-{n}", allowed=(1,))
        curves.add("diagnose", n, timed("diagnose", f"moved-{n}", allowed=(0, 1)))
        curves.add("survey", n, timed("survey", *with_rig, "--out", f"survey-{n}", allowed=(0, 3)))
        if n <= 25:
            curves.add("grade", n, timed("grade", "scenario.yaml", "--gauge", "gauge.yaml", allowed=(0, 1, 3)))
        if n <= 12:
            curves.add("plan", n, timed("plan", "--gauge", "gauge.yaml", "--out", f"plan-{n}.yaml"))
    curves.print()


def length():
    """A hold above a boundary, a wave over two, and what can be done with their evidence."""
    curves = Curves("hours", [0.01, 0.1, 1, 6, 24])
    gauge, rig = FIXTURES / "gauges/drumlin.yaml", FIXTURES / "rigs/simulated.yaml"
    for hours in curves.sizes:
        lasts = f"{round(hours * 3600)}s"
        for name, step in [("hold", f"  - {{hold: 3650, for: {lasts}}}"),
                           ("wave", f"  - {{wave: 3700, swing: 100, period: 60s, for: {lasts}}}")]:
            Path("scenario.yaml").write_text(scenario_of(
                ["  - {hold: 3000, for: 1s}", "  - {ramp: 3700, rate: 100}", step]))
            out = f"{name}-{hours}"
            curves.add(f"run, {name}", hours, timed("run", "scenario.yaml", "--gauge", gauge, "--rig", rig,
                                                    "--no-history", "--out", out, allowed=(0, 3)))
            curves.add(f"report --verify, {name}", hours, timed("report", out, "--verify", allowed=(0, 3)))
            curves.add(f"compare, {name}", hours, timed("compare", out, out, allowed=(0, 1, 3)))
            curves.add(f"judge, {name}", hours,
                       timed("judge", f"{out}/capture.vcd", "--gauge", gauge, "--wiring",
                             FIXTURES / "wirings/drumlin-capture.yaml", "--no-history", "--out", f"judged-{out}",
                             allowed=(0, 3)))
            shutil.rmtree(f"judged-{out}")
            shutil.rmtree(out)
    curves.print()


def recording():
    """Captures of 15,000 pulses a second: a crossing, then a hold."""
    curves = Curves("MB", [1, 10, 100, 1000, 10000])
    Path("gauge.yaml").write_text(gauge_of(1).replace("pulses_per_rev: 3", "pulses_per_rev: 60"))
    Path("rig.yaml").write_text(rig_of("gauge.yaml"))
    Path("wiring.yaml").write_text("format: 1\nkind: wiring\ntach: tach\n"
                                   "lamps: {left: {white: left.white, blue: left.blue},"
                                   " right: {blue: right.blue, magenta: right.magenta}}\n")
    for mb in curves.sizes:
        Path("scenario.yaml").write_text(scenario_of(
            ["  - {hold: 1900, for: 1s}", "  - {ramp: 2100, rate: 400}", "  - {step: 15000}",
             f"  - {{hold: 15000, for: {max(mb * 2.15 - 0.3, 1):.1f}s}}"]))
        timed("run", "scenario.yaml", "--gauge", "gauge.yaml", "--rig", "rig.yaml", "--no-history", "--out", "played",
              allowed=(0, 3))
        say(f"{Path('played/capture.vcd').stat().st_size / 1e6:.1f} MB")
        curves.add("judge", mb, timed("judge", "played/capture.vcd", "--gauge", "gauge.yaml", "--wiring",
                                      "wiring.yaml", "--no-history", "--out", "judged", allowed=(0, 3)))
        curves.add("noise", mb, timed("noise", "played/capture.vcd", "--channel", "tach", "--ppr", "60",
                                      allowed=(0, 3)))
        for folder in ("played", "judged"):
            shutil.rmtree(folder)
    curves.print()


def history():
    """Copies of one run, of 200 units, in a file."""
    curves = Curves("runs", [10, 100, 1000, 10000, 100000])
    run = ["run", FIXTURES.parent / "scenarios/regression.yaml", "--gauge", FIXTURES / "gauges/drumlin.yaml", "--rig",
           FIXTURES / "rigs/simulated.yaml", "--history", "history.db"]
    timed(*run, "--unit-serial", "DR-0000", "--out", "first")
    for size in curves.sizes:
        grow_history(size)
        curves.add("run that is added", size, timed(*run, "--unit-serial", "DR-0001", "--out", f"run-{size}"))
        ask = ["history", "--history", "history.db", "--simulated"]
        curves.add("history", size, timed(*ask))
        curves.add("history --unit", size, timed(*ask, "--unit", "DR-0042" if size > 42 else "DR-0000"))
        curves.add("history --html", size, timed(*ask, "--html", f"page-{size}.html"))
        curves.add("accept", size, timed("accept", f"run-{size}", "--history", "history.db", "--by", "growth",
                                         "--why", "growth"))
    curves.print()


def grow_history(size):
    """Rows of the first run again, with numbers of their own, a minute apart."""
    db = sqlite3.connect("history.db")
    columns = {table: [row[1] for row in db.execute(f"PRAGMA table_info({table})")]
               for (table,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'").fetchall()}
    runs = columns["runs"]
    first = dict(zip(runs, db.execute("SELECT * FROM runs ORDER BY id LIMIT 1").fetchone()))
    parts = [table for table, names in columns.items() if "run" in names and table != "accepted"]
    of_first = {table: db.execute(f"SELECT * FROM {table} WHERE run = ?", (first["id"],)).fetchall()
                for table in parts}
    have = db.execute("SELECT max(id) FROM runs").fetchone()[0]
    insert = {table: f"INSERT INTO {table} VALUES ({','.join('?' * len(names))})" for table, names in columns.items()}
    for n in range(have + 1, size + 1):
        row = {**first, "id": n, "result_sha256": f"{n:064x}", "folder": f"/srv/runs/{n}",
               "report_id": f"grown-{n}", "unit_serial": f"DR-{n % 200:04}", "started_s": first["started_s"] + 60 * n}
        db.execute(insert["runs"], [row[name] for name in runs])
        for table in parts:
            at = columns[table].index("run")
            db.executemany(insert[table], [[n if i == at else value for i, value in enumerate(old)]
                                           for old in of_first[table]])
    db.commit()
    db.close()


AXES = {"boundaries": boundaries, "length": length, "recording": recording, "history": history}

if __name__ == "__main__":
    scratch = Path(tempfile.mkdtemp(prefix="tachproof-growth-"))
    os.chdir(scratch)
    try:
        for axis in sys.argv[2:] or AXES:
            AXES[axis]()
    finally:
        shutil.rmtree(scratch)
