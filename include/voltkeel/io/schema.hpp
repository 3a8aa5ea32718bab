#pragma once
/// \file
/// JSON text in, and its check against a schema. No JSON Schema library for C++ is packaged where
/// Voltkeel is built, so it carries the part of JSON Schema (draft 2020-12) that its own schema
/// files use, and refuses all others.

#include <nlohmann/json_fwd.hpp>
#include <string>
#include <string_view>
#include <vector>

namespace voltkeel {

/// One place where a document does not fit its schema.
struct SchemaViolation {
    /// JSON pointer (RFC 6901) to the value at fault; to the object where a field is missing from
    /// it. Empty for the whole document.
    std::string pointer;

    /// The pointer, the value and the bound, for people:
    /// "/capacity_Ah: -2.9 is below the smallest allowed value, must be > 0".
    std::string message;
};

/// Checks a document against a schema.
///
/// Keywords: type, enum, const, properties, required, additionalProperties, items, minItems,
/// maxItems, minimum, maximum, exclusiveMinimum, exclusiveMaximum, minLength, $ref to
/// "#/$defs/NAME", $defs (at the top only). Without effect: title, description, default, examples,
/// $comment, and at the top $schema, $id.
///
/// A field that additionalProperties forbids is one violation each, with the nearest known name if
/// there is one that differs by at most two letters. A value of the wrong type is one violation,
/// whatever else the schema asks of it. \param document what to check \param schema the schema
/// \return every violation, in the order of the document's fields; empty when the document fits
/// \throws Error when the schema uses another keyword, gives a keyword a value it cannot have,
/// refers to nothing or only
///   to itself; the whole schema is checked, also where the document does not reach
[[nodiscard]] std::vector<SchemaViolation> validate(const nlohmann::json& document,
                                                    const nlohmann::json& schema);

/// Parses JSON text (RFC 8259, UTF-8).
/// \param text the text of the whole document
/// \param source the file it came from, for messages
/// \return the document
/// \throws Error "FILE:LINE:COLUMN: ..." when it is no JSON, has an object with the same key twice,
/// a number too large
///   for a double, or arrays and objects nested deeper than 128. Lines and columns (of characters)
///   count from 1.
[[nodiscard]] nlohmann::json parse_json(std::string_view text, const std::string& source);

}  // namespace voltkeel
