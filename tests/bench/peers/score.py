#!/usr/bin/env python3
"""The script that a technical colleague would write: marks for responses in a file of records.

    tests/bench/peers/score.py POOL RESPONSES MARKS

Knows right values and predicted wrong ones; nothing of units, words, fractions, written forms or earlier answers.
"""
import json
import sys
from decimal import Decimal, InvalidOperation


def number(text):
    try:
        return Decimal(text.strip())
    except InvalidOperation:
        return None


def ready(step):
    predicted = [(wrong["misconception"].split(" | "), number(str(wrong["answer"]))) for wrong in step["predicted"]]
    return step["id"], str(step["answer"]), number(str(step["answer"])), step["points"], predicted


def mark(step, text):
    identifier, answer, key, points, predicted = step
    verdict, earned, names = "wrong", 0, []
    value = number(text)
    if not text.strip():
        verdict = "blank"
    elif text == answer or (value is not None and value == key):
        verdict, earned = "correct", points
    elif value is None:
        verdict = "unreadable"
    else:
        names = next((names for names, wrong in predicted if wrong == value), [])
    return {"id": identifier, "response": text, "points": earned, "max": points, "verdict": verdict, "misconceptions": names, "note": ""}


def main():
    pool, responses, marks = sys.argv[1:]
    with open(pool, encoding="utf-8") as read:
        sections = json.load(read)["sections"]
    questions = {q["id"]: [ready(step) for step in q["steps"]] for section in sections for q in section["questions"]}
    with open(responses, encoding="utf-8") as read, open(marks, "w", encoding="utf-8") as out:
        for line in read:
            record = json.loads(line)
            steps = [mark(step, record["responses"].get(step[0], "")) for step in questions[record["question"]]]
            told = {
                "pupil": record["pupil"],
                "question": record["question"],
                "points": sum(step["points"] for step in steps),
                "max": sum(step["max"] for step in steps),
                "steps": steps,
            }
            out.write(json.dumps(told, separators=(",", ":")) + "\n")


main()
