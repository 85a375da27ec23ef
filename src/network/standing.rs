//! Vessels that stand open to a cartridge before the command: a cartridge is pierced on the ground
//! and held by the valve, so everything up to the valve's seat is under its pressure.

use crate::network::NetworkError;
use crate::network::spec::{Command, Draw, End, PathRole, System, Vessel};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::PropertySource;
use crate::thermo::{flash, inversion};

/// Rounds of give and take between cartridge and manifold; each gains a factor of about the ratio
/// of their volumes.
const ROUNDS: usize = 60;

impl System {
    /// Mass of CO2 and of air in each vessel at the start [kg].
    ///
    /// A vessel that stands open ([`Vessel::stands_open`]) is filled from the charged vessels
    /// joined to it by an open orifice, at their pressure and its own temperature; what it takes
    /// they lose, so the charge as weighed is kept. The air that was in it is left out: it is at most
    /// the ambient pressure beside the vapour pressure.
    ///
    /// # Errors
    /// No state of the vessel at that pressure, or a charge that does not suffice.
    pub fn masses_at_start(
        &self,
        properties: &impl PropertySource,
    ) -> Result<Vec<(f64, f64)>, NetworkError> {
        let written = self.vessels.iter().map(|v| (v.co2_mass, v.air_mass));
        let mut masses: Vec<(f64, f64)> = written.collect();
        for (i, vessel) in self.vessels.iter().enumerate() {
            if !vessel.stands_open {
                continue;
            }
            let givers = self.standing_open_to(i);
            let taken = taken(properties, vessel, &self.vessels, &masses, &givers)?;
            let whole: f64 = givers.iter().map(|&giver| masses[giver].0).sum();
            for giver in givers {
                masses[giver].0 *= 1.0 - taken / whole;
            }
            if taken > 0.0 {
                masses[i] = (taken, 0.0);
            }
        }
        Ok(masses)
    }

    /// Charged vessels joined to `vessel` by an orifice that is open from the start, written either way round
    /// unless it lets nothing pass from its end to its beginning.
    fn standing_open_to(&self, vessel: usize) -> Vec<usize> {
        let open = self
            .paths
            .iter()
            .filter(|path| path.command == Command::Always && path.role == PathRole::Orifice);
        open.filter_map(|path| match (path.from, path.to) {
            (End::Vessel(giver), End::Vessel(taker)) if taker == vessel => Some(giver),
            (End::Vessel(taker), End::Vessel(giver)) if taker == vessel && !path.one_way => {
                Some(giver)
            }
            _ => None,
        })
        .filter(|&giver| self.vessels[giver].co2_mass > 0.0)
        .collect()
    }
}

/// CO2 that fills `vessel` beside its givers [kg].
fn taken(
    properties: &impl PropertySource,
    vessel: &Vessel,
    vessels: &[Vessel],
    masses: &[(f64, f64)],
    givers: &[usize],
) -> Result<f64, NetworkError> {
    let Some(&first) = givers.first() else {
        return Ok(0.0);
    };
    let whole: f64 = givers.iter().map(|&giver| masses[giver].0).sum();
    let giver = &vessels[first];
    let mut taken = 0.0;
    for _ in 0..ROUNDS {
        let left = 1.0 - taken / whole;
        if left <= 0.0 {
            return Err(NetworkError::Specification {
                what: "volume",
                name: vessel.name.clone(),
                reason: "takes more CO2 than the charge has before the valve opens: make it \
                         smaller, or give it a `pressure` of its own"
                    .to_owned(),
            });
        }
        let density = left * masses[first].0 / giver.volume;
        let density =
            density_beside(properties, giver, density, vessel.temperature).map_err(|source| {
                NetworkError::Vessel {
                    vessel: vessel.name.clone(),
                    source: Box::new(source),
                }
            })?;
        let change = density * vessel.volume - taken;
        taken += change;
        if change.abs() <= 1e-13 * whole {
            break;
        }
    }
    Ok(taken)
}

/// Density [kg/m3] of CO2 at a temperature [K] and the pressure of a charge at its own temperature
/// and density; saturated in balance with a two-phase charge of the same temperature, as the
/// liquid if that is what is drawn.
fn density_beside(
    properties: &impl PropertySource,
    giver: &Vessel,
    giver_density: f64,
    temperature: f64,
) -> Result<f64, NetworkError> {
    let charge = flash::at_temperature_density_with(properties, giver.temperature, giver_density)?;
    if temperature < co2::CRITICAL_TEMPERATURE && temperature > co2::TRIPLE_TEMPERATURE {
        let line = properties.saturation(temperature)?;
        if (charge.pressure / line.pressure - 1.0).abs() < 1e-9 {
            let phase = match giver.draw {
                Draw::Vapour | Draw::Mixed => &line.light,
                Draw::Liquid => &line.heavy,
            };
            return Ok(phase.density());
        }
    }
    if temperature == giver.temperature {
        return Ok(giver_density);
    }
    Ok(inversion::at_temperature_pressure(temperature, charge.pressure)?.density)
}
