#include "voltkeel/io/cell_file.hpp"

#include <algorithm>
#include <cstddef>
#include <nlohmann/json.hpp>
#include <type_traits>
#include <vector>

#include "io/file_bytes.hpp"
#include "io/schema_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {
namespace {

using nlohmann::json;
using nlohmann::ordered_json;

// Every field stands once, with its name in the file: `visit` reads it or writes it. What is
// missing from a file keeps the value it has in a fresh struct, so a default of the schema must be
// that value; a test compares them.

template <class Visit>
void fields(Visit& visit, OcvCurve& ocv) {
    visit("reference_temperature_degC", ocv.reference_temperature_degC);
    visit("soc", ocv.soc);
    visit("discharge_V", ocv.discharge_V);
    visit("charge_V", ocv.charge_V);
    visit("voltage_std_V", ocv.voltage_std_V);
    visit("entropy_V_per_K", ocv.entropy_V_per_K);
    visit("entropy_V_per_K_std", ocv.entropy_V_per_K_std);
}

template <class Visit>
void fields(Visit& visit, BranchGrid& branch) {
    visit("resistance_ohm", branch.resistance_ohm);
    visit("resistance_ohm_std", branch.resistance_ohm_std);
    visit("time_s", branch.time_s);
    visit("time_s_std", branch.time_s_std);
}

template <class Visit>
void fields(Visit& visit, ChargeTransferGrid& transfer) {
    visit("scale_V", transfer.scale_V);
    visit("scale_V_std", transfer.scale_V_std);
    visit("exchange_current_A", transfer.exchange_current_A);
    visit("exchange_current_A_std", transfer.exchange_current_A_std);
    visit("time_s", transfer.time_s);
    visit("time_s_std", transfer.time_s_std);
}

template <class Visit>
void fields(Visit& visit, ResistanceGrid& resistance) {
    visit("temperature_degC", resistance.temperature_degC);
    visit("soc", resistance.soc);
    visit("r0_ohm", resistance.r0_ohm);
    visit("r0_ohm_std", resistance.r0_ohm_std);
    visit("branches", resistance.branches);
    visit("charge_transfer", resistance.charge_transfer);
}

template <class Visit>
void fields(Visit& visit, ChargeRiseFit& rise) {
    visit("soc_start", rise.soc_start);
    visit("resistance_ohm", rise.resistance_ohm);
    visit("resistance_ohm_std", rise.resistance_ohm_std);
    visit("branch", rise.branch);
    visit("soc_start_std", rise.soc_start_std);
}

template <class Visit>
void fields(Visit& visit, ThermalFit& thermal) {
    visit("heat_capacity_J_per_K", thermal.heat_capacity_J_per_K);
    visit("heat_capacity_J_per_K_std", thermal.heat_capacity_J_per_K_std);
    visit("resistance_K_per_W", thermal.resistance_K_per_W);
    visit("resistance_K_per_W_std", thermal.resistance_K_per_W_std);
    visit("core_resistance_K_per_W", thermal.core_resistance_K_per_W);
    visit("core_resistance_K_per_W_std", thermal.core_resistance_K_per_W_std);
    visit("core_heat_capacity_J_per_K", thermal.core_heat_capacity_J_per_K);
    visit("core_heat_capacity_J_per_K_std", thermal.core_heat_capacity_J_per_K_std);
    visit("source", thermal.source);
}

template <class Visit>
void fields(Visit& visit, ModelNoise& noise) {
    visit("voltage_std_V", noise.voltage_std_V);
    visit("overvoltage_share_std", noise.overvoltage_share_std);
    visit("lasting_share", noise.lasting_share);
    visit("correlation_time_s", noise.correlation_time_s);
    visit("resistance_log_std", noise.resistance_log_std);
    visit("resistance_log_std_per_sqrt_h", noise.resistance_log_std_per_sqrt_h);
    visit("tested_current_A", noise.tested_current_A);
    visit("untested_share_std", noise.untested_share_std);
}

template <class Visit>
void fields(Visit& visit, CurrentGrid& table) {
    visit("duration_s", table.duration_s);
    visit("temperature_degC", table.temperature_degC);
    visit("soc", table.soc);
    visit("charge_A", table.charge_A);
    visit("discharge_A", table.discharge_A);
}

/// What the file holds under "limits".
struct Limits {
    CellWindow<double>& window;
    std::vector<CurrentGrid>& current_tables;
};

template <class Visit>
void fields(Visit& visit, Limits& limits) {
    visit("voltage_min_V", limits.window.voltage_min_V);
    visit("voltage_max_V", limits.window.voltage_max_V);
    visit("soc_min", limits.window.soc_min);
    visit("soc_max", limits.window.soc_max);
    visit("charge_temperature_min_degC", limits.window.charge_temperature_min_degC);
    visit("charge_temperature_max_degC", limits.window.charge_temperature_max_degC);
    visit("discharge_temperature_min_degC", limits.window.discharge_temperature_min_degC);
    visit("discharge_temperature_max_degC", limits.window.discharge_temperature_max_degC);
    visit("current_tables", limits.current_tables);
}

template <class Visit>
void fields(Visit& visit, ChargeZone<double>& zone) {
    visit("temperature_min_degC", zone.temperature_min_degC);
    visit("temperature_max_degC", zone.temperature_max_degC);
    visit("current_A", zone.current_A);
    visit("voltage_V", zone.voltage_V);
}

template <class Visit>
void fields(Visit& visit, ChargePlan<double>& plan) {
    // The count is sound on both ways: check() comes before writing, the schema before reading.
    std::vector<ChargeZone<double>> zones(plan.zones, plan.zones + plan.zone_count);
    visit("zones", zones);
    std::copy(zones.begin(), zones.end(), plan.zones);
    plan.zone_count = static_cast<int>(zones.size());
    visit("end_current_A", plan.end_current_A);
}

template <class Visit>
void fields(Visit& visit, SourceFile& file) {
    visit("role", file.role);
    visit("name", file.name);
    visit("sha256", file.sha256);
    visit("rows", file.rows);
    visit("rows_used", file.rows_used);
    visit("temperature_degC", file.temperature_degC);
    visit("current_offset_A", file.current_offset_A);
    visit("read_as", file.read_as);
    visit("initial_soc", file.initial_soc);
    visit("initial_soc_std", file.initial_soc_std);
    visit("residual_rms_V", file.residual_rms_V);
}

template <class Visit>
void fields(Visit& visit, Provenance& provenance) {
    visit("made_by", provenance.made_by);
    visit("made_at", provenance.made_at);
    visit("method", provenance.method);
    visit("files", provenance.files);
    visit("notes", provenance.notes);
}

template <class Visit>
void fields(Visit& visit, Cell& cell) {
    visit("name", cell.name);
    visit("capacity_Ah", cell.capacity_Ah);
    visit("capacity_Ah_std", cell.capacity_Ah_std);
    visit("coulombic_efficiency", cell.coulombic_efficiency);
    visit("coulombic_efficiency_std", cell.coulombic_efficiency_std);
    visit("self_discharge_per_s", cell.self_discharge_per_s);
    visit("hysteresis_rate", cell.hysteresis_rate);
    visit("hysteresis_rate_std", cell.hysteresis_rate_std);
    visit("ocv", cell.ocv);
    visit("resistance", cell.resistance);
    visit("charge_rise", cell.charge_rise);
    visit("thermal", cell.thermal);
    visit("noise", cell.noise);
    Limits limits{cell.window, cell.current_limits};
    visit("limits", limits);
    visit("charge", cell.charge);
    visit("provenance", cell.provenance);
}

/// True for what the JSON library writes and reads by itself.
template <class T>
constexpr bool is_plain = std::is_arithmetic_v<T> || std::is_same_v<T, std::string> ||
                          std::is_same_v<T, std::vector<std::string>>;
template <class T>
constexpr bool is_numbers = std::is_same_v<T, std::vector<double>> || std::is_same_v<T, Grid>;

template <class T>
struct IsVector : std::false_type {};
template <class T>
struct IsVector<std::vector<T>> : std::true_type {};

template <class T>
struct IsOptional : std::false_type {};
template <class T>
struct IsOptional<std::optional<T>> : std::true_type {};

class Writer {
  public:
    template <class T>
    void operator()(const char* name, T& value) {
        if constexpr (is_numbers<T>) {
            if (!value.empty()) object[name] = value;  // empty: not given
        } else if constexpr (is_plain<T>) {
            object[name] = value;
        } else if constexpr (IsVector<T>::value) {
            ordered_json& elements = object[name] = ordered_json::array();
            for (auto& element : value)
                elements.push_back(written(element));
        } else if constexpr (IsOptional<T>::value) {
            if (!value) return;
            if constexpr (is_plain<typename T::value_type>) {
                object[name] = *value;
            } else {
                object[name] = written(*value);
            }
        } else {
            object[name] = written(value);
        }
    }

    ordered_json object = ordered_json::object();

  private:
    template <class T>
    static ordered_json written(T& value) {
        Writer writer;
        fields(writer, value);
        return std::move(writer.object);
    }
};

class Reader {
  public:
    explicit Reader(const json& object) : object_(object) {}

    template <class T>
    void operator()(const char* name, T& value) {
        const auto field = object_.find(name);
        if (field == object_.end()) return;
        if constexpr (is_plain<T> || is_numbers<T>) {
            field->get_to(value);
        } else if constexpr (IsVector<T>::value) {
            value.resize(field->size());
            for (std::size_t k = 0; k != value.size(); ++k)
                read((*field)[k], value[k]);
        } else if constexpr (IsOptional<T>::value) {
            if constexpr (is_plain<typename T::value_type>) {
                field->get_to(value.emplace());
            } else {
                read(*field, value.emplace());
            }
        } else {
            read(*field, value);
        }
    }

  private:
    template <class T>
    static void read(const json& object, T& value) {
        Reader reader(object);
        fields(reader, value);
    }

    const json& object_;
};

/// Standard deviations that the file leaves out, as zeros in the shape of what they belong to.
void fill_standard_deviations(Cell& cell) {
    const auto fill = [](const Grid& values, Grid& standard_deviations) {
        if (!standard_deviations.empty()) return;
        for (const auto& row : values)
            standard_deviations.emplace_back(row.size(), 0.0);
    };
    if (cell.ocv.voltage_std_V.empty()) cell.ocv.voltage_std_V.assign(cell.ocv.soc.size(), 0.0);
    fill(cell.resistance.r0_ohm, cell.resistance.r0_ohm_std);
    for (BranchGrid& branch : cell.resistance.branches) {
        fill(branch.resistance_ohm, branch.resistance_ohm_std);
        fill(branch.time_s, branch.time_s_std);
    }
    if (cell.resistance.charge_transfer) {
        ChargeTransferGrid& transfer = *cell.resistance.charge_transfer;
        fill(transfer.scale_V, transfer.scale_V_std);
        fill(transfer.exchange_current_A, transfer.exchange_current_A_std);
        fill(transfer.time_s, transfer.time_s_std);
    }
}

void check(const Cell& cell, const std::string& source) {
    try {
        check(cell);
    } catch (const Error& error) {
        throw Error(source + ": " + error.what());
    }
}

Cell parse(std::string_view text, const std::string& source) {
    const json document = detail::parse_document(text, source, schema_text::cell);
    Cell cell;
    Reader reader(document);
    fields(reader, cell);
    fill_standard_deviations(cell);
    check(cell, source);
    return cell;
}

std::string text_of(Cell cell, const std::string& source) {
    check(cell, source);
    if (cell.charge.stage_count > 0 || cell.charge.zone_hysteresis_K > 0) {
        throw Error(source +
                    ": charge: a cell file holds zones and an end current only; stages and "
                    "zone_hysteresis_K go into a plan file");
    }
    Writer writer;
    writer.object["format"] = "voltkeel.cell";
    writer.object["format_version"] = 1;
    fields(writer, cell);
    return detail::document_text(writer.object, source, schema_text::cell);
}

}  // namespace

Cell load_cell(const std::filesystem::path& path) {
    return parse(detail::read_bytes(path).view(), path.string());
}

Cell parse_cell(const std::string& json, const std::string& source) {
    return parse(json, source);
}

std::string to_json(const Cell& cell) {
    return text_of(cell, "cell");
}

void save_cell(const std::filesystem::path& path, const Cell& cell) {
    const std::string text = text_of(cell, path.string());
    detail::ReplacementFile file(path);
    file.write(text);
    file.complete();
}

}  // namespace voltkeel
