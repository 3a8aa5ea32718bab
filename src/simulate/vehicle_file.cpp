#include "voltkeel/simulate/vehicle_file.hpp"

#include <nlohmann/json.hpp>

#include "io/file_bytes.hpp"
#include "io/json_field.hpp"
#include "io/schema_text.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {
namespace {

// Every field of the file stands once, for reading and writing.

template <class AnyCoastDown, class Visit>
void visit_coast_down(AnyCoastDown& coast_down, Visit visit) {
    visit("a_N", coast_down.a_N);
    visit("b_N_s_per_m", coast_down.b_N_s_per_m);
    visit("c_N_s2_per_m2", coast_down.c_N_s2_per_m2);
}

template <class AnyRoadVehicle, class Visit>
void visit_road(AnyRoadVehicle& vehicle, Visit visit) {
    visit("mass_kg", vehicle.mass_kg);
    visit("rotating_mass_factor", vehicle.rotating_mass_factor);
    visit("rolling_resistance", vehicle.rolling_resistance);
    visit("drag_area_m2", vehicle.drag_area_m2);
    visit("air_density_kg_per_m3", vehicle.air_density_kg_per_m3);
    visit("drive_efficiency", vehicle.drive_efficiency);
    visit("regeneration_efficiency", vehicle.regeneration_efficiency);
    visit("regeneration_share", vehicle.regeneration_share);
    visit("regeneration_start_m_per_s", vehicle.regeneration_start_m_per_s);
    visit("regeneration_full_m_per_s", vehicle.regeneration_full_m_per_s);
    visit("regeneration_power_max_W", vehicle.regeneration_power_max_W);
    visit("drive_power_max_W", vehicle.drive_power_max_W);
    visit("auxiliary_power_W", vehicle.auxiliary_power_W);
}

template <class AnyBoat, class Visit>
void visit_boat(AnyBoat& boat, Visit visit) {
    visit("reference_speed_m_per_s", boat.reference_speed_m_per_s);
    visit("reference_shaft_power_W", boat.reference_shaft_power_W);
    visit("exponent", boat.exponent);
    visit("drive_efficiency", boat.drive_efficiency);
    visit("shaft_power_max_W", boat.shaft_power_max_W);
    visit("auxiliary_power_W", boat.auxiliary_power_W);
}

template <class AnyRoadVehicle, class Visit>
void visit_curves(AnyRoadVehicle& vehicle, const RoadVehicle*, Visit visit) {
    visit("drive_efficiency_curve", vehicle.drive_efficiency_curve);
    visit("regeneration_efficiency_curve", vehicle.regeneration_efficiency_curve);
}

template <class AnyBoat, class Visit>
void visit_curves(AnyBoat& boat, const Boat*, Visit visit) {
    visit("drive_efficiency_curve", boat.drive_efficiency_curve);
}

template <class Vessel>
void take_curves(const nlohmann::json& object, Vessel& vessel) {
    visit_curves(vessel, &vessel, [&](const char* field, std::optional<EfficiencyCurve>& curve) {
        const auto found = object.find(field);
        if (found == object.end()) return;
        curve.emplace();
        found->at("power_fraction").get_to(curve->power_fraction);
        found->at("efficiency").get_to(curve->efficiency);
    });
}

template <class Vessel>
void put_curves(nlohmann::ordered_json& object, const Vessel& vessel) {
    visit_curves(vessel, &vessel,
                 [&](const char* field, const std::optional<EfficiencyCurve>& curve) {
                     if (!curve) return;
                     object[field] = {{"power_fraction", curve->power_fraction},
                                      {"efficiency", curve->efficiency}};
                 });
}

/// A visit that takes what `object` has.
auto take_from(const nlohmann::json& object) {
    return [&object](const char* field, double& value) { detail::take(object, field, value); };
}

/// A visit that puts every field into `object`.
auto put_into(nlohmann::ordered_json& object) {
    return [&object](const char* field, double value) { object[field] = value; };
}

}  // namespace

Vehicle parse_vehicle(std::string_view text, const std::string& source) {
    const nlohmann::json document = detail::parse_document(text, source, schema_text::vehicle);
    const auto road = document.find("road");
    const auto water = document.find("boat");
    if ((road == document.end()) == (water == document.end())) {
        throw Error(source + R"(: needs either "road" or "boat", has )" +
                    (road == document.end() ? "neither" : "both"));
    }
    try {
        if (road != document.end()) {
            RoadVehicle vehicle;
            document.at("name").get_to(vehicle.name);
            visit_road(vehicle, take_from(*road));
            take_curves(*road, vehicle);
            const auto coast_down = road->find("coast_down");
            if (coast_down != road->end()) {
                visit_coast_down(vehicle.coast_down.emplace(), take_from(*coast_down));
            }
            check_road_vehicle(vehicle);
            return vehicle;
        }
        Boat boat;
        document.at("name").get_to(boat.name);
        visit_boat(boat, take_from(*water));
        take_curves(*water, boat);
        check_boat(boat);
        return boat;
    } catch (const Error& error) {
        throw Error(source + ": " + error.what());
    }
}

Vehicle load_vehicle(const std::filesystem::path& path) {
    return parse_vehicle(detail::read_bytes(path).view(), path.string());
}

void save_vehicle(const std::filesystem::path& path, const Vehicle& vehicle) {
    nlohmann::ordered_json document = {{"format", "voltkeel.vehicle"}, {"format_version", 1}};
    nlohmann::ordered_json fields;
    if (const auto* const road = std::get_if<RoadVehicle>(&vehicle)) {
        check_road_vehicle(*road);
        visit_road(*road, put_into(fields));
        put_curves(fields, *road);
        if (road->coast_down) {
            visit_coast_down(*road->coast_down, put_into(fields["coast_down"]));
        }
        document["name"] = road->name;
        document["road"] = fields;
    } else {
        const Boat& boat = std::get<Boat>(vehicle);
        check_boat(boat);
        visit_boat(boat, put_into(fields));
        put_curves(fields, boat);
        document["name"] = boat.name;
        document["boat"] = fields;
    }
    const std::string text = detail::document_text(document, path.string(), schema_text::vehicle);
    detail::ReplacementFile file(path);
    file.write(text);
    file.complete();
}

}  // namespace voltkeel
