#!/usr/bin/env python3
"""Follows a page of shell recipes literally.

    shell_page_test.py PAGE PROGRAM [EMULATED_BOARD]

A name in back quotes, alone on a line, names the file that the next block is
written into. A block of sh without a name is run by `sh -eu` in a folder where
`fixtures` and `scenarios` of the sources are; it ends with 0, or as its comment
`# exit status N` says. A block that needs a module of Python or a program that is
not installed is skipped with a message. Blocks of yml are parsed.
"""
import os
import pathlib
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import xml.etree.ElementTree

import yaml

ROOT = pathlib.Path(__file__).resolve().parent.parent
MODULES = ("pandas", "pytest", "jsonschema")
# What the program says of a board whose time does not keep up.
TOO_BUSY = "the bench was too slow|no answer within|has been silent for|did not get ready|did not start to play"
PYTHONS = (sys.executable, "/usr/bin/python3")


def blocks(page):
    """(file name or "", language, text) of every fenced block."""
    name, language, lines = "", None, []
    for line in page.read_text(encoding="utf-8").splitlines():
        if language is None and re.fullmatch(r"```\w+", line):
            language, lines = line[3:], []
        elif line == "```" and language is not None:
            yield name, language, "\n".join(lines) + "\n"
            name, language = "", None
        elif language is not None:
            lines.append(line)
        elif re.fullmatch(r"`[^`]+`", line):
            name = line[1:-1]
        elif line:
            name = ""


def python_with(modules):
    """An interpreter that has them; None: there is none."""
    for python in PYTHONS:
        words = "; ".join("import " + module for module in modules) or "pass"
        if subprocess.run([python, "-c", words], capture_output=True).returncode == 0:
            return python
    return None


class Folder:
    """Where the page is followed."""

    def __init__(self, path, program):
        self.path, self.files, self.said, self.wrong = path, {}, [], []
        (path / "bin").mkdir()
        (path / "bin/tachproof").symlink_to(program)
        for name in ("fixtures", "scenarios"):
            (path / name).symlink_to(ROOT / name)
        self.environment = {"PATH": f"{path}/bin:/usr/local/bin:/usr/bin:/bin", "HOME": str(path),
                            "TACHPROOF_HISTORY": str(path / "history.db"), "PYTHONDONTWRITEBYTECODE": "1"}

    def write(self, name, text):
        self.files[name] = text
        (self.path / name).parent.mkdir(parents=True, exist_ok=True)
        (self.path / name).write_text(text, encoding="utf-8")

    def lacks(self, text):
        """What the block needs and the machine has not; makes `python3` one that has it."""
        everything = text + "".join(body for name, body in self.files.items() if name in text)
        modules = [m for m in MODULES if re.search(rf"(-m |import ){m}\b", everything)]
        if re.search(r"\bjq\b", everything) and not shutil.which("jq", path=self.environment["PATH"]):
            return "jq"
        python = python_with(modules)
        if not python:
            return "Python with " + ", ".join(modules)
        link = self.path / "bin/python3"
        link.unlink(missing_ok=True)
        # Not a link: an interpreter of a virtual environment finds its modules by its own place.
        link.write_text(f'#!/bin/sh\nexec "{python}" "$@"\n')
        link.chmod(0o755)
        return None

    def run(self, text):
        return subprocess.run(["sh", "-eu", "-c", text], cwd=self.path, env=self.environment, stdin=subprocess.DEVNULL,
                              capture_output=True, text=True, timeout=600)

    def follow(self, text):
        lacking = self.lacks(text)
        if lacking:
            self.said.append(f"skipped, there is no {lacking}: {text.splitlines()[0]}")
            return None
        wanted = re.search(r"# exit status (\d)", text)
        done = self.run(text)
        if done.returncode != int(wanted[1] if wanted else 0):
            self.wrong.append(f"exit status {done.returncode}:\n{text}{done.stdout[-2000:]}{done.stderr[-2000:]}")
        return done


def dark_rig(folder):
    """A unit that lights no lamp: nothing shows that one is connected, so it is undecided."""
    gauge = (ROOT / "fixtures/gauges/drumlin.yaml").read_text()
    folder.write("dark-gauge.yaml", gauge.replace("{pit: 3720, shift: 7600}", "{pit: 15000, shift: 18900}"))
    rig = (ROOT / "fixtures/rigs/simulated.yaml").read_text()
    folder.write("dark.yaml", rig.replace("../gauges/drumlin.yaml", "dark-gauge.yaml"))


def follow_ci(folder, page, board):
    """The plain shell, with the emulated board where there is one; each verdict; the YAML beside the shell."""
    def expect(what, sound):
        if not sound:
            folder.wrong.append("not so: " + what)

    plain, workflows = [], {}
    for name, language, text in blocks(page):
        if name:
            folder.write(name, text)
        if language == "yml":
            workflows[name] = yaml.safe_load(text)
        elif not name:
            plain.append(text)
        for word in ("|| true", "continue-on-error", "allow_failure"):
            expect(f"no block has {word}", word not in text)
        if language == "sh":
            done = subprocess.run(["sh", "-n"], input=text, text=True, capture_output=True)
            expect(f"{name} is sound shell: {done.stderr}", done.returncode == 0)
    for workflow, shell in ((".github/workflows/bench.yml", plain[0]),
                            (".github/workflows/unit.yml", folder.files["on-the-bench.sh"])):
        (job,) = workflows[workflow]["jobs"].values()
        steps = "".join(step["run"].rstrip() + "\n" for step in job["steps"] if "run" in step)
        expect(f"{workflow} runs what the plain shell runs", steps == shell)
        kept = [step for step in job["steps"] if step.get("if") == "always()"]
        expect(f"{workflow} keeps results.xml in any case", len(kept) == 1 and "results.xml" in kept[0]["with"]["path"])

    def junit():
        suites = xml.etree.ElementTree.parse(folder.path / "results.xml").getroot()
        return {kind: sum(1 for _ in suites.iter(kind)) for kind in ("testcase", "failure", "error")}

    folder.said.append("build-bench.sh is not followed: what it builds is there")
    folder.write("build-bench.sh", ":\n")
    if board:
        (folder.path / "bin/emulated-board").symlink_to(board)
    else:
        folder.said.append("no emulated board is built: the built-in simulator takes its place")
        folder.write("start-board.sh", "sed 's|[.][.]/gauges|fixtures/gauges|' "
                     "fixtures/rigs/simulated.yaml >rig.yaml\n")
    try:
        done = folder.run(plain[0])
    finally:
        if (folder.path / "board.pid").is_file():
            os.kill(int((folder.path / "board.pid").read_text()), signal.SIGTERM)
    if board and done.returncode == 3 and re.search(TOO_BUSY, done.stdout + done.stderr):
        folder.said.append("undecided: this machine is too busy for the emulated board's time")
        expect("an error in JUnit", not (folder.path / "results.xml").exists() or junit()["error"] > 0)
    else:
        expect(f"the plain shell passes: {done.stdout}{done.stderr}", done.returncode == 0)
        counts = junit()
        expect(f"cases, and none is red: {counts}", counts["testcase"] > 1 and not counts["failure"] + counts["error"])
    dark_rig(folder)
    for rig, status, kind in (("fixtures/rigs/simulated-faulty.yaml", 1, "failure"), ("dark.yaml", 3, "error")):
        done = folder.run("rm -rf proof results.xml; sh prove.sh " + rig)
        expect(f"{rig} ends with {status}: {done.returncode} {done.stdout}{done.stderr}", done.returncode == status)
        expect(f"{rig}: {kind} in JUnit", junit()[kind] > 0)
    done = folder.run("rm -rf proof results.xml; sh prove.sh nowhere.yaml")
    expect(f"a bad file ends with 2, and leaves nothing: {done.returncode}",
           done.returncode == 2 and not (folder.path / "results.xml").exists())


def follow_scripts(folder, page):
    """Every block; then what the recipes promise and no exit status shows."""
    outputs = {}
    for name, language, text in blocks(page):
        if name:
            folder.write(name, text)
        elif language == "sh":
            outputs[text] = folder.follow(text)

    def expect(what, sound):
        if not sound:
            folder.wrong.append("not so: " + what)

    def of(part):
        return next(done for text, done in outputs.items() if part in text)

    shipped, refused = of("ship.sh fixtures/rigs/simulated.yaml"), of("ship.sh fixtures/rigs/simulated-faulty.yaml")
    if shipped and refused:
        expect("a pass is shipped", "may be shipped" in shipped.stdout)
        expect("a fail is not", "shipped" not in refused.stdout)
        dark_rig(folder)
        for rig, status in (("dark.yaml", 3), ("nowhere.yaml", 2)):
            done = folder.run("sh ship.sh " + rig)
            expect(f"{status} for {rig}: {done.returncode} {done.stderr}", done.returncode == status)
            expect(f"nothing is shipped for {rig}", "shipped" not in done.stdout)
        why = folder.run("tachproof run scenarios/regression.yaml --gauge fixtures/gauges/drumlin.yaml --rig "
                         "fixtures/rigs/simulated-faulty.yaml --out bad >/dev/null || sh why.sh bad")
        expect("why.sh names the cause: " + why.stdout, "3619 rpm" in why.stdout and why.returncode == 1)
        table = (folder.path / "thresholds.csv").read_text().splitlines()
        expect("a row for each threshold: " + table[1],
               len(table) == 19 and table[1].startswith('"closing","rising",3460,'))
    drift = of("drift.py")
    if drift:
        expect("drift: " + drift.stdout, "DR-0417" in drift.stdout and "on-limit" in drift.stdout)
    failed = of("RIG=fixtures/rigs/simulated-faulty.yaml")
    if failed:
        expect("pytest names the boundary: " + failed.stdout, "test_row[boundaries on-limit rising]" in failed.stdout)
        expect("pytest sees the verdict: " + failed.stdout, "::test_verdict" in failed.stdout)


def main():
    page, program = ROOT / sys.argv[1], pathlib.Path(sys.argv[2]).resolve()
    with tempfile.TemporaryDirectory() as path:
        folder = Folder(pathlib.Path(path), program)
        if page.name == "CI.md":
            follow_ci(folder, page, pathlib.Path(sys.argv[3]).resolve() if len(sys.argv) > 3 else None)
        else:
            follow_scripts(folder, page)
    print("\n".join(folder.said + folder.wrong + [f"{page.name}: {len(folder.wrong)} wrong"]))
    return 1 if folder.wrong else 0


if __name__ == "__main__":
    sys.exit(main())
