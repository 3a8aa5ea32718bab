#include "voltkeel/io/charge_plan_file.hpp"

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

template <class AnyZone, class Visit>
void visit_zone(AnyZone& zone, Visit visit) {
    visit("temperature_min_degC", zone.temperature_min_degC);
    visit("temperature_max_degC", zone.temperature_max_degC);
    visit("current_A", zone.current_A);
    visit("voltage_V", zone.voltage_V);
}

template <class AnyStage, class Visit>
void visit_stage(AnyStage& stage, Visit visit) {
    visit("current_A", stage.current_A);
    visit("voltage_V", stage.voltage_V);
    visit("power_W", stage.power_W);
    visit("end_current_A", stage.end_current_A);
    visit("longest_s", stage.longest_s);
    visit("end_spread_V", stage.end_spread_V);
}

template <class AnyDescription, class Visit>
void visit_plan(AnyDescription& description, Visit visit) {
    visit("name", description.name);
    visit("source", description.source);
    visit("for_capacity_Ah", description.for_capacity_Ah);
    visit("zone_hysteresis_K", description.plan.zone_hysteresis_K);
    visit("end_current_A", description.plan.end_current_A);
}

/// By the number of the kind.
constexpr const char* kind_names[] = {"constant_current", "constant_voltage", "constant_power",
                                      "rest", "balancing"};

StageKind kind_of(const std::string& name) {
    std::size_t k = 0;
    while (k + 1 < std::size(kind_names) && name != kind_names[k])
        ++k;
    return static_cast<StageKind>(k);
}

auto take_from(const nlohmann::json& object) {
    return [&object](const char* field, auto& value) { detail::take(object, field, value); };
}

auto put_into(nlohmann::ordered_json& object) {
    return [&object](const char* field, const auto& value) { object[field] = value; };
}

}  // namespace

void check_charge_plan(const ChargePlan<double>& plan) {
    const Finding<double> finding = validate(plan);
    if (finding.status == Status::ok) return;
    const std::string place = finding.index < 0 ? "" : "[" + std::to_string(finding.index) + "]";
    throw Error(finding.field + place + ": " + number_text(finding.value) + " against " +
                number_text(finding.bound) + ": " + message(finding.status));
}

ChargePlan<double> plan_for(const ChargePlanDescription& description, double capacity_Ah) {
    if (!(capacity_Ah > 0 && capacity_Ah <= 1e5)) {
        throw Error("capacity_Ah: " + number_text(capacity_Ah) + " is outside 0 .. 100000");
    }
    const ChargePlan<double> plan =
        description.for_capacity_Ah > 0
            ? scaled_plan(description.plan, capacity_Ah / description.for_capacity_Ah)
            : description.plan;
    check_charge_plan(plan);
    return plan;
}

ChargePlanDescription parse_charge_plan(std::string_view text, const std::string& source) {
    const nlohmann::json document = detail::parse_document(text, source, schema_text::charge_plan);
    ChargePlanDescription result;
    visit_plan(result, take_from(document));
    ChargePlan<double>& plan = result.plan;
    for (const nlohmann::json& zone : document.at("zones"))
        visit_zone(plan.zones[plan.zone_count++], take_from(zone));
    const auto stages = document.find("stages");
    if (stages != document.end()) {
        for (const nlohmann::json& from : *stages) {
            ChargeStage<double>& stage = plan.stages[plan.stage_count++];
            stage.kind = kind_of(from.at("kind").get<std::string>());
            visit_stage(stage, take_from(from));
        }
    }
    try {
        check_charge_plan(plan);
    } catch (const Error& error) {
        throw Error(source + ": " + error.what());
    }
    return result;
}

ChargePlanDescription load_charge_plan(const std::filesystem::path& path) {
    return parse_charge_plan(detail::read_bytes(path).view(), path.string());
}

void save_charge_plan(const std::filesystem::path& path, const ChargePlanDescription& description) {
    const ChargePlan<double>& plan = description.plan;
    check_charge_plan(plan);
    nlohmann::ordered_json document = {{"format", "voltkeel.charge_plan"}, {"format_version", 1}};
    visit_plan(description, put_into(document));
    document["zones"] = nlohmann::ordered_json::array();
    for (int k = 0; k < plan.zone_count; ++k) {
        nlohmann::ordered_json zone;
        visit_zone(plan.zones[k], put_into(zone));
        document["zones"].push_back(zone);
    }
    document["stages"] = nlohmann::ordered_json::array();
    for (int k = 0; k < plan.stage_count; ++k) {
        nlohmann::ordered_json stage = {
            {"kind", kind_names[static_cast<std::size_t>(plan.stages[k].kind)]}};
        visit_stage(plan.stages[k], put_into(stage));
        document["stages"].push_back(stage);
    }
    const std::string text =
        detail::document_text(document, path.string(), schema_text::charge_plan);
    detail::ReplacementFile file(path);
    file.write(text);
    file.complete();
}

}  // namespace voltkeel
