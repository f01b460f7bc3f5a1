#!/usr/bin/env python3
"""Checks a report's figures with numpy, and brings published data sets. Neither package is ever shipped.

    item_statistics.py check MARKS REPORT    compares the only form of a report with numpy's figures; exit 1 if any differ
    item_statistics.py data                  the data sets of pingouin 0.7.0 on Cronbach's alpha, as JSON:
                                        complete rows, blanks as the item's median, blanks as wrong, and ratings

Exits with 3 where the package that it needs is not installed. The data sets are read as files; pingouin itself and what
it depends on need not run.
"""
import csv
import importlib.util
import json
import os
import statistics
import sys

NOT_INSTALLED = 3
Z = 1.959963984540054


def missing(package):
    print(f"{package} is not installed")
    sys.exit(NOT_INSTALLED)


def check(marks_path, report_path):
    try:
        import numpy
    except ImportError:
        missing("numpy")
    pupils, columns, most = {}, [], []
    with open(marks_path, encoding="utf-8") as marks:
        for mark in map(json.loads, marks):
            if mark["question"] not in columns:
                columns.append(mark["question"])
                most.append(mark["max"])
            pupils.setdefault(mark["pupil"], {})[mark["question"]] = mark["points"]
    table = numpy.array([[row[column] for column in columns] for row in pupils.values()], dtype=float)
    with open(report_path, encoding="utf-8") as text:
        report = json.load(text)
    [form] = report["forms"]
    questions = {step["question"]: step["figures"] for step in report["questions"]}
    steps = {step["of"]: step for step in form["steps"]}

    total = table.sum(axis=1)
    count = len(table)
    pairs = []
    for index, (column, maximum) in enumerate(zip(columns, most)):
        points = table[:, index]
        share = points.sum() / (count * maximum)
        middle = (share + Z * Z / (2 * count)) / (1 + Z * Z / count)
        half = Z * numpy.sqrt(share * (1 - share) / count + Z * Z / (4 * count**2)) / (1 + Z * Z / count)
        low, high = questions[column]["interval_95"]
        pairs += [
            (f"{column} facility", questions[column]["facility"], share),
            (f"{column} low", low, middle - half),
            (f"{column} high", high, middle + half),
            (f"{column} item-total", steps[column]["item_total"], numpy.corrcoef(points, total)[0, 1]),
            (f"{column} item-rest", steps[column]["item_rest"], numpy.corrcoef(points, total - points)[0, 1]),
        ]
    size = len(columns)
    alpha = size / (size - 1) * (1 - table.var(axis=0).sum() / total.var())
    deviation = total.std(ddof=1)
    pairs += [
        ("alpha", form["alpha"], alpha),
        ("mean", form["mean"], total.mean()),
        ("deviation", form["deviation"], deviation),
        ("standard error", form["standard_error"], deviation * numpy.sqrt(1 - alpha)),
    ]
    different = 0
    for name, told, found in pairs:
        if not abs(float(told) - found) < 0.0000500001:
            different += 1
            print(f"{name}: {told}, numpy has {found}")
    print(f"{len(pairs)} compared, {different} different")
    return 1 if different else 0


def data():
    found = importlib.util.find_spec("pingouin")
    if found is None:
        missing("pingouin")
    folder = os.path.join(found.submodule_search_locations[0], "datasets")

    def rows(name):
        with open(os.path.join(folder, name), encoding="utf-8-sig", newline="") as text:
            return list(csv.DictReader(text))

    wide = [[int(float(cell)) if cell else None for cell in row.values()] for row in rows("cronbach_wide_missing.csv")]
    medians = [statistics.median(cell for cell in column if cell is not None) for column in zip(*wide)]
    # Whole numbers only: doubled, which leaves alpha as it is.
    median = [[int(2 * (medians[place] if cell is None else cell)) for place, cell in enumerate(row)] for row in wide]
    ratings = {}
    for row in rows("cronbach_alpha.csv"):
        ratings.setdefault(row["Subj"], []).append(int(row["Scores"]))
    print(
        json.dumps(
            {
                "complete": [row for row in wide if None not in row],
                "median": median,
                "wrong": [[cell or 0 for cell in row] for row in wide],
                "ratings": list(ratings.values()),
            }
        )
    )
    return 0


if sys.argv[1:2] == ["check"] and len(sys.argv) == 4:
    sys.exit(check(*sys.argv[2:]))
if sys.argv[1:] == ["data"]:
    sys.exit(data())
sys.exit(__doc__)
