"""Tries the patterns of items with an XML Schema processor. Takes a JSON file: a list of [item, right answers in words]."""
import json
import sys

from lxml import etree

XS = "http://www.w3.org/2001/XMLSchema"


def processor(pattern):
    """A schema for an element whose text matches the pattern. Raises for what is no regular expression."""
    root = etree.Element(f"{{{XS}}}schema", nsmap={"xs": XS})
    element = etree.SubElement(root, f"{{{XS}}}element", name="text")
    kind = etree.SubElement(element, f"{{{XS}}}simpleType")
    restriction = etree.SubElement(kind, f"{{{XS}}}restriction", base="xs:string")
    etree.SubElement(restriction, f"{{{XS}}}pattern", value=pattern)
    return etree.XMLSchema(root)


def matches(schema, text):
    element = etree.Element("text")
    element.text = text
    return schema.validate(element)


right = 0
for item, answers in json.load(open(sys.argv[1], encoding="utf-8")):
    found = {one.get("pattern") for one in etree.fromstring(item.encode()).iter("{*}qti-pattern-match")}
    schemas = [processor(pattern) for pattern in found]
    for answer in answers:
        for text in (answer, answer.upper(), answer.replace("-", " ") + "."):
            # The pattern of right answers, and the one for all texts made of number words.
            assert sum(matches(schema, text) for schema in schemas) == 2, text
        assert not any(matches(schema, answer + " meters") for schema in schemas), answer
        right += 1
print(f"all patterns can be read, {right} right answers match")
