#!/usr/bin/env python3
"""rhumb grade from outside: its outputs against their JSON Schema, its numbers against SciPy's on the same cases, hostile
text on the page, a large cohort, exit status, resuming. Ends with 77 (skipped) where python3-jsonschema or python3-scipy
is not installed.

    python3 tests/grade/check_program.py PROGRAM SOURCE_FOLDER
"""
import csv
import json
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

try:
    import jsonschema
    import numpy
    from scipy import stats
except ImportError as absent:
    print("skipped:", absent)
    sys.exit(77)

PROGRAM, SOURCE = Path(sys.argv[1]).resolve(), Path(sys.argv[2]).resolve()
COHORT = SOURCE / "fixtures" / "cohort"
failures = []


def check(condition, message):
    if not condition:
        failures.append(message)
        print("FAILED:", message)


def grade(*arguments):
    return subprocess.run([PROGRAM, "grade", *map(str, arguments)], capture_output=True, text=True, timeout=300)


def errors_of(path, schema_name):
    schema = json.loads((SOURCE / "docs" / "schemas" / schema_name).read_text())
    validator = jsonschema.Draft202012Validator(schema)
    return [f"{e.json_path}: {e.message[:150]}" for e in validator.iter_errors(json.loads(path.read_text()))]


def near(found, wanted, what):
    check(found is not None and abs(found - wanted) < 2e-4, f"{what}: {found}, SciPy {wanted:.5f}")


def whole_cohort(work):
    run = grade(COHORT / "cohort.csv", "--readings", COHORT / "readings.csv", "--out", work / "grades")
    check(run.returncode == 0, f"exit {run.returncode}: {run.stderr}")
    check("76 cases, 68 graded" in run.stderr, f"summary: {run.stderr}")
    check(errors_of(work / "grades" / "grade.json", "grade.schema.json") == [], "grade.json against its schema: " +
          str(errors_of(work / "grades" / "grade.json", "grade.schema.json")[:3]))
    names = sorted(p.name for p in (work / "grades").iterdir())
    wanted = ["agreement.csv", "cases.csv", "columns.csv", "grade.html", "grade.json", "learning.csv", "operators.csv"]
    check(names == wanted, f"outputs: {names}")
    rows = list(csv.DictReader((work / "grades" / "cases.csv").open(newline="")))
    check(len(rows) == 76, f"{len(rows)} rows in cases.csv")
    link = work / "grades" / rows[0]["page"]
    check(link.is_file(), f"the link to a case's page leads nowhere: {link}")
    for name in ("plain", "exchange", "newer"):
        folder = COHORT / "outcomes" / ("f01-01" if name == "plain" else name)
        bad = errors_of(folder / "result.json", "result.schema.json")
        check((bad == []) == (name != "newer"), f"fixture {folder.name} against the schema of outcomes: {bad[:2]}")


def one_operator(work):
    run = grade(COHORT / "cohort.csv", "--operator", "f04", "--out", work / "own")
    check(run.returncode == 0, f"exit {run.returncode}: {run.stderr}")
    check(errors_of(work / "own" / "grade.json", "grade.schema.json") == [], "own grade.json against its schema")
    for path in (work / "own").iterdir():
        text = path.read_text()
        check(not any(code in text for code in ("f01", "f02", "f03")), f"{path.name} names another operator")
    run = grade(COHORT / "cohort.csv", "--operator", "nobody", "--out", work / "nobody")
    check(run.returncode == 2 and not (work / "nobody").exists(), "an unknown operator is refused, nothing is written")
    check(len(run.stderr.strip().splitlines()) == 1, f"one line: {run.stderr}")


def unusable(work):
    table = work / "bad.csv"
    table.write_text("outcome,operator\nx\n")
    run = grade(table, "--out", work / "bad")
    check(run.returncode == 2, f"exit {run.returncode}")
    check("bad.csv" in run.stderr and "line 2" in run.stderr and "column" in run.stderr, run.stderr)
    check(not (work / "bad").exists(), "nothing is written")
    rubric = grade("--print-rubric")
    (work / "rubric.toml").write_text(rubric.stdout.replace("at_most_deg = 5.0", "at_most_deg = 2.0"))
    run = grade(COHORT / "cohort.csv", "--rubric", work / "rubric.toml", "--out", work / "stricter")
    check(run.returncode == 0, run.stderr)
    check("within_2" in (work / "stricter" / "operators.csv").read_text().splitlines()[0], "a changed number is used")


def hostile(work):
    """Text that tries to leave its place stays text on the page."""
    evil = "</script><script>document.title='taken'</script><img src=x onerror=document.title='taken'>"
    folder = work / "hostile" / "javascript:alert(1)"
    shutil.copytree(COHORT / "outcomes" / "far-off", folder)
    result = json.loads((folder / "result.json").read_text())
    result["case"]["id"], result["verdict"], result["case"]["operator"] = evil, evil + "\x1b[2J\n", evil
    (folder / "result.json").write_text(json.dumps(result))
    with (work / "hostile" / "cohort.csv").open("w", newline="") as out:
        csv.writer(out).writerows([["outcome", evil], ["javascript:alert(1)", evil + "\r\n=1+1"]])
    run = grade(work / "hostile" / "cohort.csv", "--out", work / "hostile" / "grades")
    check(run.returncode == 0, run.stderr)
    page = (work / "hostile" / "grades" / "grade.html").read_text()
    check(page.count("<script") == 3 and page.count("</script>") == 3, "a script element came in")
    check("<img" not in page, "an image element came in")
    check("default-src 'none'" in page and "unsafe" not in page, "the content security policy")
    browser = shutil.which("chromium")
    if browser is None:
        print("no chromium: the page was not opened")
        return
    dom = subprocess.run([browser, "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking",
                          "--no-first-run", f"--user-data-dir={work}/profile", "--virtual-time-budget=4000", "--dump-dom",
                          "--enable-logging=stderr", f"file://{work}/hostile/grades/grade.html"], capture_output=True,
                         text=True, timeout=120)
    check("<title>taken" not in dom.stdout, "a script from a case ran")
    check("Toric alignment: programme review</h1>" in dom.stdout and "<canvas" in dom.stdout, "the page did not draw itself")
    check("&lt;/script&gt;&lt;script&gt;" in dom.stdout, "the hostile text is not shown as text")
    check('href="./javascript%3Aalert(1)' in dom.stdout or 'href="./../javascript%3Aalert(1)' in dom.stdout,
          "a folder's name became a scheme")
    check("Content Security Policy" not in dom.stderr, "the page's own scripts or styles were refused: " + dom.stderr[:300])


def large(work):
    """2,000 outcome folders within 5 seconds and 300 MB. Processor time is held against the 5 seconds: on a machine that
    others use the wall clock measures them too. Sanitizers make both meaningless."""
    base = json.loads((COHORT / "outcomes" / "f02-01" / "result.json").read_text())
    # As long as the outcome of a long recording: some hundred still stretches and limits.
    still = {"start_s": 1.0, "end_s": 2.0, "axis_deg": 30.0, "low_deg": 29.0, "high_deg": 31.0, "share_read": 0.9,
             "rests_on_anchor": False}
    base["episodes"][0]["still"] = [still] * 60
    base["limits"] = [{"start_s": 1.0, "end_s": 2.0, "reason": "an instrument hides the limbus"}] * 60
    lines = ["outcome,operator"]
    for i in range(2000):
        folder = work / "large" / f"{i:04d}"
        folder.mkdir(parents=True)
        base["case"]["id"], base["case"]["operator"] = f"c{i:04d}", f"f{i % 40:02d}"
        (folder / "result.json").write_text(json.dumps(base, indent=2))
        lines.append(f"{i:04d},f{i % 40:02d}")
    (work / "large" / "cohort.csv").write_text("\n".join(lines) + "\n")
    sanitized = b"__asan_init" in PROGRAM.read_bytes()
    started = time.monotonic()
    run = grade(work / "large" / "cohort.csv", "--out", work / "large" / "grades")
    wall_s = time.monotonic() - started
    used = resource.getrusage(resource.RUSAGE_CHILDREN)  # nothing else has run before
    seconds, megabytes = used.ru_utime + used.ru_stime, used.ru_maxrss / 1024
    size = sum(p.stat().st_size for p in (work / "large").glob("*/result.json")) / 1e6
    print(f"2,000 outcomes of {size:.0f} MB together: {seconds:.1f} s of processor time, {wall_s:.1f} s by the clock, "
          f"{megabytes:.0f} MB" + (", with sanitizers" if sanitized else ""))
    check(run.returncode == 0, run.stderr)
    check("2000 cases, 2000 graded" in run.stderr, run.stderr)
    check(sanitized or seconds <= 5.0, f"2,000 outcomes took {seconds:.1f} s")
    check(sanitized or megabytes <= 300, f"2,000 outcomes took {megabytes:.0f} MB")


def against_scipy(work):
    """Shares, means and limits of agreement of the whole cohort, once more by SciPy from the tables."""
    grades = json.loads((work / "grades" / "grade.json").read_text())
    for operator in grades["operators"]:
        signed = numpy.array([c["deviation_deg"]["value"] for c in grades["cases"]
                              if c["operator"] == operator["operator"] and c["level"] is not None])
        sizes = numpy.abs(signed)
        name = operator["operator"]
        check(operator["graded"] == len(sizes), f"{name}: {operator['graded']} graded")
        if len(sizes) < 2:
            continue
        near(operator["mean_absolute_deg"], sizes.mean(), f"{name}: mean size")
        near(operator["median_absolute_deg"], numpy.median(sizes), f"{name}: median size")
        half = stats.t.ppf(0.975, len(sizes) - 1) * sizes.std(ddof=1) / numpy.sqrt(len(sizes))
        near(operator["mean_absolute_interval_deg"]["high"], sizes.mean() + half, f"{name}: Student's interval")
        # The mean of axes by doubled angles, as Fisher 1993 has it; SciPy's circmean on the double.
        doubled = stats.circmean(2 * numpy.radians(signed), high=numpy.pi, low=-numpy.pi)
        near(operator["mean_signed_deg"], numpy.degrees(doubled) / 2, f"{name}: signed mean")
        for share in operator["shares"]:
            inside = int((sizes <= share["threshold_deg"]).sum())
            exact = stats.binomtest(inside, len(sizes)).proportion_ci(0.95, "exact")
            near(share["share"]["value"], inside / len(sizes), f"{name}: share within {share['threshold_deg']}")
            near(share["share"]["low"], exact.low, f"{name}: Clopper-Pearson, low")
            near(share["share"]["high"], exact.high, f"{name}: Clopper-Pearson, high")
    for pair in grades["agreement"]["pairs"]:
        differences = numpy.array([p["difference_deg"] for p in pair["points"]])
        spread = differences.std(ddof=1)
        near(pair["limits"]["bias_deg"]["value"], differences.mean(), "Bland-Altman bias")
        near(pair["limits"]["lower_limit_deg"]["value"], differences.mean() - 1.96 * spread, "Bland-Altman lower limit")
        error = stats.t.ppf(0.975, len(differences) - 1) * spread / numpy.sqrt(len(differences))
        near(pair["limits"]["bias_deg"]["low"], differences.mean() - error, "Bland-Altman bias, interval")


with tempfile.TemporaryDirectory() as name:
    place = Path(name)
    large(place)  # first, since children's time and memory count: no browser has run yet
    whole_cohort(place)
    against_scipy(place)
    one_operator(place)
    unusable(place)
    hostile(place)
sys.exit(1 if failures else 0)
