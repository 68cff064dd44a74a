"""The table of aims: measure.py SOURCE BUILD ROUNDS. See run.sh.

Machines are shared and noisy: each round runs a measure right beside what it is
compared with, all times are CPU time, a ratio is taken within a round, and the
median of the rounds counts.
"""
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median

SOURCE, BUILD, ROUNDS = Path(sys.argv[1]), Path(sys.argv[2]), int(sys.argv[3])
HERE = SOURCE / "tests/benchmarks"
TACHPROOF = BUILD / "bench/tachproof"
SCRATCH = Path(tempfile.mkdtemp(prefix="tachproof-benchmarks-"))
os.environ["TMPDIR"] = str(SCRATCH)  # where formats_bench keeps its files
absent = []


def say(text):
    print(text, file=sys.stderr, flush=True)


def cpu_seconds(*command):
    """User and system time of a program; undecided (3) is no error: a fast wave decides few thresholds."""
    with open(os.devnull, "w") as nothing:
        child = subprocess.Popen(command, stdout=nothing, stderr=nothing)
        _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode not in (0, 3):
        raise RuntimeError(f"{' '.join(map(str, command))}: exit {child.returncode}")
    return usage.ru_utime + usage.ru_stime


def benchmarks(pattern):
    """Google Benchmark's counters and nanoseconds (`ns`) by name."""
    text = subprocess.run(
        [BUILD / "tests/benchmarks/benchmarks", f"--benchmark_filter={pattern}", "--benchmark_format=json",
         "--benchmark_min_time=0.1"],
        check=True, capture_output=True, text=True).stdout
    scale = {"ns": 1, "us": 1e3, "ms": 1e6, "s": 1e9}
    found = {}
    for entry in json.loads(text)["benchmarks"]:
        if entry.get("error_occurred"):
            say(f"{entry['name']}: {entry['error_message']}")
            continue
        found[entry["name"]] = {**entry, "ns": entry["cpu_time"] * scale[entry["time_unit"]]}
    return found


def peer(name, *command):
    """What a peer's program prints, as a number; None when it is not installed."""
    run = subprocess.run(command, capture_output=True, text=True)
    if run.returncode == 0:
        return float(run.stdout)
    if name not in absent:
        absent.append(name)
        say(f"{name}: not installed")
    return None


def in_rounds(name, measure):
    """Medians of the figures that measure() gives; those of an absent peer are None."""
    say(name)
    rounds = [measure() for _ in range(ROUNDS)]
    return {key: None if rounds[0][key] is None else median(r[key] for r in rounds) for key in rounds[0]}


def over(a, b):
    return None if a is None or b is None else a / b


def edges():
    found = benchmarks("^(ramp|constant|writing_memory)/")
    numpy_ns = peer("NumPy", "/usr/bin/python3", HERE / "edges_peer.py")
    ns = {name: entry["per_edge"] * 1e9 for name, entry in found.items()}
    best = max(int(name[-1]) for name in ns if name.startswith("constant"))
    avx2, sse = ns.get("ramp/set:1"), ns["ramp/set:0"]
    return {"avx2": avx2, "avx2_ratio": over(numpy_ns, avx2), "sse": sse, "sse_ratio": over(numpy_ns, sse),
            "constant": ns[f"constant/set:{best}"],
            "constant_ratio": ns[f"constant/set:{best}"] / ns["writing_memory/set:0"], "numpy": numpy_ns}


def model():
    return {name: entry["times_real_time"] for name, entry in benchmarks("^Model").items()}


def whole_run(step):
    """CPU microseconds for each second of scenario that a run has more."""
    seconds = []
    for length_s in (600, 3600):
        scenario = SCRATCH / "scenario.yaml"
        scenario.write_text("format: 1\nkind: scenario\nname: benchmark\nseed: 1\nprofile:\n"
                            f"  - {step.replace('LENGTH', f'{length_s}s')}\n")
        out = SCRATCH / "run"
        seconds.append(cpu_seconds(TACHPROOF, "run", scenario, "--gauge", SOURCE / "fixtures/gauges/drumlin.yaml",
                                   "--rig", SOURCE / "fixtures/rigs/simulated.yaml", "--out", out))
        shutil.rmtree(out)
    return (seconds[1] - seconds[0]) / 3000 * 1e6


def runs():
    return {"hold": whole_run("{hold: 7800, for: LENGTH}"),
            "wave": whole_run("{wave: 5600, swing: 2400, period: 16s, for: LENGTH}")}


def suite():
    """A suite of 100 short scenarios, and the seconds of each pair beyond those of the run itself."""
    folder, out = SCRATCH / "scenarios", SCRATCH / "out"
    folder.mkdir()
    for i in range(100):
        (folder / f"s{i:02}.yaml").write_text(
            f"format: 1\nkind: scenario\nname: s{i:02}\nseed: {i}\nprofile:\n"
            f"  - {{hold: 3000, for: 1s}}\n  - {{ramp: 8000, rate: {1000 + 10 * i}}}\n  - {{hold: 8000, for: 1s}}\n")
    with_what = ("--gauge", SOURCE / "fixtures/gauges/drumlin.yaml", "--rig", SOURCE / "fixtures/rigs/simulated.yaml",
                 "--no-history", "--out")
    whole = cpu_seconds(TACHPROOF, "run", folder, *with_what, out / "suite")
    alone = sum(cpu_seconds(TACHPROOF, "run", scenario, *with_what, out / scenario.stem)
                for scenario in sorted(folder.iterdir()))
    shutil.rmtree(folder)
    shutil.rmtree(out)
    return {"total_s": whole, "beyond_ms": (whole - alone) * 10, "ratio": whole / alone}


def sigrok_bytes_per_s():
    # It makes a sample of every microsecond: a short piece is enough.
    if shutil.which("sigrok-cli") is None:
        return peer("sigrok-cli", "false")
    piece = SCRATCH / "piece.vcd"
    with open(SCRATCH / "tachproof_bench.vcd", "rb") as whole:
        piece.write_bytes(b"".join(whole.readline() for _ in range(50_000)))
    return piece.stat().st_size / cpu_seconds("sigrok-cli", "-I", "vcd", "-i", piece, "-O", "vcd", "-o", os.devnull)


PANDAS = """
import sys, time, pandas
begin = time.process_time()
rows = len(pandas.read_csv(sys.argv[1]))
print((time.process_time() - begin) / rows * 1e9)
"""


def formats():
    found = benchmarks("^(MemcpyOfTheSameBytes|ReadVcd|WriteReadyBytes|WriteVcd|ReadCsv)$")
    speed = {name: entry["bytes_per_second"] for name, entry in found.items()}
    csv_ns = found["ReadCsv"]["ns_per_row"]
    pandas_ns = peer("pandas", "/usr/bin/python3", "-c", PANDAS, SCRATCH / "tachproof_bench.csv")
    return {"read": speed["ReadVcd"] / 1e9, "memcpy_ratio": speed["MemcpyOfTheSameBytes"] / speed["ReadVcd"],
            "sigrok_ratio": over(speed["ReadVcd"], sigrok_bytes_per_s()),
            "write": speed["WriteVcd"] / 1e9, "write_ratio": speed["WriteReadyBytes"] / speed["WriteVcd"],
            "csv": csv_ns, "pandas": pandas_ns, "pandas_ratio": over(pandas_ns, csv_ns)}


def events():
    found = benchmarks("^(ReadingTheRecords|MatchingAlone|Judging.*)$")
    ns = {name: entry["per_event"] * 1e9 for name, entry in found.items()}
    return ns | {name + "_ratio": each / ns["ReadingTheRecords"] for name, each in ns.items()}


def flicker():
    """All deadband widths at once, in ns per pulse; NumPy takes a pass per width."""
    found = {name: 1e9 / entry["items_per_second"] for name, entry in benchmarks("^Deadband").items()}
    with_what = 1 if "DeadbandNormalsAlone/1" in found else 0  # AVX2, as most processors have
    ours = {"normals": found[f"DeadbandNormalsAlone/{with_what}"], "rare": found[f"DeadbandRareAllWidths/{with_what}"],
            "frequent": found[f"DeadbandFrequentAllWidths/{with_what}"]}
    run = subprocess.run(["/usr/bin/python3", HERE / "deadband_peer.py"], capture_output=True, text=True)
    theirs = json.loads(run.stdout) if run.returncode == 0 else {}
    return ours | {
        "rare_normals": ours["rare"] / ours["normals"],
        "rare_passes": over(theirs.get("rare_passes"), ours["rare"]),
        "rare_one_pass": over(theirs.get("rare_one_pass"), ours["rare"]),
        "frequent_passes": over(theirs.get("frequent_passes"), ours["frequent"]),
        "two_threads": found["DeadbandOnThreads/1/real_time"] / found["DeadbandOnThreads/2/real_time"]}


def startup():
    empty = SCRATCH / "empty"
    if not empty.exists():
        subprocess.run(["c++", "-O2", "-x", "c++", "-", "-o", empty], input="#include <iostream>\nint main() {}\n",
                       text=True, check=True)
    nothing, ours = 0, 0
    for _ in range(100):
        nothing += cpu_seconds(empty)
        ours += cpu_seconds(TACHPROOF, "--help")
    return {"ms": ours * 10, "empty_ms": nothing * 10, "ratio": ours / nothing}


def needless_libraries():
    libraries = subprocess.run(["ldd", TACHPROOF], capture_output=True, text=True, check=True).stdout.lower()
    return [word for word in ("opencv", "sqlite", "libjpeg", "libav") if word in libraries]


def ramp_error_holds():
    test = "PulseTrain.IsWithinAPicosecondOfTheExactInstantBeforeRoundingOnA300SecondRamp"
    run = subprocess.run([BUILD / "tests/core_tests", f"--gtest_filter={test}"], capture_output=True, text=True)
    return run.returncode == 0 and "1 test" in run.stdout


def row(measure, aim, measured, ratio, peer_name, good):
    reached = "not measured" if good is None else "yes" if good else "no"
    return [measure, aim, measured, "-" if ratio is None else f"{ratio:.2f}", peer_name, reached]


def at_least(value, least):
    return None if value is None else value >= least


def over_all(sixteen_widths):
    """Ours answers for 101 widths, NumPy was timed with 16."""
    return None if sixteen_widths is None else sixteen_widths * 101 / 16


def table():
    e = in_rounds("edge times", edges)
    m = in_rounds("virtual time", model)
    r = in_rounds("whole runs", runs)
    c = in_rounds("suites", suite)
    f = in_rounds("recordings", formats)
    j = in_rounds("lamp events", events)
    d = in_rounds("flicker", flicker)
    s = in_rounds("start-up", startup)
    needless = needless_libraries()
    exact = ramp_error_holds()
    rows = []
    if e["avx2"] is not None:
        rows.append(row("edge times from a ramp, AVX2", ">= 5 x NumPy", f"{e['avx2']:.2f} ns", e["avx2_ratio"], "NumPy",
                        at_least(e["avx2_ratio"], 5)))
    rows += [
        row("edge times from a ramp, SSE", ">= 3 x NumPy", f"{e['sse']:.2f} ns", e["sse_ratio"], "NumPy",
            at_least(e["sse_ratio"], 3)),
        row("their error before rounding", "<= 1 ps", "<= 1 ps" if exact else "> 1 ps", None,
            "113-bit arithmetic (a test)", exact),
        row("edge times at constant rpm", "<= 1.3 x memory", f"{e['constant']:.2f} ns", e["constant_ratio"],
            "writing the memory", e["constant_ratio"] <= 1.3),
    ]
    for name, what in (("ModelAt12000", "train, unit and judge, 12,000 rpm x 4"),
                       ("ModelUpdatesAtEveryPulse", "the same, a reading at every pulse"),
                       ("ModelDimmed", "the same, lamps dimmed by PWM")):
        rows.append(row(what, ">= 100,000 x real time", f"{m[name]:,.0f} x", None, "real time", m[name] >= 100_000))
    for name, what in (("hold", "each second more of a run, hold"), ("wave", "each second more of a run, wave")):
        rows.append(row(what, "< 50 us", f"{r[name]:.0f} us", None, "-", r[name] < 50))
    rows += [
        row("a suite of 100 short scenarios", "<= 1.1 x its runs", f"{c['total_s']:.1f} s, {c['beyond_ms']:+.1f} ms a run",
            c["ratio"], "the same 100 runs one by one", c["ratio"] <= 1.1),
        row("VCD, validated reading", ">= 1 GB/s", f"{f['read']:.2f} GB/s", None, "-", f["read"] >= 1),
        row("VCD, validated reading", "<= 12 x memcpy", f"{f['read']:.2f} GB/s", f["memcpy_ratio"], "memcpy",
            f["memcpy_ratio"] <= 12),
        row("VCD, validated reading", ">= 40 x sigrok-cli", f"{f['read']:.2f} GB/s", f["sigrok_ratio"], "sigrok-cli",
            at_least(f["sigrok_ratio"], 40)),
        row("VCD, writing", "<= 2.5 x write()", f"{f['write']:.2f} GB/s", f["write_ratio"], "write() of ready bytes",
            f["write_ratio"] <= 2.5),
        row("CSV, reading", ">= 15 x pandas", f"{f['csv']:.1f} ns a row", f["pandas_ratio"], "pandas",
            at_least(f["pandas_ratio"], 15)),
    ]
    for name, what in (("MatchingAlone", "lamp events: moves matched with demands"),
                       ("JudgingABlink", "lamp events: the whole judge, a blink"),
                       ("JudgingDemandedMoves", "lamp events: the whole judge, demanded moves")):
        aim = "<= 3 x reading" if name == "MatchingAlone" else "-"
        good = j[name + "_ratio"] <= 3 if name == "MatchingAlone" else None
        rows.append(row(what, aim, f"{j[name]:.1f} ns", j[name + "_ratio"], "reading 40-byte records", good))
    widths = "NumPy, a pass for each of 101 widths"
    rows += [
        row("flicker, all widths, rare", "<= 1.6 x its normals", f"{d['rare']:.2f} ns a pulse", d["rare_normals"],
            "drawing the normals", d["rare_normals"] <= 1.6),
        row("flicker, all widths, rare", ">= 100 x NumPy", f"{d['rare']:.2f} ns a pulse",
            over_all(d["rare_passes"]), widths, at_least(over_all(d["rare_passes"]), 100)),
        row("flicker, all widths, rare", ">= 10 x NumPy", f"{d['rare']:.2f} ns a pulse", d["rare_one_pass"],
            "NumPy, one pass", at_least(d["rare_one_pass"], 10)),
        row("flicker, all widths, frequent", ">= 50 x NumPy", f"{d['frequent']:.2f} ns a pulse",
            over_all(d["frequent_passes"]), widths,
            at_least(over_all(d["frequent_passes"]), 50)),
        row("flicker on two threads", ">= 1.9 x one", "-", d["two_threads"], "one thread", d["two_threads"] >= 1.9),
        row("`tachproof --help`", "<= 1.5 x empty program", f"{s['ms']:.2f} ms", s["ratio"], "an empty C++ program",
            s["ratio"] <= 1.5),
        row("its libraries", "no OpenCV, SQLite, camera", ", ".join(needless) or "none of them", None, "ldd", not needless),
    ]
    return rows


def machine():
    cpu = next((line.split(":", 1)[1].strip() for line in open("/proc/cpuinfo") if line.startswith("model name")), "?")
    compiler = subprocess.run(["c++", "--version"], capture_output=True, text=True).stdout.splitlines()[0]
    return [("CPU", cpu), ("cores", os.cpu_count()), ("kernel", platform.release()), ("compiler", compiler),
            ("date", time.strftime("%Y-%m-%d")), ("rounds", ROUNDS),
            ("load at the end", f"{os.getloadavg()[0]:.1f} (other programs on the machine)"),
            ("peers not installed", ", ".join(absent) or "none")]


def main():
    try:
        rows = table()
    finally:
        shutil.rmtree(SCRATCH)
    lines = ["| measure | aim | measured | ratio | peer | reached |", "| --- | --- | --- | --- | --- | --- |"]
    lines += ["| " + " | ".join(cells) + " |" for cells in rows]
    report = ["# Speed and size", "", "Written by `tests/benchmarks/run.sh`.", ""]
    report += [f"- {name}: {value}" for name, value in machine()] + [""] + lines
    print("\n".join(lines))
    (HERE / "RESULTS.md").write_text("\n".join(report) + "\n")


main()
