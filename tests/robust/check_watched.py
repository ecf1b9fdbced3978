#!/usr/bin/env python3
"""Nobody gets in, nothing leaks: every command under strace opens no socket and writes nowhere but into its outputs,
the outputs carry nothing of what the source says of itself, and every JSON among them fits its schema. Ends with 77
(skipped) without strace.

    python3 tests/robust/check_watched.py PROGRAM SOURCE_FOLDER
"""
import base64
import re
import shutil
import sys
from pathlib import Path

from common import PROGRAM, SOURCE, check, finish, fits, render, run, work_folder

# Invented, and unlike anything that a program writes of itself.
SECRETS = {"title": "Xanthippe Quillfeather", "comment": "born 1950-02-30 in Nowhereby", "location": "+12.3456-098.7654/",
           "artist": "Recorder 7 of Dr Zzyzx", "creation_time": "1999-03-31T04:05:06.000000Z"}
FILE_NAME = "QuillfeatherX_1950.mp4"


def watched(work, outputs, *words):
    """Runs a command under strace; its calls that write or reach for a network."""
    log = work / "strace.log"
    # A filter in the kernel lets all other calls pass without a stop; where there is none, strace stops at each.
    ran = run("strace", "-f", "--seccomp-bpf", "-qq", "-y", "-o", log, "-e",
              "trace=%network,open,openat,creat,truncate,mkdir,mkdirat,rename,renameat,renameat2,link,linkat,symlink,"
              "symlinkat,unlink,unlinkat,rmdir,mknod,mknodat", "-s", "4096", PROGRAM, *words)
    name = " ".join(str(w) for w in words[:2])
    check(ran.returncode in (0, 1), f"{name}: exit {ran.returncode}: {ran.stderr[-300:]}")
    inside = [str(o) for o in outputs]
    lines = log.read_text(errors="replace").splitlines()
    check(len(lines) > 10, f"{name}: strace saw nothing")
    for line in lines:
        call = re.match(r"\d+ +(\w+)\((.*)", line)
        if call is None:
            continue
        kind, rest = call.groups()
        if kind in ("open", "openat", "creat"):
            if not (kind == "creat" or re.search(r"O_WRONLY|O_RDWR|O_CREAT|O_TRUNC|O_APPEND", rest)):
                continue
        elif kind in ("socket", "socketpair", "connect", "bind", "sendto", "sendmsg", "recvfrom", "accept", "listen"):
            check(False, f"{name}: reaches for a network: {line[:200]}")
            continue
        for base, path in re.findall(r'(?:(?:AT_FDCWD|\d+)<([^>]*)>, )?"((?:[^"\\]|\\.)*)"', rest):
            if base and not path.startswith("/"):
                path = f"{base}/{path}"
            harmless = path in ("/dev/null", "/dev/tty") or path.startswith(("/proc/self/", "/dev/shm/sem."))
            ours = any(path == o or path.startswith((o + "/", o.rsplit("/", 1)[0] + "/." + o.rsplit("/", 1)[1] + ".rhumb-"))
                       or o.startswith(path.rstrip("/") + "/") and kind.startswith("mkdir") for o in inside)
            check(harmless or ours or kind == "linkat" and path == "", f"{name}: writes elsewhere: {line[:300]}")


def secretive_case(work):
    case = render(work / "case", frames=240)  # enough for a final axis, so that the page holds pictures
    tagged = case / FILE_NAME
    words = [w for key, value in SECRETS.items() for w in ("-metadata", f"{key}={value}")]
    made = run("ffmpeg", "-v", "error", "-nostdin", "-y", "-i", case / "video.mp4", "-c", "copy", *words,
               "-metadata:s:v", f"title={SECRETS['title']}", "-movflags", "use_metadata_tags", tagged)
    check(made.returncode == 0, made.stderr)
    check(SECRETS["title"].encode() in tagged.read_bytes(), "the recording does not carry what it is to hide")
    text = (case / "case.toml").read_text().replace('"video.mp4"', f'"{FILE_NAME}"')
    check(FILE_NAME in text, "the case file does not name the recording")
    (case / "case.toml").write_text(text)
    (case / "video.mp4").unlink()
    return case / "case.toml"


def segments(jpeg):
    """Markers of a JPEG up to its scan."""
    at, found = 2, []
    while at + 4 <= len(jpeg) and jpeg[at] == 0xFF and jpeg[at + 1] != 0xDA:
        found.append(jpeg[at + 1])
        at += 2 + int.from_bytes(jpeg[at + 2:at + 4], "big")
    return found


def says_nothing(folder, names):
    needles = [v for v in SECRETS.values()] + list(names) + ["Quillfeather", "1999-03-31"]
    files = [p for p in folder.rglob("*") if p.is_file()]
    check(len(files) >= 3, f"{folder.name}: {len(files)} files")
    for file in files:
        data = file.read_bytes()
        for needle in needles:
            check(needle.encode() not in data, f"{file.name} carries '{needle}'")
        if file.suffix == ".html":
            pictures = re.findall(rb"data:image/(jpeg|png);base64,([A-Za-z0-9+/=]+)", data)
            check(pictures, f"{file.name} holds no picture")
            for form, text in pictures:
                plain_picture(base64.b64decode(text), form.decode(), file.name)
        elif file.suffix in (".png", ".jpg"):
            plain_picture(data, "png" if file.suffix == ".png" else "jpeg", file.name)
        elif file.suffix == ".mp4":
            plain_video(file)


def plain_picture(data, form, name):
    if form == "jpeg":
        # Only JFIF's own head (APP0), tables and the frame: no EXIF, no profile, no comment.
        extra = [f"{m:02X}" for m in segments(data) if 0xE1 <= m <= 0xEF or m == 0xFE]
        check(not extra, f"a picture of {name} carries segments {extra}")
        return
    chunks, at = [], 8
    while at + 8 <= len(data):
        chunks.append(data[at + 4:at + 8].decode("latin1"))
        at += 12 + int.from_bytes(data[at:at + 4], "big")
    extra = sorted(set(chunks) - {"IHDR", "PLTE", "IDAT", "IEND"})
    check(not extra, f"a picture of {name} carries chunks {extra}")


def plain_video(file):
    said = run("ffprobe", "-v", "error", "-show_entries", "format_tags:stream_tags:stream_side_data", "-of", "flat", file).stdout
    allowed = ("major_brand", "minor_version", "compatible_brands", "encoder", "language", "handler_name", "vendor_id")
    for line in said.splitlines():
        check(line.split("=")[0].split(".")[-1] in allowed, f"{file.name} carries {line}")


def main():
    if shutil.which("strace") is None or shutil.which("ffmpeg") is None:
        print("skipped: strace or ffmpeg is not here")
        sys.exit(77)
    with work_folder() as name:
        work = Path(name)
        case = secretive_case(work)
        out = work / "outcome"
        watched(work, [out], "analyze", case, "--out", out)
        says_nothing(out, [FILE_NAME, str(work)])
        stills = work / "stills"
        watched(work, [stills], "analyze", case, "--out", stills, "--stills", "--quiet")
        says_nothing(stills, [FILE_NAME, str(work)])
        fits("result.schema.json", out / "result.json", stills / "result.json")
        series = render(work / "series", "followup-stable")
        watched(work, [work / "followed"], "followup", series / "series.toml", "--out", work / "followed")
        says_nothing(work / "followed", [str(work)])
        fits("series.schema.json", work / "followed" / "result.json")
        grades = work / "grades"
        cohort = SOURCE / "fixtures/cohort"
        watched(work, [grades], "grade", cohort / "cohort.csv", "--readings", cohort / "readings.csv", "--out", grades)
        fits("grade.schema.json", grades / "grade.json")
        begun = work / "begun"
        begun.mkdir()
        shutil.copy(work / "case" / FILE_NAME, begun)
        watched(work, [begun], "new", begun)
        watched(work, [], "optics", "rerotate", "--refraction=+0.25/-1.25x148", "--axis", "97", "--cylinder", "3.0")
        watched(work, [], "compare", out, stills)
        # A case whose texts are paths to elsewhere.
        text = case.read_text()
        evil = "../../../escaped"
        text = re.sub(r'(?m)^(id\s*=).*$', f'\\1 "{evil}"', text, count=1)
        text = re.sub(r'(?m)^(operator\s*=).*$', f'\\1 "{evil}"', text)
        case.write_text(text)
        for review in ("--stills", "--no-review"):
            watched(work, [work / "away"], "analyze", case, "--out", work / "away", "--quiet", review)
        check(not any(work.parent.glob("escaped*")), "something escaped")
    finish()


main()
