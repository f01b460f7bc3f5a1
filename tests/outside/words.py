#!/usr/bin/env python3
"""Compares whole numbers in words with the package num2words, which is used here only and never shipped.

Standard input: one line a number, 'digits<tab>language<tab>words', language 'en' or 'es'. Prints the differences and
the number of lines compared; exit 1 if any differ, 3 without num2words.

num2words writes two things differently from what schools in the United States teach, and these are put right before
the comparison:
- English: 'three hundred and forty-seven thousand, one hundred' -> 'three hundred forty-seven thousand one hundred';
- Spanish: 'veintiuno mil', 'ciento uno mil' -> 'veintiún mil', 'ciento un mil', as the Real Academia Española asks.
"""
import re
import sys

try:
    from num2words import num2words
except ImportError:
    print("num2words is not installed")
    sys.exit(3)


def reference(number, language):
    words = num2words(number, lang=language)
    if language == "en":
        return words.replace(",", "").replace(" and ", " ")
    return re.sub(r"\buno mil\b", "un mil", words.replace("veintiuno mil", "veintiún mil"))


def main():
    compared = different = 0
    for line in sys.stdin.buffer.read().decode("utf-8").splitlines():
        digits, language, words = line.split("\t")
        compared += 1
        expected = reference(int(digits), language)
        if words != expected:
            different += 1
            print(f"{digits} {language}: '{words}', num2words has '{expected}'")
    print(f"{compared} compared, {different} different")
    return 1 if different else 0


sys.exit(main())
