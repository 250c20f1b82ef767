#pragma once
#include <string>

#include "uroko/casebook/book.h"

namespace uroko::report {

/// The whole record as JSON (assets/schema-json/case-book.schema.json); photos by hash only, numbers in the units of their keys.
std::string book_json(const casebook::Book& book);

/// Every traced margin, one row a measure's latest revision: fish, wound, date, photo_sha256, area_mm2, margin_from, wkt_px (photo pixels), wkt_mm.
/// RFC 4180 with OGC Simple Features WKT.
std::string outlines_csv(const casebook::Book& book);

/// What each column of the book's CSV and of `outlines_csv` means: file, column, unit, meaning.
std::string data_dictionary_csv();

/// A one-way HL7 FHIR R4 (4.0.1) Bundle of type collection: a Patient a fish, a BodyStructure a wound, an Observation a quantity and look
/// (LOINC 89260-4 area, 39126-8 length, 39125-0 width; UCUM). The 95 % interval stands as components. Identifiers are derived from the
/// record, so that the same record gives the same bundle.
std::string fhir_bundle(const casebook::Book& book);

}  // namespace uroko::report
