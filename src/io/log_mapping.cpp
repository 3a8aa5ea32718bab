#include "voltkeel/io/log_mapping.hpp"

#include <array>
#include <cmath>
#include <nlohmann/json.hpp>
#include <utility>

#include "io/file_bytes.hpp"
#include "io/json_field.hpp"
#include "io/schema_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {
namespace {

constexpr std::array<std::pair<TimeFormat, const char*>, 4> time_format_words = {{
    {TimeFormat::automatic, "automatic"},
    {TimeFormat::number, "number"},
    {TimeFormat::timestamp, "timestamp"},
    {TimeFormat::elapsed, "elapsed"},
}};

using detail::take;

/// The name of the column that a log of groups may have beside.
constexpr const char* pack_voltage = "pack_voltage";

/// The four members that columns and units both have.
template <class Four, class Visit>
void visit_four(Four& four, Visit visit) {
    visit("time", four.time);
    visit("current", four.current);
    visit("voltage", four.voltage);
    visit("temperature", four.temperature);
}

/// The members with one field each in the file: name, and reference.
template <class Settings, class Visit>
void visit_plain(Settings& settings, Visit visit) {
    visit("units_from_header", settings.units_from_header);
    visit("current_offset_A", settings.current_offset_A);
    visit("decimal_comma", settings.decimal_comma);
    visit("header_line", settings.header_line);
    visit("lines_after_header", settings.lines_after_header);
    visit("gap_s", settings.gap_s);
}

/// The spelling that the schema has of a unit.
std::string schema_unit(const std::string& unit) {
    if (unit == "C" ||
        unit ==
            "\xC2\xB0"
            "C" ||
        unit == "celsius")
        return "degC";
    if (unit == "F" ||
        unit ==
            "\xC2\xB0"
            "F" ||
        unit == "fahrenheit")
        return "degF";
    return unit;
}

}  // namespace

LogReadSettings parse_log_mapping(std::string_view text, const std::string& source) {
    const nlohmann::json document = detail::parse_document(text, source, schema_text::log_mapping);
    LogReadSettings settings;
    const auto group = [&](const char* name, auto& four) {
        const auto found = document.find(name);
        if (found == document.end()) return;
        visit_four(four,
                   [&](const char* field, std::string& value) { take(*found, field, value); });
    };
    group("columns", settings.columns);
    group("units", settings.units);
    const auto columns = document.find("columns");
    if (columns != document.end()) take(*columns, pack_voltage, settings.columns.pack_voltage);
    visit_plain(settings, [&](const char* field, auto& value) { take(document, field, value); });
    std::string word = "automatic";
    take(document, "time_format", word);
    for (const auto& [format, name] : time_format_words) {
        if (word == name) settings.time_format = format;
    }
    word = "charge";
    take(document, "positive_current", word);
    settings.current_sign =
        word == "charge" ? CurrentSign::charge_positive : CurrentSign::discharge_positive;
    if (document.contains("temperature_degC")) {
        settings.temperature_degC = document.at("temperature_degC").get<double>();
    }
    word = settings.separator;
    take(document, "separator", word);
    if (word.size() != 1) {
        throw Error(source + ": /separator: '" + word + "' must be one ASCII character");
    }
    settings.separator = word.front();
    return settings;
}

LogReadSettings load_log_mapping(const std::filesystem::path& path) {
    return parse_log_mapping(detail::read_bytes(path).view(), path.string());
}

void save_log_mapping(const std::filesystem::path& path, const LogReadSettings& settings) {
    nlohmann::ordered_json document = {{"format", "voltkeel.log_mapping"}, {"format_version", 1}};
    visit_four(settings.columns, [&](const char* field, const std::string& value) {
        document["columns"][field] = value;
    });
    document["columns"][pack_voltage] = settings.columns.pack_voltage;
    visit_four(settings.units, [&](const char* field, const std::string& value) {
        document["units"][field] = schema_unit(value);
    });
    for (const auto& [format, name] : time_format_words) {
        if (settings.time_format == format) document["time_format"] = name;
    }
    document["positive_current"] =
        settings.current_sign == CurrentSign::charge_positive ? "charge" : "discharge";
    if (settings.temperature_degC) document["temperature_degC"] = *settings.temperature_degC;
    document["separator"] = std::string(1, settings.separator);
    visit_plain(settings, [&](const char* field, const auto& value) { document[field] = value; });
    // JSON has no infinity; a step that long is none that a file can hold.
    if (std::isinf(settings.gap_s)) document["gap_s"] = 1e300;
    const std::string text =
        detail::document_text(document, path.string(), schema_text::log_mapping);
    detail::ReplacementFile file(path);
    file.write(text);
    file.complete();
}

}  // namespace voltkeel
