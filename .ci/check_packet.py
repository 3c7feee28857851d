"""Checks the folder of a whole job by programs that are not ours.

usage: check_packet.py FOLDER SCRATCH

- LibreOffice opens the workbook; what it reads equals takeoff.csv, line by line, and
  the sums of parts and labour are those of the lines.
- Quantities of totals.csv are the sums of takeoff.csv.
- The pressure budget of every lot adds up: static pressure less the losses is what
  is left, row by row.
- Run times: the volumes of a lot's months add up to water_use.csv; every calendar has
  as many events as programs begin.
- Poppler finds the id of every lot in the book, and its heads on its own sheet, and the sum of
  parts in the book.
"""

import collections
import csv
import json
import pathlib
import subprocess
import sys

folder, scratch = pathlib.Path(sys.argv[1]), pathlib.Path(sys.argv[2])
faults = []


def check(ok, text):
    if not ok:
        faults.append(text)


def rows(path):
    with open(path, newline="", encoding="utf-8") as f:
        return list(csv.DictReader(f))


def number(text):
    return float(text) if text else 0.0


def workbook(lines):
    every_sheet = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
    subprocess.run(["soffice", "--headless", "--convert-to", every_sheet, "--outdir", str(scratch), str(folder / "takeoff.xlsx")],
                   check=True, capture_output=True, timeout=300)
    read = rows(scratch / "takeoff-lines.csv")
    check(len(read) == len(lines), f"the workbook has {len(read)} lines and takeoff.csv {len(lines)}")
    for a, b in zip(read, lines):
        same = all(a[x] == b[y] for x, y in (("lot", "lot"), ("item", "item"), ("size", "size"), ("from", "features")))
        check(same and abs(number(a["quantity"]) - number(b["quantity"])) < 1e-9, f"workbook {a} and table {b} differ")
    with open(scratch / "takeoff-totals.csv", newline="", encoding="utf-8") as f:
        totals = {}
        for row in csv.reader(f):
            if len(row) > 1:
                totals.setdefault(row[0], row[1])  # the sums come first, items of the same name later
    check(abs(number(totals["parts"]) - sum(number(r["cost"]) for r in lines)) < 0.005, "parts are not the sum of the lines")
    check(abs(number(totals["labour"]) - sum(number(r["labour_cost"]) for r in lines)) < 0.005, "labour is not the sum of the lines")


def totals(lines):
    sums = collections.Counter()
    for r in lines:
        sums[r["item"], r["size"]] += number(r["quantity"])
    read = rows(folder / "totals.csv")
    check(len(read) == len(sums), "totals.csv has other items than takeoff.csv")
    for r in read:
        check(abs(sums[r["item"], r["size"]] - number(r["quantity"])) < 1e-6, f"total of {r['item']} {r['size']} is no sum")


def budgets():
    by_lot = collections.defaultdict(list)
    for r in rows(folder / "pressure.csv"):
        by_lot[r["lot"]].append(r)
    for lot, budget in by_lot.items():
        left = number(budget[0]["left_psi"])
        for r in budget:
            left -= number(r["loss_psi"])
            check(abs(left - number(r["left_psi"])) < 0.01 * len(budget), f"lot {lot}: row {r['row']} of the pressure budget does not add up")
            left = number(r["left_psi"])
    return len(by_lot)


def water():
    used, planned, rounded = collections.Counter(), collections.Counter(), collections.Counter()
    for r in rows(folder / "run_times.csv"):
        planned[r["lot"]] += number(r["volume_l"])
        rounded[r["lot"]] += 0.5  # each row is in whole litres
    for r in rows(folder / "water_use.csv"):
        used[r["lot"]] += number(r["volume_l"])
        rounded[r["lot"]] += 0.5
    for lot in planned:
        check(abs(planned[lot] - used[lot]) <= rounded[lot], f"lot {lot}: {planned[lot]} l planned and {used[lot]} l used")
    starts = collections.Counter(r["lot"] for r in rows(folder / "program.csv"))
    for lot, n in starts.items():
        text = (folder / "lots" / lot / "program.ics").read_bytes().decode()
        check(0 < text.count("BEGIN:VEVENT") <= n, f"lot {lot}: the calendar has {text.count('BEGIN:VEVENT')} events for {n} starts")
        check(all(len(line.encode()) <= 75 for line in text.split("\r\n")), f"lot {lot}: a line of the calendar is too long")


def words(pdf):
    return subprocess.run(["pdftotext", "-layout", str(pdf), "-"], check=True, capture_output=True, text=True).stdout


def sheets():
    book = words(folder / "book.pdf")
    lots = sorted(p.name for p in (folder / "lots").iterdir())
    parts = sum(number(r["cost"]) for r in rows(folder / "totals.csv"))
    check(f"{parts:.2f}" in book, f"the sum of parts, {parts:.2f}, is not in the book")
    for lot in lots:
        check(lot in book, f"lot {lot} is not in the book")
        sheet = words(folder / "lots" / lot / "sheet.pdf")
        for f in json.loads((folder / "lots" / lot / "design.geojson").read_text(encoding="utf-8"))["features"]:
            if f["properties"]["layer"] == "head":
                check(f["properties"]["head"] in sheet, f"lot {lot}: {f['properties']['head']} is not on the sheet")
    return len(lots)


lines = rows(folder / "takeoff.csv")
check(len(lines) > 0, "takeoff.csv is empty")
workbook(lines)
totals(lines)
reckoned = budgets()
check(reckoned > 0, "no pressure budget")
water()
lots = sheets()
if faults:
    sys.exit("\n".join(faults[:40]))
print(f"{lots} lots, {len(lines)} lines of parts, {reckoned} pressure budgets: workbook, totals, budgets, water and sheets hold")
