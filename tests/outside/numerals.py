#!/usr/bin/env python3
"""Compares plain numbers as the question bank reads them with Python's decimal.

Standard input: one line a text, 'decimal mark<tab>group mark<tab>text<tab>value', where value is what was read, such as
'-1234.50', or '-' for a text that was not read. Prints the differences and the number of lines compared and read; exit 1
if any differ. Written places count: 0.5 and 0.50 differ.

The rule here is written apart from the Rust code: a sign, digits in one block or in groups (one to three digits, the
first no zero, then groups of three, one sign throughout, the locale's or a blank), the locale's mark, digits. At least
one digit, at most 28 after leading zeros are left out.
"""
import re
import sys
from decimal import Context, Decimal

EXACT = Context(prec=400)


def expected(point, group, text):
    group = {"\u2019": "'"}.get(group, " " if group.isspace() else group)
    text = re.sub("[\u00a0\u202f\u2009]", " ", text).replace("\u2019", "'").strip()
    blocks = "|".join(rf"[1-9]\d{{0,2}}(?:{re.escape(sign)}\d{{3}})+" for sign in {group, " "})
    match = re.fullmatch(
        rf"(?P<sign>[-+\u2212]?) *(?:(?P<whole>\d+|{blocks})(?:{re.escape(point)}(?P<parts>\d*))?"
        rf"|{re.escape(point)}(?P<bare>\d+))",
        text,
        re.ASCII,
    )
    if not match:
        return None
    whole = re.sub(r"\D", "", match["whole"] or "0")
    parts = match["parts"] or match["bare"] or ""
    if len((whole.lstrip("0") or "0") + parts) > 28:
        return None
    sign = "-" if match["sign"] in ("-", "\u2212") else ""
    return EXACT.create_decimal(f"{sign}{whole}{'.' if parts else ''}{parts}")


def main():
    compared = read = different = 0
    for line in sys.stdin.buffer.read().decode("utf-8").split("\n"):
        if not line:
            continue
        point, group, text, value = line.split("\t")
        compared += 1
        wanted = expected(point, group, text)
        found = None if value == "-" else Decimal(value)
        read += found is not None
        same = (wanted is None) == (found is None)
        if same and wanted is not None:
            # No sign on zero: a decimal of the question bank has none.
            same = wanted == found and wanted.as_tuple().exponent == found.as_tuple().exponent
        if not same:
            different += 1
            if different <= 20:
                print(f"{text!r} with {point!r} and {group!r}: {value}, Python's decimal has {wanted}")
    print(f"{compared} compared, {read} read, {different} different")
    return 1 if different else 0


sys.exit(main())
