#pragma once

/// \file
/// The JSON schemas of data/schema, compiled in so that reading a file needs no installed data. The
/// build writes the definitions: `data/schema/cell.schema.json` becomes `schema_text::cell`. It
/// stops at a schema that is not named here.

namespace voltkeel::schema_text {

/// Schema of a cell description, JSON text.
extern const char* const cell;

/// Schema of the age of a cell, JSON text.
extern const char* const cell_age;

/// Schema of a charge plan, JSON text.
extern const char* const charge_plan;

/// Schema of a log mapping, JSON text.
extern const char* const log_mapping;

/// Schema of a set of tests, JSON text.
extern const char* const test_set;

/// Schema of a pack description, JSON text.
extern const char* const pack;

/// Schema of a cooling plant, JSON text.
extern const char* const cooling;

/// Schema of a road vehicle or a boat, JSON text.
extern const char* const vehicle;

/// Schema of a charging supply, JSON text.
extern const char* const supply;

/// Schema of a learned taper, JSON text.
extern const char* const taper;

/// Schema of the parts beside the cells, JSON text.
extern const char* const pack_parts;

/// Schema of a pack description with strings, JSON text.
extern const char* const pack_strings;

}  // namespace voltkeel::schema_text
