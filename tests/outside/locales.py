#!/usr/bin/env python3
"""Says what the Unicode Common Locale Data Repository has on numerals, as held by the package Babel, which is used here
only and never shipped.

Standard input: one line a question, 'tag<tab>numeral' with a point in the numeral, such as 'es-US<tab>1.0'. Prints for
each line 'decimal mark<tab>group mark<tab>plural category'; exit 3 without Babel. Written places count: 1 and 1.0 may
be of different categories.
"""
import sys
from decimal import Decimal

try:
    from babel import Locale
except ImportError:
    print("Babel is not installed")
    sys.exit(3)


def answer(tag, numeral):
    locale = Locale.parse(tag, sep="-")
    # Newer data has the marks by numbering system.
    marks = locale.number_symbols.get("latn", locale.number_symbols)
    return "\t".join((marks["decimal"], marks["group"], locale.plural_form(Decimal(numeral))))


def main():
    lines = sys.stdin.buffer.read().decode("utf-8").splitlines()
    answers = "".join(answer(*line.split("\t")) + "\n" for line in lines)
    sys.stdout.buffer.write(answers.encode("utf-8"))


main()
