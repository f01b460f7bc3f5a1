#!/usr/bin/env python3
"""The script that a technical colleague would write: typed numbers against a key with a tolerance and four wrong answers.

    tests/bench/peers/mark.py COUNT

Prints how many nanoseconds of the processor one response took.
"""
import random
import sys
import time
from decimal import Decimal, InvalidOperation

TOLERANCE = Decimal(0)


def mark(text, key, predicted):
    try:
        value = Decimal(text.strip())
    except InvalidOperation:
        return "unreadable", None
    if abs(value - key) <= TOLERANCE:
        return "correct", None
    for name, wrong in predicted:
        if value == wrong:
            return "wrong", name
    return "wrong", None


def main():
    count = int(sys.argv[1])
    draw = random.Random("colleague")
    names = ["right-edge", "point-ignored", "two-whole-numbers", "carry-dropped"]
    questions = []
    for _ in range(500):
        a, b = Decimal(draw.randint(11, 199)).scaleb(-1), Decimal(draw.randint(15, 995)).scaleb(-2)
        wrong = [a + b + Decimal(draw.randint(1, 999)).scaleb(-2) for _ in names]
        questions.append((a + b, list(zip(names, wrong))))
    typed = []
    for number in range(count):
        key, predicted = questions[number % 500]
        kind = number % 10
        right = str(key) if kind < 5 else str(predicted[number // 500 % 4][1]) if kind < 9 else f"{number % 97}.{number % 89}"
        typed.append((right, key, predicted))
    begun = time.process_time_ns()
    for text, key, predicted in typed:
        mark(text, key, predicted)
    print((time.process_time_ns() - begun) / count)


main()
