#include "voltkeel/io/pack_file.hpp"

#include <nlohmann/json.hpp>
#include <system_error>

#include "io/file_bytes.hpp"
#include "io/schema_text.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/cell_file.hpp"

namespace voltkeel {

Pack load_pack(const std::filesystem::path& path) {
    const nlohmann::json document =
        detail::parse_document(detail::read_bytes(path).view(), path.string(), schema_text::pack);
    Pack pack;
    document.at("name").get_to(pack.name);
    document.at("cell").get_to(pack.cell_file);
    document.at("series").get_to(pack.layout.series);
    document.at("parallel").get_to(pack.layout.parallel);
    const auto notes = document.find("notes");
    if (notes != document.end()) notes->get_to(pack.notes);

    const std::filesystem::path cell_path = path.parent_path() / pack.cell_file;
    std::error_code ignored;
    if (!std::filesystem::exists(cell_path, ignored)) {
        throw Error(path.string() + ": /cell: there is no file " + cell_path.string());
    }
    pack.cell = load_cell(cell_path);
    return pack;
}

void save_pack(const std::filesystem::path& path, const Pack& pack) {
    nlohmann::ordered_json document = {{"format", "voltkeel.pack"},
                                       {"format_version", 1},
                                       {"name", pack.name},
                                       {"cell", pack.cell_file},
                                       {"series", pack.layout.series},
                                       {"parallel", pack.layout.parallel}};
    if (!pack.notes.empty()) document["notes"] = pack.notes;
    const std::string text = detail::document_text(document, path.string(), schema_text::pack);
    detail::ReplacementFile file(path);
    file.write(text);
    file.complete();
}

}  // namespace voltkeel
