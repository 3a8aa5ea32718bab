#pragma once
/// \file cooling.hpp
/// What the cells of a pack give their heat to: still or moving air, or a liquid loop with pump,
/// radiator, chiller and heater, of the pack's own or shared with drive and charger. Everything is
/// switched by thresholds with hysteresis.
///
/// The radiator is a cross-flow heat exchanger by its effectiveness:
///
///     Q = e C_min (T_coolant - T_air)        N = UA / C_min        c = C_min / C_max
///     e = 1 - exp(N^0.22 / c (exp(-c N^0.78) - 1))        (both streams unmixed)
///
/// Source: Kays & London, Compact Heat Exchangers, and Incropera et al., Fundamentals of Heat and
/// Mass Transfer, eq. 11.32 (from memory, not re-read); within 0.01 of the streams' own equations.

#include <cstddef>
#include <filesystem>
#include <limits>
#include <string>
#include <utility>
#include <vector>

#include "voltkeel/simulate/simulate.hpp"

namespace voltkeel {

/// Share of the largest possible heat that a cross-flow heat exchanger carries, both streams
/// unmixed. \param transfer_units N = UA / C_min, >= 0 \param capacity_ratio C_min / C_max, 0 .. 1
[[nodiscard]] double cross_flow_effectiveness(double transfer_units, double capacity_ratio);

/// A switch with hysteresis. With `on_degC` above `off_degC` it is on in the warm, with `on_degC`
/// below `off_degC` it is on in the cold. Both infinite: always off; both -infinite: always on.
struct ThermalSwitch {
    double on_degC{std::numeric_limits<double>::infinity()};
    double off_degC{std::numeric_limits<double>::infinity()};

    /// Where it stands at a temperature. \param on where it stood before
    [[nodiscard]] bool next(bool on, double degC) const {
        if (on_degC >= off_degC) return on ? degC > off_degC : degC > on_degC;
        return on ? degC < off_degC : degC < on_degC;
    }
};

/// Temperature of the outside air over the day: straight lines between points, held outside.
struct AirTemperature {
    std::vector<double> time_s{0};  ///< Rising.
    std::vector<double> degC{25};   ///< One for each.

    [[nodiscard]] double at(double now_s) const;
};

/// Cells in air. Factors are on the resistance from case to surroundings of the cell files.
struct AirCooling {
    double still_factor{1};
    double moving_factor{0.4};  ///< With the fan on.
    double flow_W_per_K{0};     ///< Capacity rate (mass flow times specific heat) of the air past
                                ///< each string, from its first group to its last; 0: so much
                                ///< that it does not warm.
    double fan_power_W{0};
    ThermalSwitch fan{35, 30};  ///< By the warmest core.
};

/// Air to coolant.
struct Radiator {
    double conductance_W_per_K{0};  ///< UA; 0: there is none.
    double air_W_per_K{1000};       ///< Capacity rate of the air with the fan on.
    double fan_power_W{0};
    ThermalSwitch fan{30, 25};  ///< By the coolant. Off, the radiator takes nothing.
};

/// Takes heat out of the coolant whatever the air.
struct Chiller {
    double power_W{0};                 ///< Heat taken out; 0: there is none.
    double performance{2.5};           ///< Heat taken out over electric power.
    ThermalSwitch compressor{25, 20};  ///< By the coolant.
};

/// Warms the coolant by electricity.
struct Heater {
    double power_W{0};             ///< 0: there is none.
    ThermalSwitch element{5, 15};  ///< By the coldest core.
    double coolant_max_degC{45};   ///< Off above.
};

/// A liquid loop. The coolant passes the groups of every string from the first to the last, the
/// strings side by side, and mixes in the tank.
struct LiquidLoop {
    double start_degC{25};
    double heat_capacity_J_per_K{20000};  ///< Of coolant, plates and what else has its temperature.
    double flow_W_per_K{1000};            ///< Capacity rate with the pump on, all strings together.
    double pump_power_W{0};
    ThermalSwitch pump{28, 24};   ///< By the warmest core; the heater switches it on as well.
    double flowing_factor{0.1};   ///< On the cell files' resistance from case to surroundings.
    double standing_factor{0.5};  ///< The same with the pump off.
    Radiator radiator;
    Chiller chiller;
    Heater heater;
    double drive_loss_share{0};    ///< Of the discharge power that heats the loop: a drive in it.
    double charger_loss_share{0};  ///< Of the charge power that does: a charger in it.
};

/// Which of both a pack has.
enum class CoolingKind { air, liquid };

/// Who pays for fans, pump, compressor and heater.
enum class CoolingSupply {
    pack,     ///< At its terminals. With all strings open everything is off.
    outside,  ///< A shore supply, a charger, an engine.
};

/// A way to cool.
struct CoolingSettings {
    std::string name;
    CoolingKind kind{CoolingKind::air};
    CoolingSupply supply{CoolingSupply::pack};
    AirTemperature air_temperature;
    AirCooling air;
    LiquidLoop liquid;
};

/// Checks a way to cool; of air and liquid only the one it is. \throws Error naming field, value
/// and bound
void check_cooling(const CoolingSettings& settings);

/// How much a part was used.
struct PartUse {
    double on_s{0};
    int starts{0};  ///< Times it was switched on.
};

/// What cooling did, one entry a call. Switches stand from the time of their entry to the next.
struct CoolingTrace {
    std::vector<double> time_s;
    std::vector<double> air_degC;
    std::vector<double> coolant_degC;  ///< Of the tank; the air's for CoolingKind::air.
    std::vector<double> flowing;       ///< 1 with pump or fan on.
    std::vector<double> radiator_fan;  ///< 1 with the fan on.
    std::vector<double> chiller;       ///< 1 with the compressor on.
    std::vector<double> heater;        ///< 1 with the element on.
    double from_cells_J{0};            ///< Into air or coolant.
    double from_drive_J{0};            ///< Drive and charger.
    double from_heater_J{0};
    double to_radiator_J{0};
    double to_chiller_J{0};
    double kept_J{0};      ///< In warmer coolant.
    double electric_J{0};  ///< Fans, pump, compressor and heater.
    PartUse flow_use;      ///< Pump or fan past the cells.
    PartUse radiator_fan_use;
    PartUse chiller_use;
    PartUse heater_use;
};

/// The columns of a trace at other times by name: air_degC and coolant_degC in straight lines
/// between the entries; flowing, radiator_fan, chiller and heater (0 or 1) as they stood.
/// \param time_s rising \throws Error for a trace without entries
[[nodiscard]] std::vector<std::pair<std::string, std::vector<double>>> cooling_columns(
    const CoolingTrace& trace, const std::vector<double>& time_s);

/// Writes the columns of a run with those of its cooling beside them, as CSV.
/// \throws Error when the file cannot be written
void write_simulation(const std::filesystem::path& path, const SimulationResult& result,
                      const CoolingTrace& cooling);

/// A cooling model for `SimulationSettings::cooling`: `settings.cooling = std::ref(plant)`.
class CoolingPlant {
  public:
    /// \param each_cell as in the settings of the run
    /// \throws Error naming field, value and bound
    CoolingPlant(const Pack& pack, const CoolingSettings& settings, bool each_cell = true);

    void operator()(const CoolingStep& step);

    [[nodiscard]] const CoolingTrace& trace() const { return trace_; }

  private:
    [[nodiscard]] double electric_W() const;
    void move_coolant(const CoolingStep& step, double from_cells_W);
    void switch_parts(const CoolingStep& step);
    void set_surroundings(const CoolingStep& step) const;

    CoolingSettings settings_;
    std::vector<std::size_t> string_start_;  // first modelled cell of each string, and the end
    double coolant_degC_{25};
    bool flowing_{false};
    bool radiator_fan_{false};
    bool chiller_{false};
    bool heater_{false};
    CoolingTrace trace_;
};

/// How long a temperature window was left, from the rows of a run.
struct WindowAnswer {
    bool kept{true};
    double below_s{0};  ///< Any core below, straight lines between rows.
    double above_s{0};
    double first_left_s{-1};  ///< -1: never.
    double coldest_degC{0};
    double hottest_degC{0};
};

/// The narrowest temperature window over the cells of a pack, by their cell files.
struct TemperatureWindow {
    double low_degC{0};
    double high_degC{0};
};

/// Window in which every cell may be charged, or discharged. \throws Error when they share no
/// temperature
[[nodiscard]] TemperatureWindow allowed_temperature(const Pack& pack, bool charging);

/// Whether all cores stayed in a window. \throws Error for a run without rows or a window upside
/// down
[[nodiscard]] WindowAnswer temperature_window(const SimulationResult& result, double low_degC,
                                              double high_degC);

/// How long a pack at rest takes to warm before it may be charged.
struct WarmUp {
    bool reached{false};
    double time_s{0};        ///< Until the coldest core is warm, or the time that was waited.
    double electric_J{0};    ///< Of heater, pump and fans meanwhile.
    double coldest_degC{0};  ///< At the end.
};

/// Warms a resting pack by its cooling system's heater, or by the air.
/// \param settings where it starts; its cooling is replaced
/// \throws Error as CoolingPlant and simulate() do
[[nodiscard]] WarmUp warm_up(const Pack& pack, const CoolingSettings& cooling,
                             const SimulationSettings& settings, double target_degC,
                             double longest_s = 86400);

}  // namespace voltkeel
