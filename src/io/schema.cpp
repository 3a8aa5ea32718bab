#include "voltkeel/io/schema.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <iterator>
#include <nlohmann/json.hpp>
#include <numeric>
#include <optional>
#include <set>
#include <unordered_map>
#include <utility>

#include "voltkeel/error.hpp"

namespace voltkeel {
namespace {

using nlohmann::json;

/// Deepest nesting of a document or a schema: keeps recursion off the end of the stack.
constexpr std::size_t deepest = 128;

std::string quoted(const std::string& text) {
    return json(text).dump(-1, ' ', false, json::error_handler_t::replace);
}

/// `pointer` with one more step, escaped as RFC 6901 section 3 says.
std::string below(const std::string& pointer, const std::string& key) {
    return pointer + (json::json_pointer() / key).to_string();
}

std::string below(const std::string& pointer, std::size_t index) {
    return pointer + "/" + std::to_string(index);
}

/// Number of characters of a UTF-8 text: of the bytes that are not later bytes (10xxxxxx) of one.
std::size_t character_count(std::string_view text) {
    return static_cast<std::size_t>(std::count_if(text.begin(), text.end(), [](char c) {
        return (static_cast<unsigned char>(c) & 0xC0U) != 0x80U;
    }));
}

std::string counted(std::size_t count, const char* noun) {
    return std::to_string(count) + " " + noun + (count == 1 ? "" : "s");
}

/// A number that compares exactly with any other JSON number where long double has 64 bits or more.
long double number_of(const json& value) {
    if (value.is_number_unsigned()) return static_cast<long double>(value.get<std::uint64_t>());
    if (value.is_number_integer()) return static_cast<long double>(value.get<std::int64_t>());
    return static_cast<long double>(value.get<double>());
}

bool is_whole_number(const json& value) {
    if (value.is_number_integer()) return true;
    return value.is_number() && std::trunc(number_of(value)) == number_of(value) &&
           std::isfinite(number_of(value));
}

/// Equality as JSON Schema means it: 1 and 1.0 are the same, 1 and true are not. (The library's own
/// operator compares -1 and 2^64 - 1 as equal.)
bool same_value(const json& left, const json& right) {
    if (left.is_number() && right.is_number()) return number_of(left) == number_of(right);
    if (left.type() != right.type() || left.size() != right.size()) return false;
    if (left.is_array()) {
        return std::equal(left.begin(), left.end(), right.begin(), same_value);
    }
    if (left.is_object()) {
        return std::all_of(left.items().begin(), left.items().end(), [&](const auto& field) {
            const auto other = right.find(field.key());
            return other != right.end() && same_value(field.value(), *other);
        });
    }
    return left == right;
}

/// Fewest insertions, removals and replacements of one character that turn one text into the other
/// (Levenshtein 1966).
std::size_t edit_distance(const std::string& left, const std::string& right) {
    std::vector<std::size_t> row(right.size() + 1);
    std::iota(row.begin(), row.end(), std::size_t{0});
    for (std::size_t i = 0; i != left.size(); ++i) {
        std::size_t diagonal = std::exchange(row[0], i + 1);
        for (std::size_t j = 0; j != right.size(); ++j) {
            const std::size_t replaced = diagonal + (left[i] == right[j] ? 0 : 1);
            diagonal = row[j + 1];
            row[j + 1] = std::min({replaced, row[j] + 1, row[j + 1] + 1});
        }
    }
    return row.back();
}

/// "; did you mean ...?", or nothing when no known name is near.
std::string suggestion(const std::string& name, const std::vector<std::string>& known) {
    const std::string* nearest = nullptr;
    std::size_t least = 3;
    for (const std::string& candidate : known) {
        const std::size_t distance = edit_distance(name, candidate);
        // Two letters of difference between two-letter names say nothing.
        if (distance >= least || distance >= std::max(name.size(), candidate.size())) continue;
        least = distance;
        nearest = &candidate;
    }
    return nearest == nullptr ? "" : "; did you mean " + quoted(*nearest) + "?";
}

// ---------------------------------------------------------------- the schema itself

/// What the value of a keyword must be.
enum class Shape {
    anything,
    text,
    list,
    type,
    schema,
    schema_map,
    names,
    count,
    number,
    reference
};

const std::unordered_map<std::string, Shape>& keywords() {
    static const std::unordered_map<std::string, Shape> table = {
        {"$schema", Shape::text},
        {"$id", Shape::text},
        {"$comment", Shape::text},
        {"title", Shape::text},
        {"description", Shape::text},
        {"default", Shape::anything},
        {"examples", Shape::list},
        {"$defs", Shape::schema_map},
        {"$ref", Shape::reference},
        {"type", Shape::type},
        {"enum", Shape::list},
        {"const", Shape::anything},
        {"properties", Shape::schema_map},
        {"required", Shape::names},
        {"additionalProperties", Shape::schema},
        {"items", Shape::schema},
        {"minItems", Shape::count},
        {"maxItems", Shape::count},
        {"minimum", Shape::number},
        {"maximum", Shape::number},
        {"exclusiveMinimum", Shape::number},
        {"exclusiveMaximum", Shape::number},
        {"minLength", Shape::count},
    };
    return table;
}

constexpr std::string_view reference_start = "#/$defs/";

/// The name in "#/$defs/NAME" without its escapes, or nothing when the reference is of another
/// kind.
std::optional<std::string> referred_name(const std::string& reference) {
    if (reference.compare(0, reference_start.size(), reference_start) != 0) return std::nullopt;
    if (reference.find('%') != std::string::npos) return std::nullopt;
    const std::string rest = reference.substr(reference_start.size());
    if (rest.find('/') != std::string::npos) return std::nullopt;
    try {
        return json::json_pointer("/" + rest).back();
    } catch (const json::exception&) {  // "~" without 0 or 1
        return std::nullopt;
    }
}

/// The schema a `$ref` leads to, or nullptr.
const json* referred_schema(const json& root, const std::string& reference) {
    const auto name = referred_name(reference);
    const auto definitions = root.find("$defs");
    if (!name || definitions == root.end()) return nullptr;
    const auto found = definitions->find(*name);
    return found == definitions->end() ? nullptr : &*found;
}

/// Refuses a schema that `validate` would not follow to the letter.
class SchemaCheck {
  public:
    explicit SchemaCheck(const json& root) : root_(root) {}

    void check(const json& schema, const std::string& pointer, std::size_t depth) const {
        if (depth > deepest) fail(pointer, "nested deeper than " + std::to_string(deepest));
        if (schema.is_boolean()) return;
        if (!schema.is_object()) fail(pointer, "a schema must be an object, true or false");
        for (const auto& keyword : schema.items()) {
            const auto known = keywords().find(keyword.key());
            if (known == keywords().end()) {
                fail(pointer, "keyword " + quoted(keyword.key()) +
                                  " is not in the supported part of JSON Schema");
            }
            const bool top_only =
                keyword.key() == "$defs" || keyword.key() == "$id" || keyword.key() == "$schema";
            if (top_only && depth != 0) {
                fail(pointer, quoted(keyword.key()) + " is supported at the top of a schema only");
            }
            check_keyword(known->second, keyword.value(), below(pointer, keyword.key()), depth);
        }
        const auto dialect = schema.find("$schema");
        if (dialect != schema.end() && *dialect != "https://json-schema.org/draft/2020-12/schema") {
            fail(below(pointer, "$schema"), "only draft 2020-12 is supported");
        }
    }

  private:
    [[noreturn]] static void fail(const std::string& pointer, const std::string& what) {
        throw Error("schema " + (pointer.empty() ? std::string("(top)") : pointer) + ": " + what);
    }

    static void need(bool good, const std::string& pointer, const char* what) {
        if (!good) fail(pointer, std::string("must be ") + what);
    }

    void check_keyword(Shape shape, const json& value, const std::string& pointer,
                       std::size_t depth) const {
        const auto is_text = [](const json& element) { return element.is_string(); };
        switch (shape) {
            case Shape::anything:
                return;
            case Shape::text:
                return need(value.is_string(), pointer, "a string");
            case Shape::list:
                return need(value.is_array(), pointer, "an array");
            case Shape::number:
                return need(value.is_number(), pointer, "a number");
            case Shape::schema:
                return check(value, pointer, depth + 1);
            case Shape::names:
                return need(value.is_array() && std::all_of(value.begin(), value.end(), is_text),
                            pointer, "an array of strings");
            case Shape::count:
                return need(is_whole_number(value) && number_of(value) >= 0, pointer,
                            "a whole number >= 0");
            case Shape::type:
                return check_type(value, pointer);
            case Shape::schema_map:
                need(value.is_object(), pointer, "an object of schemas");
                for (const auto& entry : value.items()) {
                    check(entry.value(), below(pointer, entry.key()), depth + 1);
                }
                return;
            case Shape::reference:
                return check_reference(value, pointer);
        }
    }

    static void check_type(const json& value, const std::string& pointer) {
        static const std::set<std::string> types = {"null",   "boolean", "object", "array",
                                                    "number", "integer", "string"};
        const auto is_type = [](const json& element) {
            return element.is_string() && types.count(element.get<std::string>()) != 0;
        };
        const bool good = value.is_array()
                              ? !value.empty() && std::all_of(value.begin(), value.end(), is_type)
                              : is_type(value);
        need(good, pointer,
             "null, boolean, object, array, number, integer, string, or a list of them");
    }

    void check_reference(const json& value, const std::string& pointer) const {
        need(value.is_string(), pointer, "a string");
        std::set<const json*> passed;
        for (const json* at = &value; at != nullptr;) {
            const json* const target = referred_schema(root_, at->get<std::string>());
            if (target == nullptr) {
                fail(pointer, quoted(at->get<std::string>()) +
                                  " leads nowhere; only \"#/$defs/NAME\" is supported");
            }
            if (!passed.insert(target).second) fail(pointer, "refers only to itself");
            // Definitions are checked elsewhere; here only a chain of references matters.
            const auto next = target->is_object() ? target->find("$ref") : target->end();
            at = next != target->end() && next->is_string() ? &*next : nullptr;
        }
    }

    const json& root_;
};

// ---------------------------------------------------------------- the document

/// A value as a message can show it.
std::string shown(const json& value) {
    constexpr std::size_t longest = 60;
    if (value.is_array()) return "an array of " + std::to_string(value.size());
    if (value.is_object()) return "an object";
    const std::string text = value.dump(-1, ' ', true, json::error_handler_t::replace);
    return text.size() <= longest ? text : text.substr(0, longest) + "...";
}

bool has_type(const json& value, const std::string& type) {
    if (type == "integer") return is_whole_number(value);
    return value.type_name() == type;
}

std::string with_article(const std::string& type) {
    if (type == "null") return type;
    const bool vowel = type == "object" || type == "array" || type == "integer";
    return (vowel ? "an " : "a ") + type;
}

class Validator {
  public:
    explicit Validator(const json& root) : root_(root) {}

    void check(const json& value, const json& schema, const std::string& pointer,
               std::size_t depth) {
        if (depth > deepest) {
            return report(pointer, "nested deeper than " + std::to_string(deepest));
        }
        if (schema.is_boolean()) {
            if (!schema.get<bool>()) report(pointer, shown(value) + " is not allowed here");
            return;
        }
        const auto reference = schema.find("$ref");
        if (reference != schema.end()) {
            // SchemaCheck has made sure that references lead on to a schema in the end.
            check(value, *referred_schema(root_, reference->get<std::string>()), pointer, depth);
        }
        if (!check_type(value, schema, pointer)) return;
        check_choice(value, schema, pointer);
        if (value.is_number()) check_number(value, schema, pointer);
        if (value.is_string()) check_text(value, schema, pointer);
        if (value.is_array()) check_array(value, schema, pointer, depth);
        if (value.is_object()) check_object(value, schema, pointer, depth);
    }

    std::vector<SchemaViolation> take() { return std::move(violations_); }

  private:
    void report(const std::string& pointer, const std::string& what) {
        violations_.push_back(
            {pointer, (pointer.empty() ? std::string("(whole document)") : pointer) + ": " + what});
    }

    bool check_type(const json& value, const json& schema, const std::string& pointer) {
        const auto type = schema.find("type");
        if (type == schema.end()) return true;
        const json types = type->is_array() ? *type : json::array({*type});
        std::string allowed;
        for (const json& name : types) {
            if (has_type(value, name.get<std::string>())) return true;
            allowed += (allowed.empty() ? "" : " or ") + with_article(name.get<std::string>());
        }
        report(pointer, shown(value) + " has the wrong type, must be " + allowed);
        return false;
    }

    void check_choice(const json& value, const json& schema, const std::string& pointer) {
        const auto constant = schema.find("const");
        if (constant != schema.end() && !same_value(value, *constant)) {
            report(pointer,
                   shown(value) + " is not the one allowed value, must be " + shown(*constant));
        }
        const auto choices = schema.find("enum");
        if (choices == schema.end()) return;
        std::string allowed;
        std::vector<std::string> names;
        for (const json& choice : *choices) {
            if (same_value(value, choice)) return;
            allowed += (allowed.empty() ? "" : ", ") + shown(choice);
            if (choice.is_string()) names.push_back(choice.get<std::string>());
        }
        report(pointer, shown(value) + " is not one of the allowed values, must be one of " +
                            allowed +
                            (value.is_string() ? suggestion(value.get<std::string>(), names) : ""));
    }

    void check_number(const json& value, const json& schema, const std::string& pointer) {
        const long double number = number_of(value);
        const auto check_bound = [&](const char* keyword, auto allows, const char* side,
                                     const char* relation) {
            const auto bound = schema.find(keyword);
            if (bound == schema.end() || allows(number, number_of(*bound))) return;
            report(pointer, shown(value) + " is " + side + " allowed value, must be " + relation +
                                " " + shown(*bound));
        };
        check_bound("minimum", std::greater_equal<>(), "below the smallest", ">=");
        check_bound("exclusiveMinimum", std::greater<>(), "below the smallest", ">");
        check_bound("maximum", std::less_equal<>(), "above the largest", "<=");
        check_bound("exclusiveMaximum", std::less<>(), "above the largest", "<");
    }

    void check_text(const json& value, const json& schema, const std::string& pointer) {
        const auto bound = schema.find("minLength");
        if (bound == schema.end()) return;
        const std::size_t length = character_count(value.get_ref<const std::string&>());
        if (static_cast<long double>(length) >= number_of(*bound)) return;
        report(pointer, shown(value) + " has " + counted(length, "character") +
                            ", must have at least " + shown(*bound));
    }

    void check_array(const json& value, const json& schema, const std::string& pointer,
                     std::size_t depth) {
        const auto size = static_cast<long double>(value.size());
        const auto least = schema.find("minItems");
        if (least != schema.end() && size < number_of(*least)) {
            report(pointer, "has " + counted(value.size(), "element") + ", must have at least " +
                                shown(*least));
        }
        const auto most = schema.find("maxItems");
        if (most != schema.end() && size > number_of(*most)) {
            report(pointer, "has " + counted(value.size(), "element") + ", must have at most " +
                                shown(*most));
        }
        const auto items = schema.find("items");
        if (items == schema.end()) return;
        for (std::size_t i = 0; i != value.size(); ++i) {
            check(value[i], *items, below(pointer, i), depth + 1);
        }
    }

    void check_object(const json& value, const json& schema, const std::string& pointer,
                      std::size_t depth) {
        static const json none = json::object();
        const auto properties = schema.find("properties");
        const json& known = properties != schema.end() ? *properties : none;
        const auto required = schema.find("required");
        if (required != schema.end()) {
            for (const json& name : *required) {
                if (value.contains(name.get<std::string>())) continue;
                report(pointer, "field " + quoted(name.get<std::string>()) + " is missing");
            }
        }
        const auto additional = schema.find("additionalProperties");
        for (const auto& field : value.items()) {
            const std::string place = below(pointer, field.key());
            const auto property = known.find(field.key());
            if (property != known.end()) {
                check(field.value(), *property, place, depth + 1);
            } else if (additional != schema.end() && *additional == false) {
                report(place, "unknown field" + known_names(field.key(), known));
            } else if (additional != schema.end()) {
                check(field.value(), *additional, place, depth + 1);
            }
        }
    }

    /// What to say behind an unknown field: the name that was meant, else all the names there are.
    static std::string known_names(const std::string& name, const json& known) {
        std::vector<std::string> names;
        std::string all;
        for (const auto& property : known.items()) {
            names.push_back(property.key());
            all += (all.empty() ? "; the known fields are " : ", ") + quoted(property.key());
        }
        const std::string nearest = suggestion(name, names);
        return nearest.empty() ? all : nearest;
    }

    const json& root_;
    std::vector<SchemaViolation> violations_;
};

// ---------------------------------------------------------------- text

/// Walks through the text and leaves word of how far the parser has come, which it does not tell
/// its callback.
class WatchedIterator {
  public:
    using iterator_category = std::forward_iterator_tag;
    using value_type = char;
    using difference_type = std::ptrdiff_t;
    using pointer = const char*;
    using reference = const char&;

    WatchedIterator(const char* at, const char** watch) : at_(at), watch_(watch) {}
    reference operator*() const { return *at_; }
    WatchedIterator& operator++() {
        *watch_ = ++at_;
        return *this;
    }
    WatchedIterator operator++(int) {
        WatchedIterator before = *this;
        ++*this;
        return before;
    }
    bool operator==(const WatchedIterator& other) const { return at_ == other.at_; }
    bool operator!=(const WatchedIterator& other) const { return at_ != other.at_; }

  private:
    const char* at_;
    const char** watch_;
};

[[noreturn]] void fail_at(std::string_view text, std::size_t offset, const std::string& source,
                          const std::string& what) {
    const std::string_view before = text.substr(0, std::min(offset, text.size()));
    const auto line = 1 + std::count(before.begin(), before.end(), '\n');
    const std::size_t line_start = before.find_last_of('\n') + 1;  // npos + 1 is 0
    const std::size_t column = 1 + character_count(before.substr(line_start));
    throw Error(source + ":" + std::to_string(line) + ":" + std::to_string(column) + ": " + what);
}

/// Where the string begins whose closing quote stands before `end`.
std::size_t string_start(std::string_view text, std::size_t end) {
    std::size_t at = end - 1;
    for (;;) {
        at = text.rfind('"', at - 1);
        const std::size_t other = text.find_last_not_of('\\', at - 1);
        if ((at - 1 - other) % 2 == 0) return at;  // an odd number of backslashes escapes the quote
    }
}

/// The library's message without its own name and position, and without the piece of the text it
/// stopped at: that may end inside a UTF-8 character, and the position says the same.
std::string plain_message(std::string what) {
    const std::size_t start = what.find(": ");
    if (start != std::string::npos) what.erase(0, start + 2);
    const std::size_t piece = what.find("; last read: ");
    if (piece == std::string::npos) return what;
    const std::size_t expected = what.rfind("; expected ");
    const bool follows = expected != std::string::npos && expected > piece;
    return what.erase(piece, follows ? expected - piece : std::string::npos);
}

}  // namespace

std::vector<SchemaViolation> validate(const json& document, const json& schema) {
    SchemaCheck(schema).check(schema, "", 0);
    Validator validator(schema);
    validator.check(document, schema, "", 0);
    return validator.take();
}

json parse_json(std::string_view text, const std::string& source) {
    const char* const start = text.data();
    const char* reached = start;
    const auto offset = [&] { return static_cast<std::size_t>(reached - start); };

    // The library lets the last of two equal keys win, in silence.
    std::vector<std::set<std::string>> keys;
    std::size_t depth = 0;
    const auto watch = [&](int /*depth*/, json::parse_event_t event, json& value) {
        switch (event) {
            case json::parse_event_t::object_start:
                keys.emplace_back();
                [[fallthrough]];
            case json::parse_event_t::array_start:
                if (++depth > deepest) {
                    fail_at(text, offset() - 1, source,
                            "nested deeper than " + std::to_string(deepest));
                }
                break;
            case json::parse_event_t::object_end:
                keys.pop_back();
                [[fallthrough]];
            case json::parse_event_t::array_end:
                --depth;
                break;
            case json::parse_event_t::key:
                if (!keys.back().insert(value.get<std::string>()).second) {
                    fail_at(text, string_start(text, offset()), source,
                            "field " + quoted(value.get<std::string>()) +
                                " stands twice in the same object");
                }
                break;
            case json::parse_event_t::value:
                break;
        }
        return true;
    };
    try {
        return json::parse(WatchedIterator(start, &reached),
                           WatchedIterator(start + text.size(), &reached), watch);
    } catch (const json::parse_error& error) {
        fail_at(text, error.byte == 0 ? 0 : error.byte - 1, source, plain_message(error.what()));
    } catch (const json::out_of_range&) {
        // The parser stands one character behind the number, or at the end of the text.
        const std::size_t before = text.find_last_not_of("0123456789+-.eE", offset() - 2);
        fail_at(text, before + 1, source, "the number is beyond the range of a double");
    }
}

}  // namespace voltkeel
