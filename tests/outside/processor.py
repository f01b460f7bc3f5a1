"""Runs exported items in an independent processor of QTI 2.1, the package pyslet, and compares what they score.

    processor.py CASES.json PACKAGE_2.1.zip [OTHER_VERSION.zip ...]

CASES.json is a list of items, each with its path in the packages and its cases: answers by response variable, and the
value that each outcome must have. An item that varies itself also has the values it drew in this session (`drawn`, by
variable): they stand in the place of what is drawn by chance, and constraints, which they meet, are left out, because
pyslet has none. The first package is run as it was written. An item of another version is renamed to
the words of 2.1, by rules that know names alone; it is run, too, unless that makes it the same document as the first.

Prints items, responses compared and disagreements. Exit code 1 when there are any, 3 when pyslet is not installed.

pyslet has gaps, which are filled here and not in the items: no min and max; the two numbers of a tolerance are one text to
it; a choice holds no printed variable; an alternative of a pattern that matches the start of a text hides longer ones, where the standard wants the whole
text to match; and it does not put what a pupil types into the variables of a text entry.
"""
import json
import logging
import multiprocessing
import os
import re
import sys
import warnings
import xml.etree.ElementTree as tree
import zipfile
from functools import lru_cache
from io import BytesIO

warnings.simplefilter("ignore")
logging.disable(logging.CRITICAL)
try:
    import pyslet.qtiv2.xml as qti
    from pyslet.qtiv2 import core, expressions, processing, variables
    from pyslet.xml import xsdatatypes
except ImportError:
    sys.exit(3)

NAMESPACE_21 = "http://www.imsglobal.org/xsd/imsqti_v2p1"
# Shown of all disagreements.
SHOWN = 20
# What the standard calls a float, without exponents, which no pupil types.
FLOAT = re.compile(r"\s*[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)\s*")


# --- What pyslet lacks ---


class Extreme(expressions.NOperator):
    """The largest or the smallest of its parts: integer if all are, null if one is."""

    def evaluate(self, state):
        values = list(self.evaluate_children(state))
        kind = variables.check_numerical_types(*[value.baseType for value in values])
        variables.check_cardinalities(variables.Cardinality.single, *[value.Cardinality() for value in values])
        if not all(values):
            return variables.Value.new_value(variables.Cardinality.single, kind)
        chosen = self.choose(value.value for value in values)
        if kind == variables.BaseType.integer:
            return variables.IntegerValue(int(chosen))
        return variables.FloatValue(float(chosen))


class Max(Extreme):
    XMLNAME = (core.IMSQTI_NAMESPACE, "max")
    choose = staticmethod(max)


class Min(Extreme):
    XMLNAME = (core.IMSQTI_NAMESPACE, "min")
    choose = staticmethod(min)


class WholeTextPattern:
    """A pattern that matches only whole texts; read once however often it is used."""

    def __init__(self, pattern):
        self.compiled = WholeTextPattern.read(pattern)

    @staticmethod
    @lru_cache(maxsize=None)
    def read(pattern, read=xsdatatypes.RegularExpression):
        return read(pattern).p

    def match(self, text):
        return self.compiled.fullmatch(text) is not None


def fill_gaps():
    for extreme in (Max, Min):
        qti.QTIDocument.classMap[extreme.XMLNAME] = extreme
    xsdatatypes.RegularExpression = WholeTextPattern


# --- Other versions, renamed ---


def camel(name):
    first, *rest = name.split("-")
    return first + "".join(word[:1].upper() + word[1:] for word in rest)


def renamed(document):
    """The item in the words of 2.1, as canonical XML without the space between elements."""
    return tree.tostring(renamed_element(tree.fromstring(document)), encoding="utf-8")


def renamed_element(element):
    name = element.tag.split("}")[-1]
    new = name.startswith("qti-")
    name = camel(name[len("qti-"):]) if new else name
    result = tree.Element(f"{{{NAMESPACE_21}}}{name}")
    for attribute, value in sorted(element.attrib.items()):
        if attribute.startswith(("aria-", "data-")) or attribute.endswith("}schemaLocation"):
            continue
        result.set(camel(attribute) if new and not attribute.startswith("{") else attribute, value)
    append_text(result, element.text)
    for child in element:
        append_child(result, child)
        append_text(result, child.tail)
    return result


def append_child(parent, child):
    name = child.tag.split("}")[-1]
    if name == "qti-catalog-info":
        return
    if name == "qti-content-body" or (name == "span" and "data-catalog-idref" in child.attrib):
        append_text(parent, child.text)
        for inner in child:
            append_child(parent, inner)
            append_text(parent, inner.tail)
    else:
        parent.append(renamed_element(child))


def append_text(parent, text):
    if text is None or ("\n" in text and not text.strip()):
        return
    if len(parent):
        parent[-1].tail = (parent[-1].tail or "") + text
    else:
        parent.text = (parent.text or "") + text


# --- Items that vary themselves ---

CHANCE = ("randomInteger", "randomFloat", "random")


def elements(root, *names):
    """All elements of these names of the standard, in the order of the document."""
    return [element for element in root.iter() if element.tag in {f"{{{NAMESPACE_21}}}{name}" for name in names}]


def with_drawn(document, drawn):
    """The item with these values in the place of chance, without constraints and without variables in choices."""
    root = tree.fromstring(document)
    types = {
        declared.get("identifier"): declared.get("baseType") for declared in elements(root, "templateDeclaration")
    }
    parents = {child: parent for parent in root.iter() for child in parent}
    for rule in elements(root, "templateConstraint"):
        parents[rule].remove(rule)
    for rule in elements(root, "setTemplateValue"):
        if elements(rule, *CHANCE):
            variable = rule.get("identifier")
            for part in list(rule):
                rule.remove(part)
            value = tree.SubElement(rule, f"{{{NAMESPACE_21}}}baseValue", baseType=types[variable])
            value.text = drawn[variable]
    for choice in elements(root, "simpleChoice", "inlineChoice"):
        for part in list(choice):
            choice.remove(part)
        choice.text = choice.get("identifier")
    return tree.tostring(root, encoding="utf-8")


# --- Running ---


def read_item(document):
    read = qti.QTIDocument()
    read.read(src=BytesIO(document))
    item = read.root
    # The page that shows an item is no part of what is compared.
    item.render_html = lambda *_: None
    split_tolerances(item)
    # No child to pyslet either.
    if item.TemplateProcessing is not None:
        split_tolerances(item.TemplateProcessing)
    return item


def split_tolerances(element):
    """Takes the two numbers of every tolerance apart. The one part of 'not' is no child to pyslet."""
    parts = list(element.get_children()) + [getattr(element, "Expression", None)]
    for part in parts:
        if isinstance(part, expressions.Equal) and isinstance(part.tolerance, str):
            part.tolerance = part.tolerance.split()
        if hasattr(part, "get_children"):
            split_tolerances(part)


def entries(document):
    """The string variable beside each response that is typed as a number."""
    boxes = tree.fromstring(document).iter(f"{{{NAMESPACE_21}}}textEntryInteraction")
    return {box.get("responseIdentifier"): box.get("stringIdentifier") for box in boxes}


def give(session, raw, response, answer):
    if isinstance(answer, list):
        session[response].set_value(answer)
    elif raw.get(response):
        session[raw[response]].set_value(answer)
        session[response].set_value(float(answer) if FLOAT.fullmatch(answer) else None)
    else:
        session[response].set_value(answer)


def feedback_shown(item, session):
    """Which modal feedback a pupil sees, by outcome and identifier."""
    shown = set()
    for feedback in item.QTIModalFeedback:
        if feedback.identifier in held(session[feedback.outcomeIdentifier]):
            shown.add((feedback.outcomeIdentifier, feedback.identifier))
    return shown


def held(variable):
    """The values in a variable, as texts."""
    value = variable.value
    if value is None:
        return []
    return [str(one) for one in value] if isinstance(value, (dict, list, tuple)) else [str(value)]


def run_case(item, raw, case):
    """What is not as it must be."""
    session = variables.ItemSessionState(item)
    session.select_clone()
    session.begin_session()
    session.begin_attempt()
    for response, answer in case["answers"].items():
        give(session, raw, response, answer)
    session.end_attempt()
    found = []
    shown = feedback_shown(item, session)
    for outcome, expected in case["outcomes"].items():
        several = isinstance(expected, list)
        value = sorted(held(session[outcome])) if several else session[outcome].value
        if value != (sorted(expected) if several else expected):
            found.append(f"{outcome} is {value!r} and should be {expected!r}")
        told = expected if several else [expected] if isinstance(expected, str) else []
        # What is predicted is told by the variable that says which.
        for one in told:
            if one != "PREDICTED" and (outcome, one) not in shown:
                found.append(f"feedback {one} of {outcome} is not shown")
    return found


def run_item(work):
    name, document, drawn, cases = work
    try:
        document = document if drawn is None else with_drawn(document, drawn)
        item, raw = read_item(document), entries(document)
    except Exception as error:
        return name, len(cases), [f"{name}: cannot be read: {error!r}"]
    disagreements = []
    for case in cases:
        try:
            found = run_case(item, raw, case)
        except Exception as error:
            found = [f"stopped: {error!r}"]
        if found:
            disagreements.append(f"{name}: {json.dumps(case['answers'])}: {'; '.join(found)}")
    return name, len(cases), disagreements


def main(cases_path, package, *others):
    fill_gaps()
    with open(cases_path, encoding="utf-8") as file:
        items = json.load(file)
    first = zipfile.ZipFile(package)
    documents = {item["item"]: first.read(item["path"]) for item in items}
    work = [(item["item"], documents[item["item"]], item.get("drawn"), item["cases"]) for item in items]
    plain = {name: renamed(document) for name, document in documents.items()} if others else {}
    for other in others:
        archive = zipfile.ZipFile(other)
        same = 0
        for item in items:
            document = renamed(archive.read(item["path"]))
            if document == plain[item["item"]]:
                same += 1
            else:
                name = f"{os.path.basename(other)}!{item['item']}"
                work.append((name, document, item.get("drawn"), item["cases"]))
        print(f"{os.path.basename(other)}: {same} of {len(items)} items, renamed, are the same document")
    with multiprocessing.Pool(os.cpu_count(), initializer=fill_gaps) as workers:
        results = workers.map(run_item, work, chunksize=4)
    disagreements = [line for _, _, lines in results for line in lines]
    for line in disagreements[:SHOWN]:
        print(line)
    families = len({item["family"] for item in items})
    responses = sum(count for _, count, _ in results)
    print(f"{len(work)} items of {families} families, {responses} responses, {len(disagreements)} disagreements")
    return 1 if disagreements else 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
