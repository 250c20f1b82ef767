#!/usr/bin/env python3
"""Reads exported files with Python's own readers and prints what disagrees; nothing when all is well.

read_back.py record RECORD.json SCHEMA.json   JSON Schema (draft 2020-12), python3-jsonschema
read_back.py fhir BUNDLE.json                 rules of HL7 FHIR R4 (4.0.1) that concern what the bundle holds: http://hl7.org/fhir/R4/
read_back.py csv TABLE.csv DICTIONARY.csv     RFC 4180 through the csv module; every column is in the dictionary
read_back.py agree RECORD.json BUNDLE.json TABLE.csv OUTLINES.csv   the same measures with the same numbers in all four
read_back.py no-gps PHOTO...                  no GPS directory in the Exif data (CIPA DC-008, tag 0x8825), no position in XMP
read_back.py put-gps IN.jpg OUT.jpg           the photo with such a directory (for the tests)
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
    kinds = {e.get("fullUrl"): e["resource"].get("resourceType") for e in bundle.get("entry", [])}
    for e in bundle.get("entry", []):
        # bdl-1 to bdl-4: total, search, request and response belong to other types of bundle; bdl-8: no version in fullUrl
        if set(e) & {"search", "request", "response"} or "/_history/" in e.get("fullUrl", ""):
            yield f"bdl: entry {sorted(e)}"
        r = e["resource"]
        kind, where = r.get("resourceType"), f"{r.get('resourceType')}/{r.get('id')}"
        if set(e) - {"fullUrl", "resource"} or not UUID.match(e["fullUrl"]) or e["fullUrl"] != "urn:uuid:" + r["id"] or not ID.match(r["id"]):
            yield f"{where}: entry {e['fullUrl']}"
        if kind not in ALLOWED or set(r) - ALLOWED[kind] or REQUIRED[kind] - set(r):
            yield f"{where}: elements {sorted(r)}"
            continue
        # Cardinalities: subject and patient 0..1 (BodyStructure.patient 1..1), focus 0..*; the types they may point to.
        for ref, target in [(r.get("subject"), "Patient"), (r.get("patient"), "Patient")] + [(f, "BodyStructure") for f in r.get("focus", [])]:
            if ref is None:
                continue
            if not isinstance(ref, dict) or set(ref) != {"reference"} or ref["reference"] not in urls:
                yield f"{where}: reference {ref} is not in the bundle"
            elif kinds[ref["reference"]] != target:
                yield f"{where}: reference to a {kinds[ref['reference']]}, not a {target}"
        for k in ("name", "extension", "focus", "component", "note"):  # 0..*: always a list
            if k in r and not isinstance(r[k], list):
                yield f"{where}: {k} is not a list"
        for k in ("status", "code", "effectiveDateTime", "valueQuantity", "bodySite", "method", "morphology", "location", "description"):  # at most one
            if isinstance(r.get(k), list):
                yield f"{where}: {k} is a list"
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
            if not {"subject", "effectiveDateTime", "valueQuantity"} <= set(r):
                yield f"{where}: without subject, date or value"
                continue
            if not 0 <= r["valueQuantity"]["value"] < 1e6 or r["effectiveDateTime"] > "2200":
                yield f"{where}: {r['valueQuantity']['value']} on {r['effectiveDateTime']}"
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


def agree(record_file, bundle_file, table_file, outlines_file):
    measures = {}  # of the record, by photo
    for f in json.load(open(record_file, encoding="utf-8"))["fish"]:
        for w in f["wounds"]:
            for v in w["visits"]:
                for p in v["photos"]:
                    if p["measure"]:
                        m = p["measure"]
                        measures[p["sha256"]] = (v["date"][:10], m["area_mm2"]["value"], m["area_mm2"]["low95"], m["area_mm2"]["high95"], m["length_mm"], m["width_mm"])
    said = {code: [] for code in LOINC}
    for e in json.load(open(bundle_file, encoding="utf-8")).get("entry", []):
        r = e["resource"]
        if r["resourceType"] == "Observation":
            code = r["code"]["coding"][0]["code"]
            ends = [c["valueQuantity"]["value"] for c in r.get("component", [])]
            said[code].append((r["effectiveDateTime"][:10], r["valueQuantity"]["value"], *ends))
    for code, wanted in (("89260-4", [m[:4] for m in measures.values()]), ("39126-8", [(m[0], m[4]) for m in measures.values()]),
                         ("39125-0", [(m[0], m[5]) for m in measures.values()])):
        if sorted(said[code]) != sorted(wanted):
            yield f"{code}: the bundle says {said[code]}, the record {wanted}"
    rows = {r["photo_sha256"]: r for r in csv.DictReader(open(table_file, encoding="utf-8", newline=""), strict=True) if r.get("area_mm2")}
    outlines = {r["photo_sha256"]: r for r in csv.DictReader(open(outlines_file, encoding="utf-8", newline=""), strict=True)}
    if set(rows) != set(measures) or set(outlines) != set(measures):
        yield "not the same photos"
        return
    for sha, m in measures.items():
        r, o = rows[sha], outlines[sha]
        if r["date"][:10] != m[0] or o["date"][:10] != m[0]:
            yield f"{sha}: dates {r['date']}, {o['date']}, {m[0]}"
        for text, value in ((r["area_mm2"], m[1]), (r["low95_mm2"], m[2]), (r["high95_mm2"], m[3]), (r["length_mm"], m[4]), (r["width_mm"], m[5]), (o["area_mm2"], m[1])):
            if abs(float(text) - value) > 1e-9 * abs(value):
                yield f"{sha}: {text} and {value}"
    if not measures:
        yield "no measure"


def exif_of(data):
    """The TIFF part of each Exif segment of a JPEG."""
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF and data[at + 1] != 0xDA:
        size = int.from_bytes(data[at + 2:at + 4], "big")
        body = data[at + 4:at + 2 + size]
        if data[at + 1] == 0xE1 and body.startswith(b"Exif\0\0"):
            yield body[6:]
        at += 2 + size


def no_gps(*files):
    for file in files:
        data = open(file, "rb").read()
        if re.search(rb"exif:GPS|GPSLatitude", data):
            yield f"{file}: a position in XMP"
        for tiff in exif_of(data):
            order = "little" if tiff[:2] == b"II" else "big"
            at = int.from_bytes(tiff[4:8], order)
            for i in range(int.from_bytes(tiff[at:at + 2], order)):
                if int.from_bytes(tiff[at + 2 + 12 * i:at + 4 + 12 * i], order) == 0x8825:
                    yield f"{file}: a GPS directory"


def put_gps(source, target):
    data = open(source, "rb").read()
    out, at = data[:2], 2
    for_others = b""
    while data[at] == 0xFF and data[at + 1] != 0xDA:  # without an Exif segment of its own
        size = int.from_bytes(data[at + 2:at + 4], "big")
        if not (data[at + 1] == 0xE1 and data[at + 4:at + 10] == b"Exif\0\0"):
            for_others += data[at:at + 2 + size]
        at += 2 + size
    entry = lambda tag, kind, count, value: tag.to_bytes(2, "big") + kind.to_bytes(2, "big") + count.to_bytes(4, "big") + value
    ifd0 = (1).to_bytes(2, "big") + entry(0x8825, 4, 1, (26).to_bytes(4, "big")) + bytes(4)
    gps = (2).to_bytes(2, "big") + entry(1, 2, 2, b"N\0\0\0") + entry(2, 5, 3, (56).to_bytes(4, "big")) + bytes(4)
    latitude = b"".join(n.to_bytes(4, "big") + d.to_bytes(4, "big") for n, d in ((35, 1), (41, 1), (22, 1)))
    exif = b"Exif\0\0MM\0*" + (8).to_bytes(4, "big") + ifd0 + gps + latitude
    out += b"\xff\xe1" + (len(exif) + 2).to_bytes(2, "big") + exif + for_others + data[at:]
    open(target, "wb").write(out)
    return []


if __name__ == "__main__":
    what, files = sys.argv[1], sys.argv[2:]
    faults = list({"record": record, "fhir": fhir, "csv": table, "agree": agree, "no-gps": no_gps, "put-gps": put_gps}[what](*files))
    print("\n".join(faults))
    sys.exit(1 if faults else 0)
