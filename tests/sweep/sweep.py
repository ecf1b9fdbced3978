#!/usr/bin/env python3
"""Runs `rhumb analyze` over broken and strange recordings: each run must end in good order.

    sweep.py --rhumb PATH [--share 0.05] [--memory MB] [--keep FOLDER]

A run is in good order when, within its time and memory, it ends with an outcome (exit 0 or 1, result.json and
timeline.csv whole) or with one line on standard error that names the recording or the case file (exit 2, and
no outputs). --share thins out the cuts and the flipped bytes.
"""
import argparse
import json
import os
import pathlib
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time

ROOT = pathlib.Path(__file__).resolve().parent.parent.parent
USUAL_S = 60  # of processor time, so that a busy machine makes no fault; of wall time ten times that


def ffmpeg(*words):
    subprocess.run(["ffmpeg", "-v", "error", "-nostdin", "-y", *[str(word) for word in words]], check=True)


def run(command, limit_s):
    """Exit status (None when stopped for its time), standard error, peak MB and seconds."""
    start = time.monotonic()
    with tempfile.TemporaryFile() as errors:
        process = subprocess.Popen([str(word) for word in command], stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL,
                                   stderr=errors, preexec_fn=lambda: resource.setrlimit(
                                       resource.RLIMIT_CPU, (limit_s, limit_s + 5)))
        stopped = []
        timer = threading.Timer(10 * limit_s, lambda: (stopped.append(True), process.kill()))
        timer.start()
        _, status, usage = os.wait4(process.pid, 0)
        timer.cancel()
        process.returncode = os.waitstatus_to_exitcode(status)
        errors.seek(0)
        said = errors.read().decode(errors="replace")
    if process.returncode == -signal.SIGXCPU:
        stopped.append(True)
    return (None if stopped else process.returncode), said, usage.ru_maxrss / 1024.0, time.monotonic() - start


class Sweep:
    def __init__(self, rhumb, folder, memory_mb):
        self.rhumb = rhumb
        self.folder = folder
        self.memory_mb = memory_mb
        self.runs = 0
        self.faults = []
        self.outcomes = {}
        self.peak_mb = 0.0

    def fault(self, name, what):
        self.faults.append(f"{name}: {what}")
        print(f"FAULT {name}: {what}", flush=True)

    def check(self, name, video=None, limit_s=USUAL_S):
        """`video` lies in the case folder already when it is None."""
        case = self.folder / "case"
        out = self.folder / "out"
        shutil.rmtree(out, ignore_errors=True)
        if video is not None:
            (case / "video.mp4").unlink(missing_ok=True)
            (case / "video.mp4").write_bytes(video)
        status, said, peak_mb, seconds = run(
            [self.rhumb, "analyze", case / "case.toml", "--out", out, "--quiet", "--no-review"], limit_s)
        self.runs += 1
        self.peak_mb = max(self.peak_mb, peak_mb)
        self.outcomes[status] = self.outcomes.get(status, 0) + 1
        if status is None:
            self.fault(name, f"took more than {limit_s} s of processor time")
        elif status in (0, 1):
            self.check_outcome(name, out)
        elif status == 2:
            lines = said.strip().splitlines()
            if len(lines) != 1 or not ("video.mp4" in lines[0] or "case.toml" in lines[0]):
                self.fault(name, f"exit 2 with {said!r}")
            if out.exists() and any(out.iterdir()):
                self.fault(name, "exit 2 but outputs were written")
        else:
            self.fault(name, f"exit {status}: {said[-600:]!r}")
        if "Sanitizer" in said or "runtime error" in said:
            self.fault(name, said[-600:])
        if peak_mb > self.memory_mb:
            self.fault(name, f"{peak_mb:.0f} MB")
        return status, seconds

    def check_outcome(self, name, out):
        try:
            json.loads((out / "result.json").read_text())
            rows = (out / "timeline.csv").read_text().splitlines()
        except (OSError, ValueError) as error:
            self.fault(name, f"outputs are not whole: {error}")
            return
        if len(rows) < 2:
            self.fault(name, "the timeline has no row")


def strange(sweep, share, folder):
    """Recordings that are whole but odd, and files that are none."""
    case = folder / "case"
    video = case / "video.mp4"
    good = (folder / "good.mp4").read_bytes()

    def clear():
        if video.is_dir():
            video.rmdir()
        elif video.exists() or video.is_fifo():
            video.unlink()

    def made(name, *words, limit_s=USUAL_S, like="mp4"):
        clear()
        file = folder / f"made.{like}"
        ffmpeg(*words, file)
        shutil.move(file, video)
        return sweep.check(name, None, limit_s)

    sweep.check("whole", good)
    sweep.check("zero bytes", b"")
    sweep.check("text", b"This is a letter and not a film.\n" * 100)
    sweep.check("noise", random.Random(1).randbytes(200_000))
    clear()
    video.mkdir()
    sweep.check("folder")
    clear()
    os.mkfifo(video)
    sweep.check("pipe")
    clear()
    sweep.check("absent")
    grey = ["-f", "lavfi", "-i"]
    h264 = ["-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p"]
    made("audio only", *grey, "sine=duration=1", "-c:a", "aac")
    made("one picture", "-i", folder / "good.mp4", "-frames:v", 1, *h264)
    made("1 x 1", *grey, "testsrc2=size=16x16", "-vf", "scale=1:1,format=yuv444p", "-frames:v", 5, "-c:v", "ffv1", like="mkv")
    made("16 x 16", *grey, "testsrc2=size=16x16", "-frames:v", 50, *h264)
    made("8K", *grey, "testsrc2=size=7680x4320:rate=25", "-frames:v", 4, *h264, limit_s=300)
    made("black", *grey, "color=black:size=320x240", "-frames:v", 50, *h264)
    made("white noise", *grey, "color=gray:size=320x240,noise=alls=100:allf=t", "-frames:v", 50, *h264)
    made("an hour's jump", "-i", folder / "good.mp4", "-vf", "settb=1/90000,setpts='PTS+gte(N,20)*3600*90000'", "-fps_mode",
         "passthrough", "-enc_time_base", "1/90000", *h264)
    made("no sound order of stamps", "-i", folder / "good.mp4", "-vf", "setpts='floor(N/4)*4/25/TB'", "-fps_mode", "passthrough",
         "-c:v", "ffv1", like="mkv")
    tiny = max(2000, int(200_000 * share))
    made(f"{tiny} tiny pictures", *grey, "color=gray:size=32x32:rate=1000", "-frames:v", tiny, "-c:v", "mpeg4",
         limit_s=600, like="avi")
    clear()
    ffmpeg("-i", folder / "good.mp4", *h264, folder / "a.ts")
    ffmpeg("-i", folder / "good.mp4", "-vf", "scale=480:200", *h264, folder / "b.ts")
    sweep.check("change of size", (folder / "a.ts").read_bytes() + (folder / "b.ts").read_bytes())


def broken(sweep, share, folder):
    good = (folder / "good.mp4").read_bytes()
    cuts = list(range(1024, len(good), 1024))
    step = max(1, round(1 / share))
    for length in cuts[::step]:
        sweep.check(f"cut at {length}", good[:length])
    chance = random.Random(2)
    for variant in range(max(5, int(500 * share))):
        bad = bytearray(good)
        for _ in range(chance.randint(1, 60)):
            bad[chance.randrange(len(bad))] ^= 1 << chance.randrange(8)
        sweep.check(f"flipped variant {variant}", bytes(bad))


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rhumb", type=pathlib.Path, required=True)
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--memory", type=float, default=600.0, help="MB; sanitizers need several times more")
    parser.add_argument("--keep", type=pathlib.Path)
    asked = parser.parse_args()
    share = min(max(asked.share, 0.001), 1.0)
    rhumb = asked.rhumb.resolve()
    commands = subprocess.run([rhumb, "--help"], capture_output=True, text=True).stdout
    if "analyze" not in commands or "render" not in commands:
        print("skipped: this build has no analyze or no render")
        return 77
    with tempfile.TemporaryDirectory(prefix="rhumb-sweep-") as scratch:
        folder = asked.keep or pathlib.Path(scratch)
        folder.mkdir(parents=True, exist_ok=True)
        case = folder / "case"
        shutil.rmtree(case, ignore_errors=True)
        subprocess.run([rhumb, "render", ROOT / "fixtures" / "scenes" / "routine.toml", "--out", case, "--size", "480x272",
                        "--frames", "60"], check=True, stdout=subprocess.DEVNULL)
        # The index in front, so that a cut file still has one.
        ffmpeg("-i", case / "video.mp4", "-c", "copy", "-movflags", "+faststart", folder / "good.mp4")
        sanitized = b"__asan_init" in rhumb.read_bytes()
        sweep = Sweep(rhumb, folder, asked.memory * (6 if sanitized else 1))
        strange(sweep, share, folder)
        broken(sweep, share, folder)
    counts = ", ".join(f"{number} with exit {status}" for status, number in sorted(sweep.outcomes.items(), key=str))
    print(f"{sweep.runs} runs: {counts}; {sweep.peak_mb:.0f} MB at most; {len(sweep.faults)} faults")
    return 1 if sweep.faults else 0


if __name__ == "__main__":
    sys.exit(main())
