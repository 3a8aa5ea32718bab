#include "voltkeel/simulate/cooling_file.hpp"

#include <limits>
#include <nlohmann/json.hpp>

#include "io/file_bytes.hpp"
#include "io/json_field.hpp"
#include "io/schema_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {
namespace {

constexpr double infinite = std::numeric_limits<double>::infinity();

// Every field of the file stands once, for reading and writing: visit(name, member), where a member
// is a number, a switch, or a part that has fields of its own.

template <class Visit>
void visit_fields(AirCooling& air, Visit visit) {
    visit("still_factor", air.still_factor);
    visit("moving_factor", air.moving_factor);
    visit("flow_W_per_K", air.flow_W_per_K);
    visit("fan_power_W", air.fan_power_W);
    visit("fan", air.fan);
}
template <class Visit>
void visit_fields(Radiator& radiator, Visit visit) {
    visit("conductance_W_per_K", radiator.conductance_W_per_K);
    visit("air_W_per_K", radiator.air_W_per_K);
    visit("fan_power_W", radiator.fan_power_W);
    visit("fan", radiator.fan);
}
template <class Visit>
void visit_fields(Chiller& chiller, Visit visit) {
    visit("power_W", chiller.power_W);
    visit("performance", chiller.performance);
    visit("compressor", chiller.compressor);
}
template <class Visit>
void visit_fields(Heater& heater, Visit visit) {
    visit("power_W", heater.power_W);
    visit("element", heater.element);
    visit("coolant_max_degC", heater.coolant_max_degC);
}
template <class Visit>
void visit_fields(LiquidLoop& loop, Visit visit) {
    visit("start_degC", loop.start_degC);
    visit("heat_capacity_J_per_K", loop.heat_capacity_J_per_K);
    visit("flow_W_per_K", loop.flow_W_per_K);
    visit("pump_power_W", loop.pump_power_W);
    visit("pump", loop.pump);
    visit("flowing_factor", loop.flowing_factor);
    visit("standing_factor", loop.standing_factor);
    visit("radiator", loop.radiator);
    visit("chiller", loop.chiller);
    visit("heater", loop.heater);
    visit("drive_loss_share", loop.drive_loss_share);
    visit("charger_loss_share", loop.charger_loss_share);
}

/// A visit that takes what `object` has. `pointer` is where it stands, for messages.
struct TakeFrom {
    const nlohmann::json& object;
    std::string pointer;

    void operator()(const char* field, double& value) const { detail::take(object, field, value); }
    void operator()(const char* field, ThermalSwitch& value) const {
        const auto found = object.find(field);
        if (found == object.end()) return;
        const bool held = found->contains("held");
        const bool on = found->contains("on_degC");
        const bool off = found->contains("off_degC");
        if (held ? on || off : !on || !off)
            throw Error(pointer + "/" + field +
                        ": needs either both of on_degC and off_degC, or held");
        if (held) {
            value.on_degC = value.off_degC = found->at("held") == "on" ? -infinite : infinite;
        } else {
            found->at("on_degC").get_to(value.on_degC);
            found->at("off_degC").get_to(value.off_degC);
        }
    }
    template <class Part>
    void operator()(const char* field, Part& part) const {
        const auto found = object.find(field);
        if (found != object.end()) visit_fields(part, TakeFrom{*found, pointer + "/" + field});
    }
};

/// Whether the loop has the part; what it has not is not written.
bool there_is(const Radiator& radiator) {
    return radiator.conductance_W_per_K > 0;
}
bool there_is(const Chiller& chiller) {
    return chiller.power_W > 0;
}
bool there_is(const Heater& heater) {
    return heater.power_W > 0;
}

/// A visit that puts every field into `object`.
struct PutInto {
    nlohmann::ordered_json& object;

    void operator()(const char* field, double& value) const { object[field] = value; }
    void operator()(const char* field, ThermalSwitch& value) const {
        if (value.on_degC == infinite || value.on_degC == -infinite) {
            object[field] = {{"held", value.on_degC < 0 ? "on" : "off"}};
        } else {
            object[field] = {{"on_degC", value.on_degC}, {"off_degC", value.off_degC}};
        }
    }
    template <class Part>
    void operator()(const char* field, Part& part) const {
        if (!there_is(part)) return;
        nlohmann::ordered_json inner;
        visit_fields(part, PutInto{inner});
        object[field] = inner;
    }
};

}  // namespace

CoolingSettings parse_cooling(std::string_view text, const std::string& source) {
    const nlohmann::json document = detail::parse_document(text, source, schema_text::cooling);
    const auto air = document.find("air");
    const auto liquid = document.find("liquid");
    if ((air == document.end()) == (liquid == document.end())) {
        throw Error(source + R"(: needs either "air" or "liquid", has )" +
                    (air == document.end() ? "neither" : "both"));
    }
    try {
        CoolingSettings cooling;
        document.at("name").get_to(cooling.name);
        if (document.contains("supply") && document.at("supply") == "outside")
            cooling.supply = CoolingSupply::outside;
        const auto outside = document.find("air_temperature");
        if (outside != document.end()) {
            outside->at("time_s").get_to(cooling.air_temperature.time_s);
            outside->at("degC").get_to(cooling.air_temperature.degC);
        }
        if (air != document.end()) {
            cooling.kind = CoolingKind::air;
            visit_fields(cooling.air, TakeFrom{*air, "/air"});
        } else {
            cooling.kind = CoolingKind::liquid;
            visit_fields(cooling.liquid, TakeFrom{*liquid, "/liquid"});
        }
        check_cooling(cooling);
        if (cooling.kind == CoolingKind::liquid && !liquid->contains("start_degC"))
            cooling.liquid.start_degC = cooling.air_temperature.at(0);
        check_cooling(cooling);
        return cooling;
    } catch (const Error& error) {
        throw Error(source + ": " + error.what());
    }
}

CoolingSettings load_cooling(const std::filesystem::path& path) {
    return parse_cooling(detail::read_bytes(path).view(), path.string());
}

void save_cooling(const std::filesystem::path& path, const CoolingSettings& cooling) {
    check_cooling(cooling);
    nlohmann::ordered_json document = {{"format", "voltkeel.cooling"}, {"format_version", 1}};
    document["name"] = cooling.name;
    document["supply"] = cooling.supply == CoolingSupply::pack ? "pack" : "outside";
    document["air_temperature"] = {{"time_s", cooling.air_temperature.time_s},
                                   {"degC", cooling.air_temperature.degC}};
    CoolingSettings copy = cooling;
    nlohmann::ordered_json fields;
    if (cooling.kind == CoolingKind::air) {
        visit_fields(copy.air, PutInto{fields});
        document["air"] = fields;
    } else {
        visit_fields(copy.liquid, PutInto{fields});
        document["liquid"] = fields;
    }
    const std::string text = detail::document_text(document, path.string(), schema_text::cooling);
    detail::ReplacementFile file(path);
    file.write(text);
    file.complete();
}

}  // namespace voltkeel
