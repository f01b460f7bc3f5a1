#!/usr/bin/env python3
"""A package of questions as a technical colleague would script it: random, decimal, lxml and zipfile.

    tests/bench/peers/package.py COUNT FILE.zip

Draws COUNT sums of two decimals with different numbers of places, works out the answer and what eight misconceptions give,
writes each as an item of QTI 2.2 and all as one package. The items have the same parts as those that `tenths` writes of the
family 'add-ragged', so that both write about the same number of bytes. Nothing is proven here. Prints the seconds that it took
and how many bytes the files in the package have unpacked.
"""
import hashlib
import random
import sys
import time
import zipfile
from decimal import Decimal

from lxml import etree

QTI = "http://www.imsglobal.org/xsd/imsqti_v2p2"
XSI = "http://www.w3.org/2001/XMLSchema-instance"
CP = "http://www.imsglobal.org/xsd/imscp_v1p1"
LOM = "http://ltsc.ieee.org/xsd/LOM"
METADATA = "http://www.imsglobal.org/xsd/imsqti_metadata_v2p2"
UNIT = r"(\s*([Kk][Gg]|[Kk]gs|[Kk]ilogram|[Kk]ilograms|[Kk]ilo|[Kk]ilos|[Kk]ilogramo|[Kk]ilogramos)[.]?)?\s*"
PROMPT = "How many kilograms is that together?"
STORIES = [
    "A bicycle with mended wheels weighs {a} kg; its new basket weighs {b} kg.",
    "A crate of tiles weighs {a} kg and a box of nails weighs {b} kg.",
    "In the morning {a} kg of gravel are carried, in the afternoon {b} kg.",
]
SENTENCES = {
    "BLANK": "There is no answer here.",
    "RIGHT": "Right.",
    "add-right-edge": "It looks as if the last digits were put under each other; line up the points, so that tenths stand under tenths.",
    "add-point-ignored": "The digits were added as whole numbers; where does the point belong?",
    "add-two-whole-numbers": "Ten tenths make one whole: when the tenths come to ten or more, carry one across the point.",
    "add-carry-dropped": "Some columns come to ten or more: remember to carry the one to the next place.",
    "add-ragged-tail-dropped": "One number has more places; keep them: annex a zero to the other number and add every column.",
    "add-carry-written-in-full": "Each column holds one digit: write the ones of the column and carry the ten.",
    "add-wrong-digit-carried": "When a column comes to 15, write the 5 and carry the 1, not the other way round.",
    "add-left-edge": "It looks as if the first digits were put under each other; line up the points instead.",
    "UNREADABLE": "This could not be read as a number. Write it with digits and a point, as in 3.25.",
    "OTHER": "Not right. Go through your working once more, place by place.",
}


def digits(number, places):
    return str(int(number.scaleb(places)))


def without_carry(a, b, written=False):
    """Column by column, carries lost or written in full."""
    top, bottom = digits(a, 2), digits(b, 2)
    width = max(len(top), len(bottom))
    columns = [int(x) + int(y) for x, y in zip(top.zfill(width), bottom.zfill(width))]
    text = "".join(str(column) if written else str(column % 10) for column in columns)
    return Decimal(text).scaleb(-2)


def wrong_carry(a, b):
    top, bottom = digits(a, 2), digits(b, 2)
    width = max(len(top), len(bottom))
    carry, found = 0, []
    for x, y in zip(reversed(top.zfill(width)), reversed(bottom.zfill(width))):
        column = int(x) + int(y) + carry
        kept, carry = (column // 10, column % 10) if column > 9 else (column, 0)
        found.append(str(kept))
    return Decimal("".join(reversed(found + ([str(carry)] if carry else [])))).scaleb(-2)


def predicted(a, b):
    """What misconceptions lead to, each value once."""
    whole = Decimal(digits(a, 1)) + Decimal(digits(b, 2))
    fraction = Decimal(digits(a % 1, 1)) + Decimal(digits(b % 1, 2))
    ways = [
        ("add-right-edge", whole.scaleb(-2)),
        ("add-point-ignored", whole),
        ("add-two-whole-numbers", Decimal(f"{int(a) + int(b)}.{fraction}")),
        ("add-carry-dropped", without_carry(a, b)),
        ("add-ragged-tail-dropped", a + Decimal(digits(b, 1)).scaleb(-1)),
        ("add-carry-written-in-full", without_carry(a, b, written=True)),
        ("add-wrong-digit-carried", wrong_carry(a, b)),
        ("add-left-edge", whole.scaleb(-1)),
    ]
    seen, wrong = {a + b}, []
    for name, value in ways:
        if value not in seen:
            seen.add(value)
            wrong.append((name, value))
    return wrong


def pattern(value):
    text = format(value.normalize(), "f")
    whole, _, fraction = text.partition(".")
    return r"\s*0*" + whole + (f"[.]{fraction}0*" if fraction else "([.]0*)?") + UNIT


def sub(parent, name, text=None, **attributes):
    element = etree.SubElement(parent, name, attributes)
    element.text = text
    return element


def declare(item, kind, name, base, value=None, **more):
    declared = sub(item, kind, identifier=name, cardinality="single", baseType=base, **more)
    if value is not None:
        inner = "correctResponse" if kind == "responseDeclaration" else "defaultValue"
        sub(sub(declared, inner), "value", value)


def is_null(parent, name):
    sub(sub(parent, "isNull"), "variable", identifier=name)


def set_outcome(parent, name, base, value):
    sub(sub(parent, "setOutcomeValue", identifier=name), "baseValue", value, baseType=base)


def reads(branch, value):
    either = sub(branch, "or")
    equal = sub(either, "equal", toleranceMode="absolute", tolerance="0.0000005 0.0000005")
    sub(equal, "baseValue", str(value), baseType="float")
    sub(equal, "variable", identifier="RESPONSE_total")
    sub(sub(either, "patternMatch", pattern=pattern(value)), "variable", identifier="RAW_total")


def processing(item, total, wrong):
    rules = sub(item, "responseProcessing")
    condition = sub(rules, "responseCondition")
    branch = sub(condition, "responseIf")
    both = sub(branch, "and")
    is_null(both, "RESPONSE_total")
    is_null(both, "RAW_total")
    set_outcome(branch, "FEEDBACK_total", "identifier", "BLANK")
    branch = sub(condition, "responseElseIf")
    reads(branch, total)
    set_outcome(branch, "SCORE_total", "float", "1")
    set_outcome(branch, "FEEDBACK_total", "identifier", "RIGHT")
    for name, value in wrong:
        branch = sub(condition, "responseElseIf")
        reads(branch, value)
        set_outcome(branch, "FEEDBACK_total", "identifier", name)
    branch = sub(condition, "responseElseIf")
    is_null(branch, "RESPONSE_total")
    set_outcome(branch, "FEEDBACK_total", "identifier", "UNREADABLE")
    set_outcome(sub(condition, "responseElse"), "FEEDBACK_total", "identifier", "OTHER")
    sum_up = sub(sub(rules, "setOutcomeValue", identifier="SCORE"), "sum")
    sub(sum_up, "variable", identifier="SCORE_total")
    branch = sub(sub(rules, "responseCondition"), "responseIf")
    both = sub(branch, "and")
    either = sub(both, "or")
    is_null(sub(either, "not"), "RESPONSE_total")
    is_null(sub(either, "not"), "RAW_total")
    sub(both, "baseValue", "true", baseType="boolean")
    set_outcome(branch, "SOLUTION", "identifier", "WORKED")


def feedback(item, outcome, name, **more):
    return sub(item, "modalFeedback", outcomeIdentifier=outcome, identifier=name, showHide="show", **more)


def write_item(name, a, b, story):
    total, wrong = a + b, predicted(a, b)
    item = etree.Element("assessmentItem", nsmap={None: QTI, "xsi": XSI}, identifier=name, title="Add tenths and hundredths")
    item.set(f"{{{XSI}}}schemaLocation", f"{QTI} http://www.imsglobal.org/xsd/qti/qtiv2p2/imsqti_v2p2p4.xsd")
    item.set("{http://www.w3.org/XML/1998/namespace}lang", "en-US")
    for key, value in (("adaptive", "false"), ("timeDependent", "false"), ("toolName", "peer"), ("toolVersion", "0.1.0")):
        item.set(key, value)
    declare(item, "responseDeclaration", "RESPONSE_total", "float", str(total))
    declare(item, "responseDeclaration", "RAW_total", "string")
    declare(item, "outcomeDeclaration", "SCORE", "float", "0", normalMaximum="1", normalMinimum="0")
    declare(item, "outcomeDeclaration", "MAXSCORE", "float", "1")
    declare(item, "outcomeDeclaration", "SCORE_total", "float", "0", normalMaximum="1", normalMinimum="0")
    declare(item, "outcomeDeclaration", "FEEDBACK_total", "identifier")
    declare(item, "outcomeDeclaration", "SOLUTION", "identifier")
    body = sub(item, "itemBody")
    sub(body, "p", story.format(a=a, b=b))
    step = sub(body, "div")
    step.set("class", "step")
    line = sub(step, "p", PROMPT + " ")
    entry = sub(line, "textEntryInteraction", responseIdentifier="RESPONSE_total", stringIdentifier="RAW_total", expectedLength="8")
    entry.set("aria-label", PROMPT)
    entry.tail = " kg"
    sub(sub(body, "rubricBlock", view="scorer", use="scoring"), "p", f"answer {total} kg, 1 point.")
    processing(item, total, wrong)
    for verdict in ["BLANK", "RIGHT", *(name for name, _ in wrong), "UNREADABLE", "OTHER"]:
        sub(feedback(item, "FEEDBACK_total", verdict), "p", SENTENCES[verdict])
    worked = feedback(item, "SOLUTION", "WORKED", title="Worked solution")
    sub(worked, "p", PROMPT)
    sub(worked, "pre", f"  1\n  {a.quantize(Decimal('0.01')):>6}\n+ {b:>6}\n--------\n  {total:>6}")
    return etree.tostring(item, xml_declaration=True, encoding="UTF-8", pretty_print=True)


def vocabulary(parent, name, value):
    inner = sub(parent, name)
    sub(inner, "source", "LOMv1.0")
    sub(inner, "value", value)


def resource(resources, name, path, seed, position, content):
    entry = sub(resources, "resource", identifier=name, type="imsqti_item_xmlv2p2", href=path)
    metadata = sub(entry, "metadata")
    qti = etree.SubElement(metadata, "qtiMetadata", nsmap={None: METADATA})
    for key, value in (
        ("itemTemplate", "false"), ("timeDependent", "false"), ("composite", "false"), ("interactionType", "textEntryInteraction"),
        ("feedbackType", "nonadaptive"), ("solutionAvailable", "true"), ("scoringMode", "responseprocessing"),
        ("toolName", "peer"), ("toolVersion", "0.1.0"),
    ):
        sub(qti, key, value)
    lom = etree.SubElement(metadata, "lom", nsmap={None: LOM})
    general = sub(lom, "general")
    receipt = "sha256:" + hashlib.sha256(content).hexdigest()
    for catalog, value in (("peer", name), ("peer draw", f"add-ragged 2 {position} en-US {seed}"), ("peer receipt", receipt)):
        identifier = sub(general, "identifier")
        sub(identifier, "catalog", catalog)
        sub(identifier, "entry", value)
    sub(sub(general, "title"), "string", "Add tenths and hundredths", language="en-US")
    sub(general, "language", "en-US")
    cycle = sub(lom, "lifeCycle")
    sub(sub(cycle, "version"), "string", "2", language="en")
    vocabulary(cycle, "status", "final")
    about = sub(lom, "metaMetadata")
    sub(about, "metadataSchema", "LOMv1.0")
    sub(about, "metadataSchema", "QTIv2.2")
    education = sub(lom, "educational")
    for key, value in (
        ("interactivityType", "active"), ("learningResourceType", "exercise"), ("intendedEndUserRole", "learner"), ("context", "school"),
    ):
        vocabulary(education, key, value)
    sub(sub(education, "typicalAgeRange"), "string", "10-11", language="en")
    vocabulary(education, "difficulty", "medium")
    sub(education, "language", "en-US")
    classification = sub(lom, "classification")
    vocabulary(classification, "purpose", "educational objective")
    taxon = sub(classification, "taxonPath")
    sub(sub(taxon, "source"), "string", "Common Core State Standards for Mathematics", language="en")
    sub(sub(taxon, "taxon"), "id", "5.NBT.B.7")
    sub(entry, "file", href=path)


def write_package(count, path, seed="speed"):
    chance = random.Random(seed)
    unpacked = 0
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as package:
        manifest = etree.Element("manifest", nsmap={None: CP, "xsi": XSI}, identifier="package_manifest")
        resources = sub(manifest, "resources")
        test = etree.Element("assessmentTest", nsmap={None: QTI}, identifier="speed", title="Speed")
        section = sub(sub(test, "testPart", identifier="part_1"), "assessmentSection", identifier="s-1", title="Sums")
        for position in range(count):
            a = Decimal(chance.randrange(11, 200)).scaleb(-1)
            b = Decimal(chance.randrange(25, 976)).scaleb(-2)
            name = f"add-ragged-v2-{position}"
            content = write_item(name, a, b, chance.choice(STORIES))
            package.writestr(f"items/item-{name}.xml", content)
            resource(resources, name, f"items/item-{name}.xml", seed, position, content)
            reference = sub(section, "assessmentItemRef", identifier=name, href=f"items/item-{name}.xml", category="add-ragged")
            sub(reference, "weight", identifier="WEIGHT", value="1")
            unpacked += len(content)
        for member, root in (("test.xml", test), ("imsmanifest.xml", manifest)):
            content = etree.tostring(root, xml_declaration=True, encoding="UTF-8", pretty_print=True)
            package.writestr(member, content)
            unpacked += len(content)
    return unpacked


def main():
    count, path = int(sys.argv[1]), sys.argv[2]
    begun = time.perf_counter()
    unpacked = write_package(count, path)
    print(f"{time.perf_counter() - begun:.6f} {unpacked}")


main()
