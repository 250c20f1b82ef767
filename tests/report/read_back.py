#!/usr/bin/env python3
"""Reads exported files with Python's own readers and prints what disagrees; nothing when all is well.

read_back.py record RECORD.json SCHEMA.json   JSON Schema (draft 2020-12), python3-jsonschema
read_back.py fhir BUNDLE.json                 rules of HL7 FHIR R4 (4.0.1) that concern what the bundle holds: http://hl7.org/fhir/R4/
read_back.py csv TABLE.csv DICTIONARY.csv     RFC 4180 through the csv module; every column is in the dictionary
"""
import csv
import json
import re
import sys


def record(record_file, schema_file):
    import jsonschema
    schema = json.load(open(schema_file, encoding="utf-8"))
    jsonschema.Draft202012Validator.check_schema(schema)
    for e in jsonschema.Draft202012Validator(schema).iter_errors(json.load(open(record_file, encoding="utf-8"))):
        yield f"{list(e.absolute_path)}: {e.message}"


# Elements allowed in each resource (the ones R4 defines and this program may use), those required, and the sub-elements of datatypes.
ALLOWED = {
    "Patient": {"resourceType", "id", "extension", "name"},
    "BodyStructure": {"resourceType", "id", "morphology", "location", "description", "patient"},
    "Observation": {"resourceType", "id", "status", "code", "subject", "focus", "effectiveDateTime", "valueQuantity", "bodySite", "method", "component", "note"},
}
REQUIRED = {"Patient": set(), "BodyStructure": {"patient"}, "Observation": {"status", "code"}}
STATUS = {"registered", "preliminary", "final", "amended", "corrected", "cancelled", "entered-in-error", "unknown"}
ID = re.compile(r"^[A-Za-z0-9\-.]{1,64}$")
# http://hl7.org/fhir/R4/datatypes.html#dateTime
DATETIME = re.compile(r"^([0-9]([0-9]([0-9][1-9]|[1-9]0)|[1-9]00)|[1-9]000)(-(0[1-9]|1[0-2])(-(0[1-9]|[1-2][0-9]|3[0-1])"
                      r"(T([01][0-9]|2[0-3]):[0-5][0-9]:([0-5][0-9]|60)(\.[0-9]+)?(Z|(\+|-)((0[0-9]|1[0-3]):[0-5][0-9]|14:00)))?)?)?$")
UUID = re.compile(r"^urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$")
LOINC = {"89260-4": "mm2", "39126-8": "mm", "39125-0": "mm"}


def no_empties(value, where):
    """json.html: no empty objects, arrays or strings, no nulls."""
    if value is None or value == "" or value == [] or value == {}:
        yield f"{where} is empty"
    if isinstance(value, str) and value.strip() == "":
        yield f"{where} is blank"
    if isinstance(value, dict):
        for k, v in value.items():
            yield from no_empties(v, f"{where}.{k}")
    if isinstance(value, list):
        for i, v in enumerate(value):
            yield from no_empties(v, f"{where}[{i}]")


def codeable(value, where):
    if set(value) - {"coding", "text"}:
        yield f"{where}: CodeableConcept holds {sorted(value)}"
    for c in value.get("coding", []):
        if set(c) - {"system", "code", "display"} or not re.match(r"^\S+( \S+)*$", c.get("code", "")):
            yield f"{where}: coding {c}"


def quantity(value, where):
    if set(value) - {"value", "unit", "system", "code"} or isinstance(value.get("value"), (str, bool)) or "value" not in value:
        yield f"{where}: Quantity {value}"
    if "code" in value and "system" not in value:  # qty-3
        yield f"{where}: qty-3, a code without its system"
    if value.get("system") != "http://unitsofmeasure.org" or value.get("code") not in ("mm", "mm2"):
        yield f"{where}: not UCUM {value}"


def fhir(bundle_file):
    bundle = json.load(open(bundle_file, encoding="utf-8"))
    yield from no_empties(bundle, "Bundle")
    if bundle.get("resourceType") != "Bundle" or bundle.get("type") != "collection" or set(bundle) - {"resourceType", "type", "entry"}:
        yield "not a Bundle of type collection"
    urls = [e.get("fullUrl") for e in bundle.get("entry", [])]
    if len(urls) != len(set(urls)):  # bdl-7
        yield "bdl-7: fullUrl is not unique"
    for e in bundle.get("entry", []):
        r = e["resource"]
        kind, where = r.get("resourceType"), f"{r.get('resourceType')}/{r.get('id')}"
        if set(e) - {"fullUrl", "resource"} or not UUID.match(e["fullUrl"]) or e["fullUrl"] != "urn:uuid:" + r["id"] or not ID.match(r["id"]):
            yield f"{where}: entry {e['fullUrl']}"
        if kind not in ALLOWED or set(r) - ALLOWED[kind] or REQUIRED[kind] - set(r):
            yield f"{where}: elements {sorted(r)}"
            continue
        for ref in [r.get("subject"), r.get("patient")] + r.get("focus", []):
            if ref is not None and (set(ref) != {"reference"} or ref["reference"] not in urls):
                yield f"{where}: reference {ref} is not in the bundle"
        for x in r.get("extension", []):
            if not x["url"].startswith("http://hl7.org/fhir/StructureDefinition/") or ("extension" in x) == any(k.startswith("value") for k in x):  # ext-1
                yield f"{where}: ext-1"
        if kind == "Observation":
            if r["status"] not in STATUS:
                yield f"{where}: status {r['status']}"
            if not DATETIME.match(r["effectiveDateTime"]):
                yield f"{where}: dateTime {r['effectiveDateTime']}"
            yield from codeable(r["code"], where)
            yield from quantity(r["valueQuantity"], where)
            coding = r["code"]["coding"][0]
            if coding["system"] != "http://loinc.org" or LOINC.get(coding["code"]) != r["valueQuantity"]["code"]:
                yield f"{where}: {coding} in {r['valueQuantity']['code']}"
            for c in r.get("component", []):
                yield from codeable(c["code"], where + ".component")  # component.code 1..1
                yield from quantity(c["valueQuantity"], where + ".component")
                if c["code"] == r["code"]:  # obs-7
                    yield f"{where}: obs-7"
        for k in ("bodySite", "method", "morphology", "location"):
            if k in r:
                yield from codeable(r[k], f"{where}.{k}")


def table(table_file, dictionary_file):
    rows = list(csv.reader(open(table_file, encoding="utf-8", newline=""), strict=True))
    words = list(csv.DictReader(open(dictionary_file, encoding="utf-8", newline=""), strict=True))
    known = {w["column"] for w in words}
    for c in rows[0]:
        if c not in known:
            yield f"column {c} is not in the dictionary"
    for i, row in enumerate(rows):
        if len(row) != len(rows[0]):
            yield f"row {i + 1} has {len(row)} fields, the heading {len(rows[0])}"


if __name__ == "__main__":
    what, files = sys.argv[1], sys.argv[2:]
    faults = list({"record": record, "fhir": fhir, "csv": table}[what](*files))
    print("\n".join(faults))
    sys.exit(1 if faults else 0)
