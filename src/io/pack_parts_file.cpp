#include "voltkeel/io/pack_parts_file.hpp"

#include <cmath>
#include <cstddef>
#include <iterator>
#include <nlohmann/json.hpp>

#include "io/file_bytes.hpp"
#include "io/json_field.hpp"
#include "io/number_text.hpp"
#include "io/schema_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {
namespace {

// Every field of the file stands once, for reading and writing.
template <class AnyPart, class Visit>
void visit_part(AnyPart& part, Visit visit) {
    visit("string", part.string);
    visit("charge_A", part.charge_A);
    visit("discharge_A", part.discharge_A);
    visit("rated_A", part.rated_A);
    visit("i2t_A2s", part.i2t_A2s);
    visit("curve_time_s", part.curve_time_s);
    visit("curve_current_A", part.curve_current_A);
    visit("used_share", part.used_share);
    visit("warmth", part.warmth);
}

/// From LimitReason::fuse on.
constexpr const char* kind_names[] = {"fuse",    "contactor", "cable", "connector",
                                      "charger", "drive",     "driver"};
constexpr std::size_t first_kind = static_cast<std::size_t>(LimitReason::fuse);

LimitReason kind_of(const std::string& name) {
    std::size_t k = 0;
    while (k + 1 < std::size(kind_names) && name != kind_names[k])
        ++k;
    return static_cast<LimitReason>(first_kind + k);
}

/// Infinity means no bound, and a file says so by leaving the field out.
bool is_said(double value) {
    return std::isfinite(value);
}
template <class Value>
bool is_said(const Value& value) {
    return !value.empty();
}

}  // namespace

void check_pack_parts(const std::vector<PackPart>& parts) {
    for (std::size_t k = 0; k < parts.size(); ++k) {
        const PackPart& from = parts[k];
        std::string place = "parts[" + std::to_string(k) + "].";
        if (from.curve_time_s.size() != from.curve_current_A.size()) {
            throw Error(place + "curve_time_s: has " + std::to_string(from.curve_time_s.size()) +
                        " values, curve_current_A has " +
                        std::to_string(from.curve_current_A.size()));
        }
        std::vector<TimeCurrentPoint<double>> curve;
        for (std::size_t i = 0; i < from.curve_time_s.size(); ++i)
            curve.push_back({from.curve_time_s[i], from.curve_current_A[i]});
        LimitComponent<double> part;
        part.kind = from.kind;
        part.charge_A = from.charge_A;
        part.discharge_A = from.discharge_A;
        part.rated_A = from.rated_A;
        part.i2t_A2s = from.i2t_A2s;
        part.curve = curve.empty() ? nullptr : curve.data();
        part.curve_count = static_cast<int>(curve.size());
        part.used_share = from.used_share;
        part.warmth = from.warmth;
        const Finding<double> finding = validate(part);
        if (finding.status == Status::ok) continue;
        place += finding.field;
        if (finding.index >= 0) place += "[" + std::to_string(finding.index) + "]";
        throw Error(place + ": " + number_text(finding.value) + " against " +
                    number_text(finding.bound) + ": " + message(finding.status));
    }
}

std::vector<PackPart> parse_pack_parts(std::string_view text, const std::string& source) {
    const nlohmann::json document = detail::parse_document(text, source, schema_text::pack_parts);
    std::vector<PackPart> parts;
    for (const nlohmann::json& from : document.at("parts")) {
        PackPart part;
        part.kind = kind_of(from.at("kind").get<std::string>());
        visit_part(part,
                   [&from](const char* field, auto& value) { detail::take(from, field, value); });
        parts.push_back(part);
    }
    try {
        check_pack_parts(parts);
    } catch (const Error& error) {
        throw Error(source + ": " + error.what());
    }
    return parts;
}

std::vector<PackPart> load_pack_parts(const std::filesystem::path& path) {
    return parse_pack_parts(detail::read_bytes(path).view(), path.string());
}

void save_pack_parts(const std::filesystem::path& path, const std::vector<PackPart>& parts,
                     const std::string& origin) {
    check_pack_parts(parts);
    nlohmann::ordered_json document = {
        {"format", "voltkeel.pack_parts"}, {"format_version", 1}, {"source", origin}};
    document["parts"] = nlohmann::ordered_json::array();
    for (const PackPart& part : parts) {
        nlohmann::ordered_json to = {
            {"kind", kind_names[static_cast<std::size_t>(part.kind) - first_kind]}};
        visit_part(part, [&to](const char* field, const auto& value) {
            if (is_said(value)) to[field] = value;
        });
        document["parts"].push_back(to);
    }
    const std::string text =
        detail::document_text(document, path.string(), schema_text::pack_parts);
    detail::ReplacementFile file(path);
    file.write(text);
    file.complete();
}

}  // namespace voltkeel
