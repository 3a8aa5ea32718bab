#include "voltkeel/io/taper_file.hpp"

#include <algorithm>
#include <nlohmann/json.hpp>
#include <utility>
#include <vector>

#include "io/file_bytes.hpp"
#include "io/json_field.hpp"
#include "io/number_text.hpp"
#include "io/schema_text.hpp"
#include "voltkeel/error.hpp"
#include "voltkeel/io/charge_times.hpp"

namespace voltkeel {
namespace {

constexpr int falls = TaperState<double>::falls;

// Every field of the file stands once, for reading and writing.

template <class AnyTaper, class Visit>
void visit_taper(AnyTaper& taper, Visit visit) {
    visit("cell", taper.cell);
    visit("capacity_Ah", taper.settings.capacity_Ah);
    visit("memory_charges", taper.settings.memory_charges);
    visit("spread", taper.settings.spread);
    visit("voltage_V", taper.voltage_V);
    visit("temperature_min_degC", taper.temperature_min_degC);
    visit("temperature_max_degC", taper.temperature_max_degC);
    visit("charges", taper.state.charges);
}

template <class AnyState, class Visit>
void visit_falls(AnyState& state, Visit visit) {
    visit("time_s", state.time_s);
    visit("square_s2", state.square_s2);
    visit("weight", state.weight);
}

template <class AnyProvenance, class Visit>
void visit_provenance(AnyProvenance& provenance, Visit visit) {
    visit("made_by", provenance.made_by);
    visit("made_at", provenance.made_at);
}

template <class AnyFile, class Visit>
void visit_file(AnyFile& file, Visit visit) {
    visit("name", file.name);
    visit("sha256", file.sha256);
}

auto take_from(const nlohmann::json& object) {
    return [&object](const char* field, auto& value) { detail::take(object, field, value); };
}

auto put_into(nlohmann::ordered_json& object) {
    return [&object](const char* field, const auto& value) { object[field] = value; };
}

void check_within(const char* field, double value, double low, double high) {
    if (value >= low && value <= high) return;
    throw Error(std::string(field) + ": " + number_text(value) + " is outside " + number_text(low) +
                " .. " + number_text(high));
}

}  // namespace

void check_taper(const LearnedTaper& taper) {
    const Finding<double> finding = validate(taper.settings);
    if (finding.status != Status::ok) {
        throw Error(std::string(finding.field) + ": " + number_text(finding.value) + " against " +
                    number_text(finding.bound) + ": " + message(finding.status));
    }
    check_within("voltage_V", taper.voltage_V, 0.5, 10);
    check_within("temperature_min_degC", taper.temperature_min_degC, -100, 200);
    check_within("temperature_max_degC", taper.temperature_max_degC, taper.temperature_min_degC,
                 200);
    const TaperState<double>& state = taper.state;
    if (state.charges < 0)
        throw Error("charges: " + std::to_string(state.charges) + " must be at least 0");
    for (int k = 0; k < falls; ++k) {
        const double time_s = state.time_s[k];
        const double weight = state.weight[k];
        const std::string place = "[" + std::to_string(k) + "]: ";
        // The square of a mean is at most the mean of the squares, but for what rounding leaves.
        const bool seen = weight > 0 && weight <= 1e4 && time_s > 0 && time_s <= 1e12 &&
                          time_s * time_s <= state.square_s2[k] * weight * (1 + 1e-9);
        const bool not_seen = weight == 0 && time_s == 0 && state.square_s2[k] == 0;
        if (!seen && !not_seen) {
            throw Error("falls.time_s" + place + number_text(time_s) + " s with square_s2 " +
                        number_text(state.square_s2[k]) + " and weight " + number_text(weight) +
                        " is no sum of times");
        }
        if (seen && state.charges == 0)
            throw Error("falls.weight" + place + number_text(weight) + " without any charge");
    }
}

TaperLearner<double> taper_learner(const LearnedTaper& taper) {
    check_taper(taper);
    TaperLearner<double> learner;
    for (const Status status : {learner.configure(taper.settings), learner.restore(taper.state)}) {
        if (status != Status::ok) throw Error(std::string("taper: ") + message(status));
    }
    return learner;
}

bool learn_charge(LearnedTaper& taper, const Log& log, double end_current_A, double tolerance_V) {
    TaperLearner<double> learner = taper_learner(taper);
    if (!learn_charge(learner, log, taper.voltage_V, end_current_A, tolerance_V)) return false;
    double low_degC = taper.state.charges > 0 ? taper.temperature_min_degC : 200;
    double high_degC = taper.state.charges > 0 ? taper.temperature_max_degC : -100;
    for (std::size_t k = 1; k < log.size(); ++k) {
        if (!(log.voltage_V[k] >= taper.voltage_V - tolerance_V && log.current_A[k] > 0)) continue;
        low_degC = std::min(low_degC, log.temperature_degC[k]);
        high_degC = std::max(high_degC, log.temperature_degC[k]);
        if (log.current_A[k] <= end_current_A) break;
    }
    taper.state = learner.state();
    taper.temperature_min_degC = low_degC;
    taper.temperature_max_degC = high_degC;
    return true;
}

double held_voltage_V(const ChargePlan<double>& plan) {
    double voltage_V = 0;
    for (int k = 0; k < plan.zone_count; ++k)
        voltage_V = std::max(voltage_V, plan.zones[k].voltage_V);
    const double last_V = plan.stage_count > 0 ? plan.stages[plan.stage_count - 1].voltage_V : 0;
    return last_V > 0 ? std::min(last_V, voltage_V) : voltage_V;
}

void check_taper_fits(const LearnedTaper& taper, const ChargePlan<double>& plan,
                      double tolerance_V) {
    const double plan_V = held_voltage_V(plan);
    if (std::abs(plan_V - taper.voltage_V) <= tolerance_V) return;
    throw Error("voltage_V: the taper was learned at " + number_text(taper.voltage_V) +
                " V, the charge is held at " + number_text(plan_V) +
                " V; how the current falls there it does not tell");
}

LearnedTaper parse_taper(std::string_view text, const std::string& source) {
    const nlohmann::json document = detail::parse_document(text, source, schema_text::taper);
    LearnedTaper taper;
    try {
        visit_taper(taper, take_from(document));
        visit_falls(taper.state, take_from(document.at("falls")));
        if (const auto told = document.find("provenance"); told != document.end()) {
            visit_provenance(taper.provenance, take_from(*told));
            if (const auto files = told->find("files"); files != told->end()) {
                for (const nlohmann::json& file : *files) {
                    SourceFile& read = taper.provenance.files.emplace_back();
                    read.role = "charge";
                    visit_file(read, take_from(file));
                }
            }
        }
        check_taper(taper);
    } catch (const Error& error) {
        throw Error(source + ": " + error.what());
    }
    return taper;
}

LearnedTaper load_taper(const std::filesystem::path& path) {
    return parse_taper(detail::read_bytes(path).view(), path.string());
}

void save_taper(const std::filesystem::path& path, const LearnedTaper& taper) {
    check_taper(taper);
    nlohmann::ordered_json document = {{"format", "voltkeel.taper"}, {"format_version", 1}};
    visit_taper(taper, put_into(document));
    visit_falls(taper.state, put_into(document["falls"]));
    nlohmann::ordered_json& provenance = document["provenance"];
    visit_provenance(taper.provenance, put_into(provenance));
    provenance["files"] = nlohmann::ordered_json::array();
    for (const SourceFile& file : taper.provenance.files)
        visit_file(file, put_into(provenance["files"].emplace_back()));
    const std::string text = detail::document_text(document, path.string(), schema_text::taper);
    detail::ReplacementFile file(path);
    file.write(text);
    file.complete();
}

}  // namespace voltkeel
