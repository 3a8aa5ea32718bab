#include "voltkeel/io/pack_energy.hpp"

#include <string>

#include "io/number_text.hpp"
#include "io/pack_views.hpp"
#include "voltkeel/error.hpp"

namespace voltkeel {

UsableEnergyBand<double> usable_energy(const Pack& pack, const std::vector<GroupState>& groups,
                                       const Draw<double>& draw,
                                       const UsableEnergySettings<double>& settings,
                                       double sigmas) {
    const Finding<double> knobs = validate(settings);
    if (knobs.status != Status::ok) detail::refuse(knobs, "settings.");
    if (!(draw.power_W >= 0) || !(draw.current_A >= 0) ||
        (draw.power_W > 0) == (draw.current_A > 0)) {
        throw Error("draw: power_W " + number_text(draw.power_W) + ", current_A " +
                    number_text(draw.current_A) + ": one must be above 0 and the other 0");
    }
    if (!(sigmas > 0 && sigmas <= 10)) {
        throw Error("sigmas: " + number_text(sigmas) + " is outside 0 .. 10");
    }
    return detail::with_form(pack, [&](auto form) {
        using Form = decltype(form);
        detail::PackAsViews<Form::branches, Form::transfer> views(pack);
        views.take(groups);
        std::vector<detail::DrainWork<double, Form::branches, Form::transfer>> work(
            static_cast<std::size_t>(views.view().group_count));
        std::vector<detail::DrainString<double>> strings(
            static_cast<std::size_t>(views.view().string_count));
        UsableEnergyBand<double> result;
        const Status status =
            usable_energy_band(views.view(), views.states(), draw,
                               DrainWorkspace<double, Form::branches, Form::transfer>{
                                   work.data(), static_cast<int>(work.size()), strings.data(),
                                   static_cast<int>(strings.size())},
                               result, settings, sigmas);
        if (!usable(status)) {
            throw Error("the usable energy at " + number_text(draw.power_W) + " W, " +
                        number_text(draw.current_A) + " A cannot be told: " + message(status));
        }
        return result;
    });
}

UsableEnergyBand<double> usable_energy(const Cell& cell, const GroupState& state,
                                       const Draw<double>& draw,
                                       const UsableEnergySettings<double>& settings,
                                       double sigmas) {
    return usable_energy(single_string_pack(cell.name, "cell", cell, {1, 1}), {state}, draw,
                         settings, sigmas);
}

}  // namespace voltkeel
