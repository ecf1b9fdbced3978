#!/usr/bin/env python3
"""The Debian package of a build: its dependencies, what lies in it, lintian's errors, man pages and completions.

    python3 tests/package/check_package.py BUILD_FOLDER PROGRAM
"""
import gzip
import re
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

BUILD, PROGRAM = Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve()
failures = []


def check(condition, message):
    if not condition:
        failures.append(message)
        print("FAILED:", message)


def run(*words, **options):
    return subprocess.run([str(w) for w in words], capture_output=True, text=True, timeout=600, **options)


def declared(package):
    """The libraries that the program is linked with come from packages that the package depends on."""
    depends = run("dpkg-deb", "-f", package, "Depends").stdout
    for library in ("libc6", "libstdc++6", "libopencv-core", "libopencv-imgproc", "libavcodec", "libavformat", "libfmt"):
        check(library in depends, f"{library} is not among the dependencies: {depends}")
    for unwanted in ("highgui", "videoio"):
        check(unwanted not in depends, f"it depends on {unwanted}")
    for field in ("Maintainer", "Description", "Section", "Architecture", "Version"):
        check(run("dpkg-deb", "-f", package, field).stdout.strip() != "", f"no {field}")


def holds(root):
    usr = root / "usr"
    help_text = run(PROGRAM, "--help").stdout
    commands = re.findall(r"^  (?!rhumb )([a-z]+) +\S", help_text, flags=re.M)
    check(len(commands) >= 8, f"commands: {commands}")
    pages = {p.name[:-5] for p in (usr / "share/man/man1").glob("*.1.gz")}
    check(pages == {"rhumb"} | {f"rhumb-{c}" for c in commands}, f"man pages: {sorted(pages)}")
    for page in (usr / "share/man/man1").glob("*.1.gz"):
        text = gzip.decompress(page.read_bytes()).decode()
        check(".SH NAME" in text and "For review after surgery" in text, f"{page.name} is no page")
        if shutil.which("man"):
            said = run("man", "--warnings", "-l", page, env={"LC_ALL": "C.UTF-8", "MANWIDTH": "120", "PATH": "/usr/bin:/bin"})
            check(said.returncode == 0 and "NAME" in said.stdout, f"{page.name}: {said.stderr[:200]}")
    optics = gzip.decompress((usr / "share/man/man1/rhumb-optics.1.gz").read_bytes()).decode()
    check(r"\-\-refraction" in optics, "the questions of rhumb optics are not in its page")
    documents = {p.name for p in (usr / "share/doc/rhumb").iterdir()}
    check({"copyright", "changelog.gz", "licences.md", "CITATION.cff"} <= documents, f"documents: {documents}")
    copyright_text = (usr / "share/doc/rhumb/copyright").read_text()
    check("GPL" in copyright_text and "MIT" in copyright_text and "uPlot" in copyright_text, "licence notices")
    check(run(usr / "bin/rhumb", "--version").stdout.startswith("rhumb "), "the packaged program does not run")
    return commands


def completions(root, commands):
    bash = root / "usr/share/bash-completion/completions/rhumb"
    script = f'source "{bash}"; COMP_WORDS=(rhumb an); COMP_CWORD=1; _rhumb; echo "${{COMPREPLY[@]}}"; ' \
             'COMP_WORDS=(rhumb analyze --no); COMP_CWORD=2; _rhumb; echo "${COMPREPLY[@]}"; ' \
             'COMP_WORDS=(rhumb optics re); COMP_CWORD=2; _rhumb; echo "${COMPREPLY[@]}"'
    said = run("bash", "-c", script)
    check(said.stdout.splitlines() == ["analyze", "--no-review", "residual rerotate"], f"bash: {said.stdout} {said.stderr}")
    zsh = root / "usr/share/zsh/vendor-completions/_rhumb"
    if shutil.which("zsh"):
        said = run("zsh", "-f", "-n", zsh)
        check(said.returncode == 0, f"zsh: {said.stderr}")
    fish = root / "usr/share/fish/vendor_completions.d/rhumb.fish"
    if shutil.which("fish"):
        said = run("fish", "--no-config", "-c", f"source {fish}; complete -C 'rhumb an'; complete -C 'rhumb analyze --no'")
        check("analyze" in said.stdout and "--no-review" in said.stdout, f"fish: {said.stdout} {said.stderr}")
    for file in (bash, zsh, fish):
        check(all(c in file.read_text() for c in commands), f"{file} lacks a command")


def main():
    with tempfile.TemporaryDirectory() as name:
        work = Path(name)
        made = run("cpack", "-G", "DEB", "-B", work, "--config", BUILD / "CPackConfig.cmake", cwd=BUILD)
        packages = list(work.glob("*.deb"))
        check(len(packages) == 1, f"{packages}: {made.stdout[-400:]} {made.stderr[-400:]}")
        if not packages:
            return
        declared(packages[0])
        run("dpkg-deb", "-x", packages[0], work / "root")
        completions(work / "root", holds(work / "root"))
        if shutil.which("lintian"):
            said = run("lintian", "--fail-on", "error", "--allow-root", packages[0])
            check(said.returncode == 0, f"lintian: {said.stdout} {said.stderr[-300:]}")
            print("lintian, errors:", sum(line.startswith("E:") for line in said.stdout.splitlines()),
                  "warnings:", sum(line.startswith("W:") for line in said.stdout.splitlines()))
        else:
            print("lintian is not here: its errors were not looked for")


main()
sys.exit(1 if failures else 0)
