#include "voltkeel/io/supply_file.hpp"

#include <algorithm>
#include <nlohmann/json.hpp>
#include <vector>

#include "io/file_bytes.hpp"
#include "io/json_field.hpp"
#include "io/number_text.hpp"
#include "io/schema_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {
namespace {

// Every field of the file stands once, for reading and writing.

template <class AnyAc, class Visit>
void visit_ac(AnyAc& ac, Visit visit) {
    visit("mains_voltage_V", ac.mains_voltage_V);
    visit("phases", ac.phases);
    visit("outlet_current_A", ac.outlet_current_A);
    visit("power_factor", ac.power_factor);
}

template <class AnyCharger, class Visit>
void visit_charger(AnyCharger& charger, Visit visit) {
    visit("phases", charger.phases);
    visit("input_current_max_A", charger.input_current_max_A);
    visit("voltage_min_V", charger.voltage_min_V);
    visit("voltage_max_V", charger.voltage_max_V);
    visit("current_max_A", charger.current_max_A);
    visit("power_max_W", charger.power_max_W);
}

template <class AnyStation, class Visit>
void visit_station(AnyStation& station, Visit visit) {
    visit("voltage_min_V", station.voltage_min_V);
    visit("voltage_max_V", station.voltage_max_V);
    visit("current_max_A", station.current_max_A);
    visit("power_max_W", station.power_max_W);
}

auto take_from(const nlohmann::json& object) {
    return [&object](const char* field, auto& value) { detail::take(object, field, value); };
}

auto put_into(nlohmann::ordered_json& object) {
    return [&object](const char* field, const auto& value) { object[field] = value; };
}

void read_efficiency(const nlohmann::json& charger, PowerEfficiency<double>& efficiency) {
    const auto table = charger.find("efficiency_table");
    if (table == charger.end()) {
        detail::take(charger, "efficiency", efficiency.efficiency[0]);
        return;
    }
    if (charger.contains("efficiency")) {
        throw Error("charger: has both efficiency and efficiency_table, needs one of them");
    }
    const auto power_W = table->at("power_W").get<std::vector<double>>();
    const auto share = table->at("efficiency").get<std::vector<double>>();
    if (power_W.size() != share.size()) {
        throw Error("charger.efficiency_table: power_W has " + std::to_string(power_W.size()) +
                    " values, efficiency has " + std::to_string(share.size()));
    }
    std::copy(power_W.begin(), power_W.end(), efficiency.power_W);
    std::copy(share.begin(), share.end(), efficiency.efficiency);
    efficiency.count = static_cast<int>(power_W.size());
}

}  // namespace

void check_supply(const Supply<double>& supply) {
    const Finding<double> finding = validate(supply);
    if (finding.status != Status::ok) {
        const std::string place =
            finding.index < 0 ? "" : "[" + std::to_string(finding.index) + "]";
        throw Error(finding.field + place + ": " + number_text(finding.value) + " against " +
                    number_text(finding.bound) + ": " + message(finding.status));
    }
    SupplyLimits<double> limits;
    if (supply_limits(supply, limits) != Status::ok) {
        throw Error("ac: the duty cycle " + number_text(supply.ac.duty_cycle_percent) +
                    " must be 0 .. 100 percent and the proximity resistance " +
                    number_text(supply.ac.proximity_ohm) + " at least 0 ohm");
    }
}

SupplyDescription parse_supply(std::string_view text, const std::string& source) {
    const nlohmann::json document = detail::parse_document(text, source, schema_text::supply);
    const auto ac = document.find("ac");
    const auto charger = document.find("charger");
    const auto station = document.find("dc");
    const bool mains = ac != document.end() || charger != document.end();
    if (mains == (station != document.end())) {
        throw Error(source + R"(: needs either "charger" (with "ac") or "dc", has )" +
                    (mains ? "both" : "neither"));
    }
    if (mains && charger == document.end()) {
        throw Error(source + R"(: has "ac", so it needs "charger" as well)");
    }
    SupplyDescription result;
    document.at("name").get_to(result.name);
    Supply<double>& supply = result.supply;
    try {
        if (mains) {
            if (ac != document.end()) {
                visit_ac(supply.ac, take_from(*ac));
                supply.ac.has_pilot = ac->contains("pilot_duty_cycle_percent");
                detail::take(*ac, "pilot_duty_cycle_percent", supply.ac.duty_cycle_percent);
                supply.ac.has_cable = ac->contains("proximity_ohm");
                detail::take(*ac, "proximity_ohm", supply.ac.proximity_ohm);
                if (ac->value("proximity_windows", "joined") == "separate") {
                    supply.ac.windows = ProximityWindows::separate;
                }
            }
            visit_charger(supply.charger, take_from(*charger));
            read_efficiency(*charger, supply.charger.efficiency);
        } else {
            supply.kind = SupplyKind::dc_station;
            visit_station(supply.station, take_from(*station));
        }
        check_supply(supply);
    } catch (const Error& error) {
        throw Error(source + ": " + error.what());
    }
    return result;
}

SupplyDescription load_supply(const std::filesystem::path& path) {
    return parse_supply(detail::read_bytes(path).view(), path.string());
}

void save_supply(const std::filesystem::path& path, const SupplyDescription& description) {
    const Supply<double>& supply = description.supply;
    check_supply(supply);
    nlohmann::ordered_json document = {
        {"format", "voltkeel.supply"}, {"format_version", 1}, {"name", description.name}};
    if (supply.kind == SupplyKind::dc_station) {
        visit_station(supply.station, put_into(document["dc"]));
    } else {
        nlohmann::ordered_json& ac = document["ac"];
        visit_ac(supply.ac, put_into(ac));
        if (supply.ac.has_pilot) ac["pilot_duty_cycle_percent"] = supply.ac.duty_cycle_percent;
        if (supply.ac.has_cable) {
            ac["proximity_ohm"] = supply.ac.proximity_ohm;
            ac["proximity_windows"] =
                supply.ac.windows == ProximityWindows::joined ? "joined" : "separate";
        }
        nlohmann::ordered_json& charger = document["charger"];
        visit_charger(supply.charger, put_into(charger));
        const PowerEfficiency<double>& efficiency = supply.charger.efficiency;
        if (efficiency.count == 1) {
            charger["efficiency"] = efficiency.efficiency[0];
        } else {
            charger["efficiency_table"] = {
                {"power_W",
                 std::vector<double>(efficiency.power_W, efficiency.power_W + efficiency.count)},
                {"efficiency", std::vector<double>(efficiency.efficiency,
                                                   efficiency.efficiency + efficiency.count)}};
        }
    }
    const std::string text = detail::document_text(document, path.string(), schema_text::supply);
    detail::ReplacementFile file(path);
    file.write(text);
    file.complete();
}

}  // namespace voltkeel
