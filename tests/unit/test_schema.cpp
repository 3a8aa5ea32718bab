// The carried part of JSON Schema: each keyword, the words of its complaints, and that it refuses
// what it does not know.

#include <catch2/catch.hpp>
#include <cstdint>
#include <nlohmann/json.hpp>
#include <random>
#include <string>
#include <vector>

#include "support/seed.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/schema.hpp"

using nlohmann::json;
using voltkeel::Error;
using voltkeel::parse_json;
using voltkeel::SchemaViolation;
using voltkeel::validate;

namespace {

/// The messages of all violations.
std::vector<std::string> complaints(const json& document, const json& schema) {
    std::vector<std::string> messages;
    for (const SchemaViolation& violation : validate(document, schema)) {
        const std::string place =
            violation.pointer.empty() ? "(whole document)" : violation.pointer;
        REQUIRE(violation.message.compare(0, place.size() + 2, place + ": ") == 0);
        messages.push_back(violation.message);
    }
    return messages;
}

std::vector<std::string> complaints(const char* document, const json& schema) {
    return complaints(parse_json(document, "test"), schema);
}

bool fits(const char* document, const json& schema) {
    return complaints(document, schema).empty();
}

/// The message of the Error that `work` throws; empty when it throws none.
template <class Work>
std::string refusal(Work work) {
    try {
        work();
    } catch (const Error& error) {
        return error.what();
    }
    return "";
}

std::string schema_refusal(const json& schema) {
    return refusal([&] { (void)validate(json(1), schema); });
}

std::string parse_refusal(const std::string& text) {
    return refusal([&] { (void)parse_json(text, "cell.json"); });
}

/// A cell of the invented harbour workboat, as a schema file would ask for it.
json cell_schema() {
    return json::parse(R"({
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "$id": "https://example.org/cell",
        "$comment": "invented",
        "title": "Cell",
        "description": "A cell of the harbour workboat",
        "type": "object",
        "additionalProperties": false,
        "required": ["name", "capacity_Ah", "chemistry"],
        "properties": {
            "name": {"type": "string", "minLength": 1},
            "capacity_Ah": {"type": "number", "exclusiveMinimum": 0, "default": 40},
            "chemistry": {"enum": ["LFP", "NMC", "LTO"], "examples": ["LFP"]},
            "format": {"const": 1},
            "resistance_ohm": {"$ref": "#/$defs/table"},
            "limits": {"type": "object", "additionalProperties": {"type": ["number", "null"]}}
        },
        "$defs": {
            "table": {"type": "array", "minItems": 2, "maxItems": 4,
                      "items": {"type": "number", "minimum": 0, "maximum": 1}}
        }
    })");
}

}  // namespace

TEST_CASE("a document that fits has no violations") {
    CHECK(fits(R"({"name": "quay", "capacity_Ah": 40, "chemistry": "LFP", "format": 1.0,
                   "resistance_ohm": [0, 0.002, 1], "limits": {"charge_A": 20, "discharge_A": null}})",
               cell_schema()));
}

TEST_CASE("a violation names the field, the value and the bound") {
    const json schema = cell_schema();
    const auto complaint = [&](const char* field, const json& value) {
        json document = {{"name", "quay"}, {"capacity_Ah", 40}, {"chemistry", "LFP"}};
        document[field] = value;
        const std::vector<std::string> all = complaints(document, schema);
        REQUIRE(all.size() == 1);
        return all[0];
    };
    CHECK(complaint("capacity_Ah", -2.9) ==
          "/capacity_Ah: -2.9 is below the smallest allowed value, must be > 0");
    CHECK(complaint("capacity_Ah", "40") ==
          "/capacity_Ah: \"40\" has the wrong type, must be a number");
    CHECK(complaint("name", "") == "/name: \"\" has 0 characters, must have at least 1");
    CHECK(complaint("format", 2) == "/format: 2 is not the one allowed value, must be 1");
    CHECK(complaint("chemistry", "NCM") ==
          "/chemistry: \"NCM\" is not one of the allowed values, must be one of \"LFP\", \"NMC\", "
          "\"LTO\"; did you mean \"NMC\"?");
    CHECK(
        complaint("chemistry", 3) ==
        "/chemistry: 3 is not one of the allowed values, must be one of \"LFP\", \"NMC\", \"LTO\"");
    CHECK(complaint("resistance_ohm", {0.1}) ==
          "/resistance_ohm: has 1 element, must have at least 2");
    CHECK(complaint("resistance_ohm", {0, 0, 0, 0, 0}) ==
          "/resistance_ohm: has 5 elements, must have at most 4");
    CHECK(complaint("resistance_ohm", {0.1, -0.5}) ==
          "/resistance_ohm/1: -0.5 is below the smallest allowed value, must be >= 0");
    CHECK(complaint("resistance_ohm", {0.1, 1.5}) ==
          "/resistance_ohm/1: 1.5 is above the largest allowed value, must be <= 1");
    CHECK(complaint("resistance_ohm", json::object()) ==
          "/resistance_ohm: an object has the wrong type, must be an array");
    CHECK(complaint("limits", {{"charge_A", {1, 2}}}) ==
          "/limits/charge_A: an array of 2 has the wrong type, must be a number or null");
}

TEST_CASE("a field with a wrong unit suffix is caught and the right name offered") {
    const json schema = cell_schema();
    const auto unknown = [&](const char* field) {
        json document = {{"name", "quay"}, {"capacity_Ah", 40}, {"chemistry", "LFP"}};
        document[field] = 1;
        const std::vector<SchemaViolation> all = validate(document, schema);
        REQUIRE(all.size() == 1);
        CHECK(all[0].pointer == "/" + std::string(field));
        return all[0].message;
    };
    CHECK(unknown("capacity_ah") == "/capacity_ah: unknown field; did you mean \"capacity_Ah\"?");
    CHECK(unknown("capacity_mAh") == "/capacity_mAh: unknown field; did you mean \"capacity_Ah\"?");
    CHECK(unknown("limit") == "/limit: unknown field; did you mean \"limits\"?");
    CHECK(unknown("mass_kg") ==
          "/mass_kg: unknown field; the known fields are \"capacity_Ah\", \"chemistry\", "
          "\"format\", \"limits\", \"name\", \"resistance_ohm\"");
    // Two letters of difference are near; three are not; and no name is near a very short one.
    const json short_names = {{"properties", {{"abcdef", true}, {"x", true}}},
                              {"additionalProperties", false}};
    CHECK(complaints(R"({"abcdxy": 1})", short_names)[0] ==
          "/abcdxy: unknown field; did you mean \"abcdef\"?");
    CHECK(complaints(R"({"abcxyz": 1})", short_names)[0] ==
          "/abcxyz: unknown field; the known fields are \"abcdef\", \"x\"");
    CHECK(complaints(R"({"y": 1})", short_names)[0] ==
          "/y: unknown field; the known fields are \"abcdef\", \"x\"");
}

TEST_CASE("every missing and every bad field is listed at once") {
    CHECK(complaints(R"({"name": 1, "capacity_ah": 2, "limits": {"a": "b"}})", cell_schema()) ==
          std::vector<std::string>{
              "(whole document): field \"capacity_Ah\" is missing",
              "(whole document): field \"chemistry\" is missing",
              "/capacity_ah: unknown field; did you mean \"capacity_Ah\"?",
              "/limits/a: \"b\" has the wrong type, must be a number or null",
              "/name: 1 has the wrong type, must be a string",
          });
}

// JSON Schema draft 2020-12, Core 4.2.2 (equality of numbers and strings), 4.3.2 (boolean schemas),
// Validation 6.1.1 (a number with a zero fraction is an integer), 6.3.2 (lengths count characters);
// from memory, not re-read.
TEST_CASE("types and values compare as the standard says") {
    const auto of_type = [](const char* type) { return json{{"type", type}}; };
    CHECK(fits("1.0", of_type("integer")));
    CHECK(fits("-3e2", of_type("integer")));
    CHECK(fits("1e300", of_type("integer")));
    CHECK_FALSE(fits("1.5", of_type("integer")));
    CHECK(fits("7", of_type("number")));
    CHECK_FALSE(fits("true", of_type("integer")));
    CHECK_FALSE(fits("true", of_type("number")));
    CHECK(fits("null", of_type("null")));
    CHECK_FALSE(fits("0", of_type("boolean")));
    CHECK(fits("false", of_type("boolean")));
    CHECK(fits("{}", of_type("object")));
    CHECK_FALSE(fits("[]", of_type("object")));
    CHECK_FALSE(fits("\"1\"", of_type("number")));

    CHECK(fits("1.0", {{"const", 1}}));
    CHECK_FALSE(fits("true", {{"const", 1}}));
    CHECK_FALSE(fits("0", {{"const", false}}));
    CHECK(fits(R"({"a": [1, {"b": 2}]})", {{"const", {{"a", {1.0, {{"b", 2.0}}}}}}}));
    CHECK_FALSE(fits(R"({"a": [1, {"b": 3}]})", {{"const", {{"a", {1.0, {{"b", 2.0}}}}}}}));
    CHECK_FALSE(fits(R"({"a": 1, "c": 1})", {{"const", {{"a", 1}, {"b", 1}}}}));
    CHECK_FALSE(fits(R"({"a": 1})", {{"const", {{"a", 1}, {"b", 1}}}}));
    CHECK_FALSE(fits(R"({"a": 1, "b": 1})", {{"const", {{"a", 1}}}}));
    CHECK_FALSE(fits("[1]", {{"const", {1, 2}}}));
    CHECK_FALSE(fits("[1, 2]", {{"const", json::array({1})}}));
    CHECK_FALSE(fits("-1", {{"const", 18446744073709551615U}}));
    CHECK_FALSE(fits("18446744073709551615", {{"maximum", -1}}));
    CHECK_FALSE(fits("9007199254740993", {{"maximum", 9007199254740992}}));
    CHECK(fits("null", {{"enum", {1, nullptr}}}));
    CHECK_FALSE(fits("1", {{"enum", json::array()}}));

    CHECK(fits("\"\xC3\xA4\xE2\x82\xAC\"", {{"minLength", 2}}));
    CHECK_FALSE(fits("\"\xC3\xA4\xE2\x82\xAC\"", {{"minLength", 3}}));

    CHECK(fits("[1]", true));
    CHECK(complaints("[1]", false) ==
          std::vector<std::string>{"(whole document): an array of 1 is not allowed here"});
    // A keyword says nothing about values of other types.
    CHECK(fits("\"x\"", {{"minimum", 5}, {"minItems", 3}, {"required", {"a"}}, {"items", false}}));
    CHECK(fits("5", {{"minLength", 9}, {"properties", {{"a", false}}}}));
}

TEST_CASE("bounds are where they are said to be") {
    CHECK(fits("5", {{"minimum", 5}, {"maximum", 5}}));
    CHECK_FALSE(fits("5", {{"exclusiveMinimum", 5}}));
    CHECK_FALSE(fits("5", {{"exclusiveMaximum", 5}}));
    CHECK(complaints("7", {{"exclusiveMaximum", 6.5}}) ==
          std::vector<std::string>{
              "(whole document): 7 is above the largest allowed value, must be < 6.5"});
    CHECK(fits("[1,2]", {{"minItems", 2}, {"maxItems", 2}}));

    // Whole numbers around a bound, against the same comparison made on integers.
    std::mt19937_64 random(voltkeel_test::seed());
    for (int round = 0; round != 2000; ++round) {
        const auto value = static_cast<std::int64_t>(random() % 21) - 10;
        const auto bound = static_cast<std::int64_t>(random() % 21) - 10;
        CAPTURE(voltkeel_test::seed(), value, bound);
        const json document = random() % 2 == 0 ? json(value) : json(static_cast<double>(value));
        const json limit = random() % 2 == 0 ? json(bound) : json(static_cast<double>(bound));
        CHECK(validate(document, {{"minimum", limit}}).empty() == (value >= bound));
        CHECK(validate(document, {{"maximum", limit}}).empty() == (value <= bound));
        CHECK(validate(document, {{"exclusiveMinimum", limit}}).empty() == (value > bound));
        CHECK(validate(document, {{"exclusiveMaximum", limit}}).empty() == (value < bound));
        CHECK(validate(document, {{"const", limit}}).empty() == (value == bound));
    }
}

// The keys of the example document of RFC 6901, section 5 (from memory, not re-read).
TEST_CASE("pointers are escaped as RFC 6901 says") {
    const json document = {{"foo", {"bar", "baz"}},
                           {"", 0},
                           {"a/b", 1},
                           {"c%d", 2},
                           {"e^f", 3},
                           {"k\"l", 6},
                           {" ", 7},
                           {"m~n", 8}};
    std::vector<std::string> pointers;
    for (const SchemaViolation& violation :
         validate(document, {{"additionalProperties", {{"type", "null"}}}})) {
        pointers.push_back(violation.pointer);
        CHECK(document.contains(json::json_pointer(violation.pointer)));
    }
    CHECK(pointers ==
          std::vector<std::string>{"/", "/ ", "/a~1b", "/c%d", "/e^f", "/foo", "/k\"l", "/m~0n"});
}

TEST_CASE("references are followed, also around a circle of data") {
    const json tree = json::parse(R"({
        "$ref": "#/$defs/node",
        "$defs": {"node": {"type": "object", "required": ["soc"],
                           "properties": {"soc": {"$ref": "#/$defs/soc~1~0"},
                                          "next": {"$ref": "#/$defs/node"}}},
                  "soc/~": {"type": "number", "maximum": 1}}
    })");
    CHECK(fits(R"({"soc": 0.5, "next": {"soc": 1, "next": {"soc": 0}}})", tree));
    CHECK(complaints(R"({"soc": 0.5, "next": {"next": {"soc": 2}}})", tree) ==
          std::vector<std::string>{
              "/next: field \"soc\" is missing",
              "/next/next/soc: 2 is above the largest allowed value, must be <= 1",
          });
    // What stands beside a reference holds too.
    const json beside = {
        {"$ref", "#/$defs/a"}, {"minimum", 3}, {"$defs", {{"a", {{"maximum", 5}}}}}};
    CHECK(fits("4", beside));
    CHECK_FALSE(fits("2", beside));
    CHECK_FALSE(fits("6", beside));
    // A document nested without end must not take the stack with it.
    json deep = {{"soc", 1}};
    for (int i = 0; i != 500; ++i)
        deep = {{"soc", 1}, {"next", deep}};
    const std::vector<std::string> all = complaints(deep, tree);
    REQUIRE(all.size() == 2);  // "next" and "soc" of the first level that is too deep
    for (const std::string& message : all) {
        CHECK(message.find(": nested deeper than 128") != std::string::npos);
    }
}

TEST_CASE("a schema that would not be followed to the letter is refused") {
    CHECK(
        schema_refusal({{"properties", {{"a/b", {{"pattern", "x"}}}}}}) ==
        "schema /properties/a~1b: keyword \"pattern\" is not in the supported part of JSON Schema");
    for (const char* const keyword :
         {"minProperties", "oneOf", "allOf", "not", "if", "uniqueItems", "prefixItems", "maxLength",
          "multipleOf", "format", "definitions", "$anchor", "Type", ""}) {
        CAPTURE(keyword);
        CHECK(schema_refusal({{keyword, 1}}).find("schema (top): keyword ") == 0);
        CHECK_FALSE(schema_refusal({{"items", {{keyword, 1}}}}).empty());
        CHECK_FALSE(schema_refusal({{"$defs", {{"unused", {{keyword, 1}}}}}}).empty());
    }
    CHECK(schema_refusal({{"minimum", "0"}}) == "schema /minimum: must be a number");
    CHECK(schema_refusal({{"minItems", -1}}) == "schema /minItems: must be a whole number >= 0");
    CHECK(schema_refusal({{"minLength", 1.5}}) == "schema /minLength: must be a whole number >= 0");
    CHECK(schema_refusal({{"required", "a"}}) == "schema /required: must be an array of strings");
    CHECK(schema_refusal({{"required", {1}}}) == "schema /required: must be an array of strings");
    CHECK(schema_refusal({{"enum", 1}}) == "schema /enum: must be an array");
    CHECK(schema_refusal({{"title", 1}}) == "schema /title: must be a string");
    CHECK(schema_refusal({{"properties", {1}}}) ==
          "schema /properties: must be an object of schemas");
    CHECK(schema_refusal({{"items", 3}}) ==
          "schema /items: a schema must be an object, true or false");
    CHECK(schema_refusal({{"items", json::array({true})}}) ==
          "schema /items: a schema must be an object, true or false");
    const std::string types =
        "schema /type: must be null, boolean, object, array, number, integer, string, or a list of "
        "them";
    CHECK(schema_refusal({{"type", "float"}}) == types);
    CHECK(schema_refusal({{"type", {"number", "float"}}}) == types);
    CHECK(schema_refusal({{"type", json::array()}}) == types);
    CHECK(schema_refusal({{"items", {{"$defs", json::object()}}}}) ==
          "schema /items: \"$defs\" is supported at the top of a schema only");
    CHECK(schema_refusal({{"items", {{"$id", "x"}}}}) ==
          "schema /items: \"$id\" is supported at the top of a schema only");
    CHECK(schema_refusal({{"$schema", "http://json-schema.org/draft-07/schema#"}}) ==
          "schema /$schema: only draft 2020-12 is supported");
    for (const char* const reference :
         {"#/$defs/b", "#/properties/a", "#", "other.json", "#/$defs/", "#/$defs/a/items",
          "#/$defs/%61", "#/$defs/a~2"}) {
        CHECK(schema_refusal({{"$ref", reference}, {"$defs", {{"a", true}}}}) ==
              "schema /$ref: \"" + std::string(reference) +
                  "\" leads nowhere; only \"#/$defs/NAME\" is supported");
    }
    CHECK(schema_refusal({{"$ref", "#/$defs/a"}}).find("leads nowhere") != std::string::npos);
    CHECK(schema_refusal(
              {{"$defs", {{"a", {{"$ref", "#/$defs/b"}}}, {"b", {{"$ref", "#/$defs/a"}}}}}})
              .find("refers only to itself") != std::string::npos);
    json deep = true;
    for (int i = 0; i != 500; ++i)
        deep = {{"items", deep}};
    CHECK(schema_refusal(deep).find("nested deeper than 128") != std::string::npos);
}

TEST_CASE("text that is no JSON is refused with line and column") {
    CHECK(parse_refusal("").find("cell.json:1:1: ") == 0);
    CHECK(parse_refusal("{\n  \"a\": 1,\n}").find("cell.json:3:1: ") == 0);
    CHECK(parse_refusal("[1,\n2,]").find("cell.json:2:3: ") == 0);
    CHECK(parse_refusal("{\"\xC3\xA9\":1, x}").find("cell.json:1:9: ") == 0);
    CHECK(parse_refusal("[1] 2").find("cell.json:1:5: ") == 0);
    CHECK(parse_refusal("{\"a\": nan}").find("cell.json:1:8: ") == 0);
    CHECK(parse_refusal("[1, // one\n2]").find("cell.json:1:") == 0);
    CHECK(parse_refusal("{\"a\":\n 1e999}") ==
          "cell.json:2:2: the number is beyond the range of a double");
    CHECK(parse_refusal("-1e999") == "cell.json:1:1: the number is beyond the range of a double");
    const std::string latin_1 = parse_refusal(
        "[\"20 \xB0"
        "C\"]");
    CHECK(latin_1.find("cell.json:1:6: ") == 0);
    CHECK(latin_1.find('\xB0') == std::string::npos);  // a message is UTF-8, whatever the file is
    CHECK(parse_json("\xEF\xBB\xBF{\"a\": [1, 2.5, null, \"x\"]}", "cell.json") ==
          json({{"a", {1, 2.5, nullptr, "x"}}}));
    CHECK(parse_json(std::string(128, '[') + std::string(128, ']'), "").is_array());
    CHECK(parse_refusal(std::string(128, '[') + "\n{") == "cell.json:2:1: nested deeper than 128");
    CHECK(parse_refusal(std::string(1000000, '[')) == "cell.json:1:129: nested deeper than 128");
}

TEST_CASE("a key that stands twice is refused, not overwritten") {
    CHECK(parse_refusal("{\"a\": 1,\n  \"a\": 2}") ==
          "cell.json:2:3: field \"a\" stands twice in the same object");
    CHECK(parse_refusal(R"({"x": [{"b": 1, "c": {"b": 1}, "b": 2}]})") ==
          "cell.json:1:32: field \"b\" stands twice in the same object");
    // The same key, written with an escape; and a key with quotes and backslashes at its end.
    CHECK(parse_refusal(R"({"a": 1, "\u0061": 2})") ==
          "cell.json:1:10: field \"a\" stands twice in the same object");
    CHECK(parse_refusal(R"({"q\"\\": 1, "q\"\\": 2})") ==
          "cell.json:1:14: field \"q\\\"\\\\\" stands twice in the same object");
    CHECK(parse_json(R"([{"a": {"a": 1}}, {"a": 2}])", "").size() == 2);
    CHECK(parse_json(R"({"x": {"a": 1}, "a": 2})", "").size() == 2);
}

TEST_CASE("damaged JSON gives an error or a document, never anything else") {
    std::mt19937_64 random(voltkeel_test::seed());
    const std::string good =
        R"({"name": "quay", "capacity_Ah": 40.5e0, "chemistry": "LFP", "limits": {"a\"\\": [1, -2], "b": null}})";
    const std::string bytes = "{}[]\",:\\ \n0129-+.eEtrufalsn\xC3\xFF" + std::string(1, '\0');
    const json schema = cell_schema();
    std::size_t documents = 0;
    std::size_t errors = 0;
    for (int round = 0; round != 20000; ++round) {
        std::string text = good;
        for (std::uint64_t edits = 1 + random() % 3; edits != 0 && !text.empty(); --edits) {
            const std::size_t place = random() % text.size();
            const char byte = bytes[random() % bytes.size()];
            switch (random() % 4) {
                case 0:
                    text[place] = byte;
                    break;
                case 1:
                    text.insert(place, 1, byte);
                    break;
                case 2:
                    text.erase(place, 1 + random() % 3);
                    break;
                default:
                    text.insert(place, text.substr(place, 1 + random() % 12));
                    break;
            }
        }
        CAPTURE(voltkeel_test::seed(), round, text);
        try {
            const json document = parse_json(text, "cell.json");
            ++documents;
            REQUIRE(parse_json(document.dump(), "again") == document);
            for (const SchemaViolation& violation : validate(document, schema)) {
                REQUIRE(document.contains(json::json_pointer(violation.pointer)));
            }
        } catch (const Error& error) {
            ++errors;
            REQUIRE(std::string(error.what()).compare(0, 10, "cell.json:") == 0);
        }
    }
    CHECK(documents > 1000);
    CHECK(errors > 1000);
}
