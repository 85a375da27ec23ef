//! What a system says before it is run: leaks, and the estimate made without real CO2.

use crate::network::spec::{End, PathRole, System};
use crate::thermo::air;
use crate::thermo::fluids::carbon_dioxide as co2;

impl System {
    /// Pressure all vessels together would reach if CO2 were a perfect gas that never cools [Pa].
    ///
    /// Law: perfect gas, p = sum(m_i R_i T_i) / sum(V_i), over every vessel at its start
    /// temperature, CO2 and air. Symbols: m mass [kg], R specific gas constant [J/(kg K)],
    /// T [K], V volume [m3]. It is what a hand calculation says; it ignores condensation, cooling
    /// and leaks, and is always too high for a cartridge.
    #[must_use]
    pub fn perfect_gas_pressure(&self) -> f64 {
        let volume: f64 = self.vessels.iter().map(|vessel| vessel.volume).sum();
        let work: f64 = self
            .vessels
            .iter()
            .map(|vessel| {
                let gas = vessel.co2_mass * co2::SPECIFIC_GAS_CONSTANT
                    + vessel.air_mass * air::GAS_CONSTANT;
                gas * vessel.temperature
            })
            .sum();
        work / volume
    }

    /// Area of the leaks and vents from a vessel to the outside, each times its discharge
    /// coefficient [m2].
    #[must_use]
    pub fn effective_leak_area(&self, vessel: usize) -> f64 {
        self.paths
            .iter()
            .filter(|path| matches!(path.role, PathRole::Leak | PathRole::Vent))
            .filter(|path| {
                let ends = (path.from, path.to);
                let vessel = End::Vessel(vessel);
                ends == (vessel, End::Ambient) || ends == (End::Ambient, vessel)
            })
            .map(|path| path.area * path.discharge_coefficient)
            .sum()
    }
}
