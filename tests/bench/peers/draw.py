#!/usr/bin/env python3
"""The script that a technical colleague would write: questions that add two decimals, with answer, wrong answers and text.

    tests/bench/peers/draw.py COUNT

Nothing is proven, nothing is sealed. Prints how many nanoseconds of the processor one question took.
"""
import json
import random
import sys
import time
from decimal import Decimal

PEOPLE = ["Amaya", "Bruno", "Chiara", "Dario", "Elif", "Femi", "Greta", "Hanno"]
STEMS = [
    "At the river clean-up {0} fills a sack with {2} kg of cans and {1} one with {3} kg of bottle caps.",
    "A bicycle with mended wheels weighs {2} kg; its new basket weighs {3} kg.",
    "{0} carries the water kit of {2} kg and the sample box of {3} kg to the bank.",
]


def columns(a, b, places):
    """The digits of both numbers by column, from the right."""
    width = max(len(a.split(".")[0]), len(b.split(".")[0])) + places
    lined = [(n + "0" * (places - len(n.split(".")[1]))).replace(".", "").zfill(width) for n in (a, b)]
    return list(zip(map(int, reversed(lined[0])), map(int, reversed(lined[1]))))


def carries(pairs):
    count = carry = 0
    for top, bottom in pairs:
        carry = top + bottom + carry >= 10
        count += carry
    return count


def placed(digits, places):
    text = "".join(map(str, digits))
    return Decimal(text).scaleb(-places)


def wrong_answers(a, b, pairs, places):
    whole, parts = zip(*(number.split(".") for number in (a, b)))
    digits = [number.replace(".", "") for number in (a, b)]
    added = Decimal(int(digits[0]) + int(digits[1]))
    yield "add-right-edge", added.scaleb(-places)
    yield "add-right-edge-first-point", added.scaleb(-len(parts[0]))
    yield "add-point-ignored", added
    yield "add-two-whole-numbers", Decimal(f"{int(whole[0]) + int(whole[1])}.{int(parts[0]) + int(parts[1]):0{places}}")
    yield "add-carry-dropped", placed([(top + bottom) % 10 for top, bottom in reversed(pairs)], places)
    lost = (int(parts[0].ljust(places, "0")) + int(parts[1].ljust(places, "0"))) % 10**places
    yield "add-carry-lost-at-point", Decimal(f"{int(whole[0]) + int(whole[1])}.{lost:0{places}}")
    sums = [top + bottom for top, bottom in reversed(pairs)]
    yield "add-carry-written-in-full", Decimal(
        "".join(map(str, sums[:-places])) + "." + "".join(map(str, sums[-places:]))
    )
    shorter = min(map(len, parts))
    cut = Decimal(1).scaleb(-shorter)
    yield "add-ragged-tail-dropped", sum(Decimal(number).quantize(cut, "ROUND_DOWN") for number in (a, b))


def question(number, draw):
    while True:
        a, b = str(Decimal(draw.randint(11, 199)).scaleb(-1)), str(Decimal(draw.randint(15, 995)).scaleb(-2))
        if a[-1] == "0" or b[-1] == "0":
            continue
        pairs = columns(a, b, 2)
        if carries(pairs) in (1, 2):
            break
    answer = Decimal(a) + Decimal(b)
    predicted = {}
    for name, value in wrong_answers(a, b, pairs, 2):
        if value != answer:
            predicted.setdefault(value, []).append(name)
    people = draw.sample(PEOPLE, 2)
    return {
        "id": f"add-{number}",
        "stem": draw.choice(STEMS).format(*people, a, b),
        "prompt": "How many kilograms is that together?",
        "answer": str(answer),
        "predicted": [{"misconception": " | ".join(names), "answer": str(value)} for value, names in predicted.items()],
        "solution": [f"  {a}", f"+ {b}", "------", f"  {answer}"],
    }


def main():
    count = int(sys.argv[1])
    draw = random.Random("colleague")
    begun = time.process_time_ns()
    for number in range(count):
        json.dumps(question(number, draw))
    print((time.process_time_ns() - begun) / count)


main()
