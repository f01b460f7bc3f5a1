#!/usr/bin/env python3
"""Recomputes every answer of drawn questions from outside: `tenths draw FAMILY --json | recompute.py`.

Reads question records, one a line, and works each step's expression from the givens and earlier steps with exact
fractions. It shares nothing with the program but the record's text. Prints one line per difference and a summary
last. Exit status: 0 no difference, 1 differences, 2 nothing to check.
"""

import json
import math
import re
import sys
from fractions import Fraction

TOKEN = re.compile(r"\s*(\d+(?:\.\d+)?|[A-Za-z_][A-Za-z0-9_]*|[-+*/(),?])")
DECIMAL = re.compile(r"-?\d+(\.\d+)?$")


def half_up(number, places):
    """Rounds as taught: a half goes up."""
    scale = 10 ** int(places)
    return Fraction(math.floor(number * scale + Fraction(1, 2)), scale)


def smallest_at_least(least, *limits):
    return min(limit for limit in limits if limit >= least)


def digit(number, place):
    """The digit at a place, counted from the point to the right; 0 is the ones."""
    return Fraction(math.floor(number * 10 ** int(place)) % 10)


FUNCTIONS = {
    "round": half_up,
    "max": max,
    "min": min,
    "smallest_at_least": smallest_at_least,
    "whole": lambda number: Fraction(math.floor(number)),
    "digit": digit,
    "ascending": lambda *numbers: sorted(numbers),
    "descending": lambda *numbers: sorted(numbers, reverse=True),
}

ONES = (
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
    "seventeen eighteen nineteen"
).split()
TENS = "twenty thirty forty fifty sixty seventy eighty ninety".split()
PLACES = {"tenth": 1, "hundredth": 2, "thousandth": 3, "ten thousandth": 4}


def whole_number(words):
    """Reads a whole number in English words, without 'and'."""
    total = group = 0
    for word in words:
        if word in ONES:
            group += ONES.index(word)
        elif word in TENS:
            group += 10 * (TENS.index(word) + 2)
        elif word == "hundred":
            group *= 100
        elif word == "thousand":
            total, group = total + group * 1000, 0
        else:
            raise ValueError(f"{word!r} is no number word")
    return total + group


def in_words(text):
    """Reads a decimal in words, as taught in the United States: 'and' stands for the point."""
    whole, _, parts = text.rpartition(" and ")
    words = parts.replace("ten-thousandth", "ten thousandth").replace("-", " ").split()
    name = words[-1].removesuffix("s")
    if name not in PLACES:
        return Fraction(whole_number(text.replace("-", " ").split()))
    words.pop()
    if name == "thousandth" and len(words) > 1 and words[-1] == "ten" and "ten-thousandth" in parts:
        words.pop()
        name = "ten thousandth"
    fraction = Fraction(whole_number(words), 10 ** PLACES[name])
    return fraction + (whole_number(whole.replace("-", " ").split()) if whole else 0)


def tokens_of(text):
    text = text.strip().replace("×", "*").replace("÷", "/").replace("−", "-")
    found, at = [], 0
    while at < len(text):
        match = TOKEN.match(text, at)
        if match is None:
            raise ValueError(f"cannot read {text!r} at {at}")
        found.append(match.group(1))
        at = match.end()
    return found


class Evaluator:
    """Works one expression while reading it; `a ? b` gives the sign between the two."""

    def __init__(self, text, names):
        self.tokens, self.names = tokens_of(text), names

    def next(self):
        return self.tokens[0] if self.tokens else None

    def take(self, expected=None):
        token = self.tokens.pop(0)
        if expected is not None and token != expected:
            raise ValueError(f"expected {expected!r}, found {token!r}")
        return token

    def whole(self):
        value = self.sum()
        if self.next() == "?":
            self.take()
            other = self.sum()
            value = "<" if value < other else ">" if value > other else "="
        if self.tokens:
            raise ValueError(f"{self.tokens[0]!r} is left over")
        return value

    def sum(self):
        value = self.product()
        while self.next() in ("+", "-"):
            sign, other = self.take(), self.product()
            value = value + other if sign == "+" else value - other
        return value

    def product(self):
        value = self.part()
        while self.next() in ("*", "/"):
            sign, other = self.take(), self.part()
            value = value * other if sign == "*" else value / other
        return value

    def part(self):
        token = self.take()
        if token == "(":
            value = self.sum()
            self.take(")")
            return value
        if token[0].isdigit():
            return Fraction(token)
        if self.next() != "(":
            return self.names[token]
        self.take()
        arguments = [self.sum()]
        while self.next() == ",":
            self.take()
            arguments.append(self.sum())
        self.take(")")
        return FUNCTIONS[token](*arguments)


def decimal(text):
    """A decimal string as a fraction; a JSON number here would already be a loss."""
    if not isinstance(text, str) or not DECIMAL.match(text):
        raise ValueError(f"{text!r} is no decimal string")
    return Fraction(text)


def claimed(step):
    """The value that the record claims: a number, what the chosen choice stands for, or values in order."""
    if step["kind"] == "number":
        return decimal(step["answer"])
    if step["kind"] == "words":
        return in_words(step["answer"])
    if step["kind"] == "order":
        worth = {choice["id"]: decimal(choice["value"]) for choice in step["choices"]}
        return [worth[choice] for choice in step["answer"]]
    [choice] = [choice for choice in step["choices"] if choice["id"] == step["answer"]]
    return decimal(choice["value"]) if "value" in choice else choice["text"]


def check(question):
    """Yields the steps whose answer is another one, with both answers."""
    names = {given["name"]: decimal(given["value"]) for given in question["givens"]}
    for step in question["steps"]:
        worked = Evaluator(step["expression"], names).whole()
        names[step["id"]] = worked
        if worked != claimed(step):
            yield step["id"], claimed(step), worked


def main():
    questions = steps = differences = 0
    for line in sys.stdin:
        question = json.loads(line)
        questions += 1
        steps += len(question["steps"])
        for step, answer, worked in check(question):
            differences += 1
            print(f"{question['id']}, step {step}: the record says {answer}, worked {worked}")
    print(f"{questions} questions, {steps} steps, {differences} differences")
    return 2 if questions == 0 else 1 if differences else 0


if __name__ == "__main__":
    sys.exit(main())
