#include "voltkeel/io/pack_file.hpp"

#include <array>
#include <cmath>
#include <map>
#include <nlohmann/json.hpp>
#include <system_error>
#include <utility>

#include "io/file_bytes.hpp"
#include "io/json_field.hpp"
#include "io/schema_text.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/cell_file.hpp"
#include "voltkeel/io/schema.hpp"

namespace voltkeel {

namespace {

using nlohmann::json;
using nlohmann::ordered_json;

constexpr std::array<ChannelQuantity, 7> quantities = {
    ChannelQuantity::pack_current,       ChannelQuantity::pack_voltage,
    ChannelQuantity::string_current,     ChannelQuantity::string_voltage,
    ChannelQuantity::group_voltage,      ChannelQuantity::case_temperature,
    ChannelQuantity::ambient_temperature};

// Each field stands once, for reading and writing: visit(name, reference to the member). A member
// that has its default is not written, unless `needed`.

template <class Part, class Visit>
void visit_fields(Part& part, const PackModule*, Visit visit) {
    visit("cell_link_ohm", part.cell_link_ohm);
    visit("interconnect_ohm", part.interconnect_ohm);
    visit("group_link_W_per_K", part.group_link_W_per_K);
    visit("cell_link_W_per_K", part.cell_link_W_per_K);
}
template <class Part, class Visit>
void visit_fields(Part& part, const Contactor*, Visit visit) {
    visit("resistance_ohm", part.resistance_ohm);
    visit("current_A", part.current_A);
    visit("voltage_V", part.voltage_V);
    visit("making_current_A", part.making_current_A);
    visit("closed", part.closed);
}
template <class Part, class Visit>
void visit_fields(Part& part, const Fuse*, Visit visit) {
    visit("resistance_ohm", part.resistance_ohm);
    visit("current_A", part.current_A);
    visit("i2t_A2s", part.i2t_A2s);
}
template <class Part, class Visit>
void visit_fields(Part& part, const Channel*, Visit visit) {
    visit("string", part.string);
    visit("first_group", part.first_group);
    visit("group_count", part.group_count);
    visit("cell", part.cell);
    visit("offset_s", part.offset_s);
}

/// Takes the fields that stand in the object.
template <class Part>
void read_fields(const json& object, Part& part) {
    visit_fields(part, static_cast<const Part*>(nullptr),
                 [&](const char* name, auto& member) { detail::take(object, name, member); });
}

/// Adds the fields that differ from their defaults.
template <class Part>
void write_fields(const Part& part, ordered_json& object) {
    const Part usual{};
    std::map<std::string, json> usual_values;
    const auto value_of = [](const auto& member) { return json(member); };
    visit_fields(
        usual, static_cast<const Part*>(nullptr),
        [&](const char* name, const auto& member) { usual_values[name] = value_of(member); });
    visit_fields(part, static_cast<const Part*>(nullptr),
                 [&](const char* name, const auto& member) {
                     if (value_of(member) != usual_values[name]) object[name] = member;
                 });
}

Cell cell_beside(const std::filesystem::path& path, const std::string& pointer,
                 const std::string& cell_file) {
    const std::filesystem::path cell_path = path.parent_path() / cell_file;
    std::error_code ignored;
    if (!std::filesystem::exists(cell_path, ignored)) {
        throw Error(path.string() + ": " + pointer + ": there is no file " + cell_path.string());
    }
    return load_cell(cell_path);
}

Pack short_form(const json& document, const std::filesystem::path& path) {
    PackLayout<double> layout;
    document.at("series").get_to(layout.series);
    document.at("parallel").get_to(layout.parallel);
    const std::string cell_file = document.at("cell");
    return single_string_pack(document.at("name"), cell_file, cell_beside(path, "/cell", cell_file),
                              layout);
}

Pack long_form(const json& document, const std::filesystem::path& path) {
    Pack pack;
    document.at("name").get_to(pack.name);
    std::map<std::string, Cell> cells;  // a file that several kinds name is read once
    for (const json& from : document.at("modules")) {
        PackModule kind;
        from.at("name").get_to(kind.name);
        from.at("cell").get_to(kind.cell_file);
        from.at("series").get_to(kind.layout.series);
        from.at("parallel").get_to(kind.layout.parallel);
        read_fields(from, kind);
        auto known = cells.find(kind.cell_file);
        if (known == cells.end()) {
            const std::string pointer = "/modules/" + std::to_string(pack.modules.size()) + "/cell";
            known = cells.emplace(kind.cell_file, cell_beside(path, pointer, kind.cell_file)).first;
        }
        kind.cell = known->second;
        pack.modules.push_back(std::move(kind));
    }
    for (const json& from : document.at("strings")) {
        PackString string;
        from.at("name").get_to(string.name);
        for (const json& part : from.at("modules"))
            string.modules.insert(string.modules.end(), part.value("count", std::size_t{1}),
                                  part.at("module").get<std::string>());
        string.busbar_ohm = from.value("busbar_ohm", 0.0);
        string.module_link_W_per_K = from.value("module_link_W_per_K", 0.0);
        if (from.contains("contactor")) read_fields(from.at("contactor"), string.contactor);
        if (from.contains("fuse")) read_fields(from.at("fuse"), string.fuse);
        pack.strings.push_back(std::move(string));
    }
    pack.busbar_ohm = document.value("busbar_ohm", 0.0);
    if (const auto from = document.find("bleed"); from != document.end()) {
        pack.bleed.emplace();
        from->at("resistance_ohm").get_to(pack.bleed->resistance_ohm);
        pack.bleed->duty = from->value("duty", pack.bleed->duty);
        pack.bleed->heat_to_cells = from->value("heat_to_cells", pack.bleed->heat_to_cells);
    }
    if (const auto from = document.find("precharge"); from != document.end()) {
        pack.precharge.emplace();
        from->at("resistance_ohm").get_to(pack.precharge->resistance_ohm);
        from->at("capacitance_F").get_to(pack.precharge->capacitance_F);
        pack.precharge->complete_share =
            from->value("complete_share", pack.precharge->complete_share);
    }
    for (const json& from : document.value("channels", json::array())) {
        Channel channel;
        from.at("name").get_to(channel.name);
        from.at("interval_s").get_to(channel.interval_s);
        const std::string word = from.at("quantity");
        for (const ChannelQuantity quantity : quantities) {
            if (word == channel_quantity_name(quantity)) channel.quantity = quantity;
        }
        read_fields(from, channel);
        pack.channels.push_back(std::move(channel));
    }
    return pack;
}

/// Whether the short form says all there is.
bool fits_short_form(const Pack& pack) {
    if (pack.modules.size() != 1 || pack.strings.size() != 1) return false;
    const PackModule& kind = pack.modules.front();
    const PackString& string = pack.strings.front();
    ordered_json rest = ordered_json::object();
    write_fields(kind, rest);
    write_fields(string.contactor, rest);
    write_fields(string.fuse, rest);
    return rest.empty() && kind.name == "module" && string.name == "string" &&
           string.modules.size() == 1 && string.busbar_ohm == 0 && pack.busbar_ohm == 0 &&
           !pack.bleed && !pack.precharge && pack.channels.empty();
}

ordered_json strings_document(const Pack& pack) {
    ordered_json document = {
        {"format", "voltkeel.pack"}, {"format_version", 2}, {"name", pack.name}};
    document["modules"] = ordered_json::array();
    for (const PackModule& kind : pack.modules) {
        ordered_json part = {{"name", kind.name},
                             {"cell", kind.cell_file},
                             {"series", kind.layout.series},
                             {"parallel", kind.layout.parallel}};
        write_fields(kind, part);
        document["modules"].push_back(std::move(part));
    }
    document["strings"] = ordered_json::array();
    for (const PackString& string : pack.strings) {
        ordered_json part = {{"name", string.name}, {"modules", ordered_json::array()}};
        for (const std::string& name : string.modules) {
            ordered_json& row = part["modules"];
            if (!row.empty() && row.back()["module"] == name) {
                row.back()["count"] = row.back().value("count", 1) + 1;
            } else {
                row.push_back({{"module", name}});
            }
        }
        if (string.busbar_ohm != 0) part["busbar_ohm"] = string.busbar_ohm;
        if (string.module_link_W_per_K != 0)
            part["module_link_W_per_K"] = string.module_link_W_per_K;
        ordered_json contactor = ordered_json::object();
        write_fields(string.contactor, contactor);
        if (!contactor.empty()) part["contactor"] = std::move(contactor);
        ordered_json fuse = ordered_json::object();
        write_fields(string.fuse, fuse);
        if (!fuse.empty()) part["fuse"] = std::move(fuse);
        document["strings"].push_back(std::move(part));
    }
    if (pack.busbar_ohm != 0) document["busbar_ohm"] = pack.busbar_ohm;
    if (pack.bleed)
        document["bleed"] = {{"resistance_ohm", pack.bleed->resistance_ohm},
                             {"duty", pack.bleed->duty},
                             {"heat_to_cells", pack.bleed->heat_to_cells}};
    if (pack.precharge)
        document["precharge"] = {{"resistance_ohm", pack.precharge->resistance_ohm},
                                 {"capacitance_F", pack.precharge->capacitance_F},
                                 {"complete_share", pack.precharge->complete_share}};
    for (const Channel& channel : pack.channels) {
        ordered_json part = {{"name", channel.name},
                             {"quantity", channel_quantity_name(channel.quantity)}};
        write_fields(channel, part);
        part["interval_s"] = channel.interval_s;
        document["channels"].push_back(std::move(part));
    }
    return document;
}

}  // namespace

Pack load_pack(const std::filesystem::path& path) {
    const detail::Bytes bytes = detail::read_bytes(path);
    // The version is looked at first, because each has a schema of its own. Whatever else is wrong
    // is then found by the schema.
    bool strings = false;
    if (bytes.view().find_first_not_of(" \t\r\n") != std::string_view::npos) {
        const json peek = parse_json(bytes.view(), path.string());
        if (peek.is_object()) {
            const auto version = peek.find("format_version");
            strings = version != peek.end() ? *version == 2 : peek.contains("strings");
            if (version != peek.end() && version->is_number() && *version != 1 && *version != 2) {
                throw Error(path.string() + ": /format_version: " + version->dump() +
                            " is not known, must be 1 (equal cells in one string) or 2 (modules "
                            "and strings)");
            }
        }
    }
    const json document = detail::parse_document(
        bytes.view(), path.string(), strings ? schema_text::pack_strings : schema_text::pack);
    Pack pack = strings ? long_form(document, path) : short_form(document, path);
    const auto notes = document.find("notes");
    if (notes != document.end()) notes->get_to(pack.notes);
    try {
        check(pack);
    } catch (const Error& error) {
        throw Error(path.string() + ": " + error.what());
    }
    return pack;
}

void save_pack(const std::filesystem::path& path, const Pack& pack) {
    const bool brief = fits_short_form(pack);
    ordered_json document;
    if (brief) {
        const PackModule& kind = pack.modules.front();
        document = {{"format", "voltkeel.pack"},
                    {"format_version", 1},
                    {"name", pack.name},
                    {"cell", kind.cell_file},
                    {"series", kind.layout.series},
                    {"parallel", kind.layout.parallel}};
    } else {
        document = strings_document(pack);
    }
    if (!pack.notes.empty()) document["notes"] = pack.notes;
    const std::string text = detail::document_text(
        document, path.string(), brief ? schema_text::pack : schema_text::pack_strings);
    detail::ReplacementFile file(path);
    file.write(text);
    file.complete();
}

}  // namespace voltkeel
