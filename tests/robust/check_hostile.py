#!/usr/bin/env python3
"""Pages made of hostile texts, opened in Chromium: nothing of them runs, all of them is shown as text. (The review page's
own texts beyond the case file are tested in tests/browser, the programme's page in tests/grade.) Ends with 77
(skipped) without Chromium.

    python3 tests/robust/check_hostile.py PROGRAM SOURCE_FOLDER
"""
import csv
import json
import re
import shutil
import sys
from pathlib import Path

from common import check, finish, render, rhumb, run, work_folder

MARKUP = "</script><script>document.title='taken'</script>"
PICTURE = "<img src=x onerror=document.title='taken'>"
QUOTES = "\"'`{{id}}{{{id}}}&amp;\\"
TURNED = "right\u202eto left"
BROWSER = shutil.which("chromium") or shutil.which("chromium-browser")


def toml(text):
    return json.dumps(text, ensure_ascii=False)


def shown(work, page):
    """The page's text as a reader sees it, and its whole DOM, after its scripts have run."""
    ran = run(BROWSER, "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--no-first-run",
              f"--user-data-dir={work}/profile", "--virtual-time-budget=4000", "--enable-logging=stderr", "--dump-dom",
              page.as_uri())
    check("<title>taken" not in ran.stdout, f"{page}: a script ran")
    check("Content Security Policy" not in ran.stderr, f"{page}: something was tried that the policy forbids: {ran.stderr[:400]}")
    check("Uncaught" not in ran.stderr, f"{page}: {ran.stderr[:400]}")
    return ran.stdout


def check_page(work, page, texts, scripts):
    source = page.read_text()
    check(source.count("<script") == scripts, f"{page}: {source.count('<script')} script elements, not {scripts}")
    check(TURNED[5] not in source, f"{page}: a right-to-left mark is in it")
    dom = shown(work, page)
    for text in texts:
        escaped = text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
        check(escaped in dom, f"{page}: {text!r} is not shown as text")
    check(re.search(r"<img[^>]*onerror", dom) is None, f"{page}: an image element came in")


def scripts_of(page):
    return page.read_text().count("<script")


def an_operation(work):
    case = render(work / "case", frames=24)
    plain = case / "case.toml"
    rhumb("analyze", plain, "--out", work / "plain", "--no-review", "--quiet")
    text = plain.read_text()
    video = PICTURE + "'.mp4"
    (case / "video.mp4").rename(case / video)
    for number, (identity, operator) in enumerate([(MARKUP, PICTURE), (QUOTES, TURNED)]):
        evil = re.sub(r"(?m)^id\s*=.*$", lambda _: f"id = {toml(identity)}\noperator = {toml(operator)}", text, count=1)
        evil = re.sub(r"(?m)^operator\s*=\s*\"f.*\n", "", evil)
        evil = re.sub(r"(?m)^file\s*=\s*\"video.mp4\".*$", lambda _: f"file = {toml(video)}", evil)
        (case / "evil.toml").write_text(evil)
        out = work / f"operation {number}"
        ran = rhumb("analyze", case / "evil.toml", "--out", out)
        check(ran.returncode in (0, 1), f"operation {number}: {ran.stderr}")
        check("\x1b" not in ran.stdout + ran.stderr and TURNED[5] not in ran.stdout, "the terminal is written to")
        check_page(work, out / "report.html", [identity] + ([operator] if operator == PICTURE else []),
                   scripts_of(work / "plain" / "report.html"))
    two_lines = text.replace('id', 'id', 1)
    two_lines = re.sub(r"(?m)^id\s*=.*$", lambda _: 'id = "two\\nlines\\u001b[2J"', two_lines, count=1)
    (case / "evil.toml").write_text(re.sub(r"\"video.mp4\"", lambda _: toml(video), two_lines))
    ran = rhumb("analyze", case / "evil.toml", "--out", work / "lines", "--no-review")
    check("\x1b" not in ran.stdout + ran.stderr, "an escape sequence reaches the terminal")
    check(ran.returncode in (0, 1, 2) and len(ran.stderr.strip().splitlines()) <= 1 or ran.returncode != 2, ran.stderr)


def a_series(work):
    series = render(work / "series", "followup-stable", size="960x640")
    file = series / "series.toml"
    ran = rhumb("followup", file, "--out", work / "plain series")
    check(ran.returncode in (0, 1), ran.stderr)
    text = file.read_text()
    labels = iter(["=1+1,\"" + TURNED, MARKUP, PICTURE, QUOTES])
    text = re.sub(r"(?m)^label\s*=.*$", lambda found: f"label = {toml(next(labels, found.group(0)[-9:]))}", text)
    first = re.search(r"(?m)^image\s*=\s*\"(.*)\"", text).group(1)
    name = PICTURE + Path(first).suffix
    (series / first).rename(series / name)
    text = text.replace(toml(first), toml(name), 1)
    text = re.sub(r"(?m)^id\s*=.*$", lambda _: f"id = {toml(MARKUP)}", text, count=1)
    file.write_text(text)
    out = work / "evil series"
    ran = rhumb("followup", file, "--out", out)
    check(ran.returncode in (0, 1), f"series: {ran.stderr}")
    check_page(work, out / "report.html", [MARKUP, PICTURE, QUOTES], scripts_of(work / "plain series" / "report.html"))
    with (out / "drift.csv").open(newline="", encoding="utf-8") as table:
        rows = list(csv.DictReader(table))
    check(rows[0]["visit"].startswith("'=1+1"), f"a formula stands in drift.csv: {rows[0]['visit']!r}")
    check([row["visit"] for row in rows[1:4]] == [MARKUP, PICTURE, QUOTES], f"labels: {[r['visit'] for r in rows]}")


if BROWSER is None:
    print("skipped: no Chromium here")
    sys.exit(77)
with work_folder() as folder:
    an_operation(Path(folder))
    a_series(Path(folder))
finish()
