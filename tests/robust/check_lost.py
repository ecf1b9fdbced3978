#!/usr/bin/env python3
"""Nothing is lost: killed at 50 random moments, on a full disk, with two runs into one folder, from read-only folders.

    python3 tests/robust/check_lost.py PROGRAM SOURCE_FOLDER
"""
import os
import random
import resource
import shutil
import signal
import subprocess
import time
from pathlib import Path

from common import PROGRAM, check, contents, finish, render, rhumb, run, with_id, work_folder

KILLS = 50


def whole_runs(work):
    """Two case files and what a whole run of each leaves."""
    case = render(work / "case")
    files = [with_id(case / "case.toml", "a.toml", "A-1"), with_id(case / "case.toml", "b.toml", "B-2")]
    wanted = []
    for file in files:
        ran = rhumb("analyze", file, "--out", work / file.stem, "--quiet")
        check(ran.returncode in (0, 1), f"{file.name}: {ran.stderr}")
        wanted.append(contents(work / file.stem))
    check(wanted[0] != wanted[1], "the two cases' outputs do not differ: nothing would be tried")
    check("review.mp4" in wanted[0] and "result.json" in wanted[0], f"outputs: {sorted(wanted[0])}")
    return files, wanted


def killed(work, files, wanted):
    out = work / "a"
    (out / "mine.txt").write_text("somebody else's")
    for state in wanted:
        state["mine.txt"] = contents(out)["mine.txt"]
    chance = random.Random(8429)
    usual_s, now, kills, kept, replaced, ended = 1.0, 0, 0, 0, 0, 0
    while kills < KILLS and ended < 5 * KILLS:
        started = time.monotonic()
        process = subprocess.Popen([PROGRAM, "analyze", files[1 - now], "--out", out, "--quiet"],
                                   stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            process.wait(chance.uniform(0, usual_s))
        except subprocess.TimeoutExpired:
            process.kill()
        killed_it = process.wait() == -signal.SIGKILL
        found = contents(out)
        check(found in wanted, f"after a kill: {sorted(found)}, neither the earlier nor the new outputs")
        done = found == wanted[1 - now]
        if done:
            now = 1 - now
        if killed_it:
            kills, kept, replaced = kills + 1, kept + (not done), replaced + done
            usual_s = max(usual_s, 1.02 * (time.monotonic() - started))  # the machine is slower than thought
            usual_s *= 1.05
        else:
            ended += 1
            usual_s = time.monotonic() - started
    print(f"{kills} kills: {kept} left the earlier outputs, {replaced} the new; {ended} runs ended before theirs")
    check(kills == KILLS, "too few runs were killed")
    rhumb("analyze", files[0], "--out", out, "--quiet")
    left = [p.name for p in work.iterdir() if p.name.startswith(".a.")]
    check(not left, f"the next run does not tidy up: {left}")
    check(contents(out) == wanted[0], "the next run is not whole")
    (out / "mine.txt").unlink()


def on_small_disk(work, files, wanted):
    """A disk that holds the earlier outputs and little more: a tmpfs of its own, or the limit of a file's size."""
    earlier = work / "a"
    size = sum(p.stat().st_size for p in earlier.iterdir()) + 40_000
    small = work / "small"
    small.mkdir()
    script = (f"mount -t tmpfs -o size={size} none '{small}' && cp -r '{earlier}' '{small}/out' && "
              f"{{ '{PROGRAM}' analyze '{files[1]}' --out '{small}/out' --quiet; echo $? >'{work}/status'; "
              f"cp -r '{small}' '{work}/after'; }}")
    ran = run("unshare", "--mount", "--map-root-user", "sh", "-c", script)
    if (work / "status").exists():
        status, left = int((work / "status").read_text()), work / "after"
        print("full disk: a tmpfs of", size, "bytes")
    else:
        print("no right to mount here; the limit of a file's size stands for the full disk:", ran.stderr.strip())
        left = work / "limited"
        left.mkdir()
        shutil.copytree(earlier, left / "out")

        def limit():
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (20_000, 20_000))
        ran = rhumb("analyze", files[1], "--out", left / "out", "--quiet", preexec_fn=limit)
        status = ran.returncode
    check(status == 2, f"full disk: exit {status}")
    check(len(ran.stderr.strip().splitlines()) == 1, f"full disk: {ran.stderr!r}")
    check("untouched" in ran.stderr and "room" in ran.stderr, f"full disk: {ran.stderr!r}")
    check(contents(left / "out") == wanted[0], "full disk: the earlier outputs are not whole")
    check(sorted(p.name for p in left.iterdir()) == ["out"], f"full disk: left behind: {sorted(left.iterdir())}")


def two_at_once(work, files, wanted):
    out = work / "both"
    processes = [subprocess.Popen([PROGRAM, "analyze", files[i % 2], "--out", out, "--quiet"], stderr=subprocess.PIPE,
                                  text=True) for i in range(4)]
    refused = 0
    for process in processes:
        said = process.communicate()[1].strip()
        if process.returncode == 2:
            refused += 1
            check("another run is writing" in said and len(said.splitlines()) == 1, f"two at once: {said!r}")
        else:
            check(process.returncode in (0, 1), f"two at once: exit {process.returncode}, {said!r}")
    print(f"four runs into one folder: {refused} refused")
    check(refused < 4, "nobody wrote")
    check(contents(out) in wanted, f"two at once: outputs are mixed: {sorted(contents(out))}")
    check([p.name for p in work.iterdir() if p.name.startswith(".both")] == [], "two at once: something is left")


def from_read_only(work, files, wanted):
    """As an ordinary user where this runs as root, since nothing is read-only to root."""
    case = files[0].parent
    out = work / "readonly-out"
    out.mkdir()
    before = contents(case)
    for path in [*case.rglob("*"), case]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    as_user = {}
    if os.geteuid() == 0:
        work.chmod(0o755)
        os.chown(out, 65534, 65534)
        as_user = {"user": 65534, "group": 65534, "extra_groups": []}
    try:
        ran = rhumb("analyze", files[0], "--out", out, "--quiet", **as_user)
    except PermissionError:
        print("skipped: an ordinary user cannot run the program where it lies")
        return
    finally:
        for path in [case, *case.rglob("*")]:
            path.chmod(0o755 if path.is_dir() else 0o644)
    check(ran.returncode in (0, 1), f"read-only: exit {ran.returncode}: {ran.stderr}")
    check(contents(out) == wanted[0], f"read-only: {sorted(contents(out))}")
    check(contents(case) == before, "read-only: the case's folder was changed")


with work_folder() as name:
    place = Path(name)
    cases, states = whole_runs(place)
    on_small_disk(place, cases, states)
    two_at_once(place, cases, states)
    from_read_only(place, cases, states)
    killed(place, cases, states)
finish()
