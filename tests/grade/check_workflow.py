#!/usr/bin/env python3
"""Case files to a graded programme, twice: by `rhumb grade` itself and by the Snakemake workflow of tools/workflow, on
three rendered cases and one that is unusable. The workflow part is skipped where snakemake is not installed.

    python3 tests/grade/check_workflow.py PROGRAM SOURCE_FOLDER
"""
import json
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

PROGRAM, SOURCE = Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve()
failures = []


def check(condition, message):
    if not condition:
        failures.append(message)
        print("FAILED:", message)


def run(*arguments, **options):
    return subprocess.run([str(a) for a in arguments], capture_output=True, text=True, timeout=900, **options)


def make_cohort(place):
    lines = ["outcome,operator,date"]
    for i in range(3):
        made = run(PROGRAM, "render", SOURCE / "fixtures/scenes/routine.toml", "--out", place / f"case {i}", "--frames", 12,
                   "--size", "480x270", "--seed", i + 1)
        check(made.returncode == 0, made.stderr)
        lines.append(f"case {i}/case.toml,f{i % 2 + 1:02d},2026-03-0{i + 1}")
    (place / "broken").mkdir()
    (place / "broken" / "case.toml").write_text("[case]\nid = 7\n")
    lines.append("broken/case.toml,f01,2026-03-09")
    (place / "cohort.csv").write_text("\n".join(lines) + "\n")


def states(folder):
    return [(c["state"], c["reason"]) for c in json.loads((folder / "grade.json").read_text())["cases"]]


def check_states(folder, who):
    found = states(folder)
    check(len(found) == 4, f"{who}: {len(found)} cases")
    check(found[3][0] == "missing", f"{who}: the unusable case is {found[3]}")
    check(all(state in ("graded", "no final axis", "interval too wide") for state, _ in found[:3]), f"{who}: {found}")


def by_grade(place):
    out = place / "graded"
    first = run(PROGRAM, "grade", place / "cohort.csv", "--out", out)
    check(first.returncode == 0, first.stderr)
    check("4 cases analysed, 0 were up to date" in first.stderr, first.stderr)
    check_states(out, "rhumb grade")
    check("case.toml" in states(out)[3][1], f"the reason names the file: {states(out)[3][1]}")
    before = {p: p.stat().st_mtime_ns for p in (out / "outcomes").glob("*/result.json")}
    again = run(PROGRAM, "grade", place / "cohort.csv", "--out", out)
    check("1 cases analysed, 3 were up to date" in again.stderr, again.stderr)
    check(before == {p: p.stat().st_mtime_ns for p in (out / "outcomes").glob("*/result.json")}, "an outcome was made again")
    # A changed case file is analysed again, the others are not.
    with (place / "case 1" / "case.toml").open("a") as case_file:
        case_file.write("\n# a remark\n")
    changed = run(PROGRAM, "grade", place / "cohort.csv", "--out", out)
    check("2 cases analysed, 2 were up to date" in changed.stderr, changed.stderr)


def snakemake(place, out, *more, **options):
    return run("snakemake", "--snakefile", SOURCE / "tools/workflow/Snakefile", "--nolock", *more, "--config",
               f"cohort={place}/cohort.csv", f"out={out}", f"rhumb={PROGRAM}", "tries=2", "threads=1",
               "analyze_options=--no-review", cwd=place, **options)


def by_workflow(place):
    out = place / "results"
    first = snakemake(place, out, "--cores", 2)
    check(first.returncode == 0, first.stderr[-1500:])
    check_states(out / "grades", "workflow")
    log = next((out / "logs").glob("broken-*.log")).read_text()
    check("try 2 of 2" in log, f"the unusable case was not tried again: {log}")
    again = snakemake(place, out, "--cores", 2)
    check("Nothing to be done" in again.stderr, again.stderr[-500:])


def by_profile(place):
    """The Slurm profile with stand-ins for sbatch and sacct that run the job here: its command lines, not Slurm."""
    tools = place / "stand-ins"
    tools.mkdir()
    (tools / "sbatch").write_text("#!/bin/sh\nfor script; do :; done\necho \"$@\" >>\"$CALLS\"\n"
                                  "id=$(date +%s%N)\n(sh \"$script\" >/dev/null 2>&1; echo $? >\"$CALLS.$id\") "
                                  ">/dev/null 2>&1 &\necho $id\n")
    (tools / "sacct").write_text("#!/bin/sh\nif [ -f \"$CALLS.$2\" ]; then\n"
                                 "  [ \"$(cat \"$CALLS.$2\")\" = 0 ] && echo COMPLETED || echo FAILED\nelse echo RUNNING; fi\n")
    for tool in tools.iterdir():
        tool.chmod(0o755)
    environment = {**os.environ, "PATH": f"{tools}:{os.environ['PATH']}", "CALLS": str(place / "calls")}
    done = snakemake(place, place / "cluster", "--profile", SOURCE / "tools/workflow/slurm", "--latency-wait", 5,
                     env=environment)
    check(done.returncode == 0, done.stderr[-1500:])
    check_states(place / "cluster" / "grades", "profile")
    calls = (place / "calls").read_text().splitlines()
    check(len(calls) == 5, f"{len(calls)} submissions for four cases, one of them tried twice")
    check(all("--cpus-per-task=1" in c and "--mem=" in c and "--time=" in c for c in calls), str(calls[:1]))


with tempfile.TemporaryDirectory() as name:
    work = Path(name)
    make_cohort(work)
    by_grade(work)
    if shutil.which("snakemake") is None:
        print("skipped: the workflow, since snakemake is not installed")
    else:
        by_workflow(work)
        by_profile(work)
sys.exit(1 if failures else 0)
