"""Cases and runs for the checks of this folder."""
import hashlib
import subprocess
import sys
import tempfile
from pathlib import Path

PROGRAM, SOURCE = Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve()
failures = []


def check(condition, message):
    if not condition:
        failures.append(message)
        print("FAILED:", message, flush=True)


def run(*words, **options):
    return subprocess.run([str(w) for w in words], capture_output=True, text=True, timeout=1200, errors="replace", **options)


def rhumb(*words, **options):
    return run(PROGRAM, *words, **options)


def render(folder, scene="routine", frames=12, size="480x270", seed=1):
    made = rhumb("render", SOURCE / f"fixtures/scenes/{scene}.toml", "--out", folder, "--frames", frames, "--size", size,
                 "--seed", seed)
    if made.returncode != 0:
        sys.exit(f"render: {made.stderr}")
    return folder


def with_id(case_file, name, new_id):
    """A copy of a case file beside it, whose outputs differ by the id."""
    lines = case_file.read_text().splitlines()
    at = next(i for i, line in enumerate(lines) if line.split("=")[0].strip() == "id")
    lines[at] = f'id = "{new_id}"'
    copy = case_file.with_name(name)
    copy.write_text("\n".join(lines) + "\n")
    return copy


def contents(folder):
    """Check sums of all that a user sees in a folder."""
    return {str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
            for p in sorted(folder.rglob("*"))
            if p.is_file() and not any(part.startswith(".") for part in p.relative_to(folder).parts)}


def fits(schema, *files):
    """JSON files against a schema of docs/schemas, by the validator of the registry (Debian's python3-jsonschema)."""
    ran = run(sys.executable, SOURCE / "tests/cli/check_schema.py", schema, *files)
    check(ran.returncode == 0, f"{schema}: {files}: {ran.stderr[-600:]}")


def work_folder():
    return tempfile.TemporaryDirectory(prefix="rhumb-robust-")


def finish():
    print(f"{len(failures)} faults")
    sys.exit(1 if failures else 0)
