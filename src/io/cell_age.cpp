#include "voltkeel/io/cell_age.hpp"

#include <nlohmann/json.hpp>

#include "io/file_bytes.hpp"
#include "io/json_field.hpp"
#include "io/number_text.hpp"
#include "io/schema_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

namespace {

/// Every field of the file once: name and reference.
template <class Age, class Visit>
void visit_numbers(Age& age, Visit visit) {
    visit("capacity_scale", age.capacity_scale);
    visit("capacity_log_std", age.capacity_log_std);
    visit("resistance_scale", age.resistance_scale);
    visit("resistance_log_std", age.resistance_log_std);
}

}  // namespace

void check(const CellAge& age) {
    const auto within = [](const char* field, double value, double low, double high) {
        if (value >= low && value <= high) return;
        throw Error(std::string(field) + ": " + number_text(value) + " must be from " +
                    number_text(low) + " to " + number_text(high));
    };
    within("capacity_scale", age.capacity_scale, 0.1, 2);
    within("capacity_log_std", age.capacity_log_std, 0, 2);
    within("resistance_scale", age.resistance_scale, 0.1, 10);
    within("resistance_log_std", age.resistance_log_std, 0, 2);
}

Cell aged_cell(const Cell& cell, const CellAge& age) {
    check(age);
    Cell now = cell;
    now.capacity_Ah *= age.capacity_scale;
    now.capacity_Ah_std = age.capacity_log_std > 0 ? age.capacity_log_std * now.capacity_Ah
                                                   : age.capacity_scale * cell.capacity_Ah_std;
    return now;
}

CellAge parse_cell_age(std::string_view text, const std::string& source) {
    const nlohmann::json document = detail::parse_document(text, source, schema_text::cell_age);
    CellAge age;
    visit_numbers(age,
                  [&](const char* field, double& value) { detail::take(document, field, value); });
    detail::take(document, "notes", age.notes);
    return age;
}

CellAge load_cell_age(const std::filesystem::path& path) {
    return parse_cell_age(detail::read_bytes(path).view(), path.string());
}

void save_cell_age(const std::filesystem::path& path, const CellAge& age) {
    nlohmann::ordered_json document = {{"format", "voltkeel.cell_age"}, {"format_version", 1}};
    visit_numbers(age, [&](const char* field, double value) { document[field] = value; });
    if (!age.notes.empty()) document["notes"] = age.notes;
    const std::string text = detail::document_text(document, path.string(), schema_text::cell_age);
    detail::ReplacementFile file(path);
    file.write(text);
    file.complete();
}

}  // namespace voltkeel
