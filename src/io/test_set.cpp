#include "voltkeel/io/test_set.hpp"

#include <nlohmann/json.hpp>

#include "io/file_bytes.hpp"
#include "io/json_field.hpp"
#include "io/number_text.hpp"
#include "io/schema_text.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/log_mapping.hpp"

namespace voltkeel {

std::vector<TestFile> parse_test_set(std::string_view text, const std::string& source,
                                     const std::filesystem::path& folder) {
    using detail::take;
    const nlohmann::json document = detail::parse_document(text, source, schema_text::test_set);
    std::vector<TestFile> files;
    for (const nlohmann::json& entry : document.at("files")) {
        TestFile& file = files.emplace_back();
        const auto path_of = [&](const char* field) {
            return folder / std::filesystem::u8path(entry.at(field).get<std::string>());
        };
        file.path = path_of("path");
        take(entry, "role", file.role);
        if (entry.contains("mapping")) {
            file.mapping = path_of("mapping");
            try {
                file.settings = load_log_mapping(file.mapping);
            } catch (const Error& error) {
                throw Error(source + ": /files/" + std::to_string(files.size() - 1) +
                            "/mapping: " + error.what());
            }
        }
        if (const auto sign = entry.find("positive_current"); sign != entry.end()) {
            file.settings.current_sign =
                *sign == "charge" ? CurrentSign::charge_positive : CurrentSign::discharge_positive;
        }
        take(entry, "current_offset_A", file.settings.current_offset_A);
        if (const auto degC = entry.find("temperature_degC"); degC != entry.end())
            file.settings.temperature_degC = degC->get<double>();
    }
    return files;
}

std::vector<TestFile> load_test_set(const std::filesystem::path& path) {
    return parse_test_set(detail::read_bytes(path).view(), path.string(), path.parent_path());
}

std::string reading_in_words(const LogReadSettings& settings) {
    std::string text;
    if (settings.current_sign == CurrentSign::discharge_positive) text = "discharge positive";
    if (settings.temperature_degC) {
        text += (text.empty() ? "" : ", ") + number_text(*settings.temperature_degC) +
                " degC where it has no temperature";
    }
    return text;
}

}  // namespace voltkeel
