//! Henry & Fauske non-equilibrium flow of liquid, saturated or compressed, and of two-phase mixtures.
//!
//! Source: R. E. Henry and H. K. Fauske, J. Heat Transfer 93 (1971) 179, eqs. 34 and 35: liquid
//! incompressible, vapour polytropic, a part N = min(x_E/0.14, 1) of the equilibrium mass transfer
//! at the throat. The throat pressure is where the critical flux of eq. 34 equals the momentum
//! flux of eq. 35, searched between the triple and the stagnation pressure: below the triple
//! point the model has no liquid and is not used. Compressed liquid has its throat there too, or
//! where it begins to boil if it is too fast by then.

use crate::flow::FlowError;
use crate::flow::stagnation::{Content, Flux, Stagnation};
use crate::numerics::roots::{self, Tolerance};
use crate::numerics::smooth_step;
use crate::thermo::LinePhase;
use crate::thermo::coexistence::{Coexistence, triple_point};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::PropertySource;

/// Mass flux of a liquid or liquid+vapour `stagnation` state into a receiver at
/// `receiver_pressure` [Pa]; `None` where the model does not apply (dry ice, gas).
///
/// # Errors
/// A line that cannot be evaluated.
pub fn mass_flux(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
) -> Result<Option<Flux>, FlowError> {
    let triple = triple_point()?;
    // Closer to the triple point than the search can tell, there is no throat above it.
    if stagnation.temperature <= triple.temperature + 1e-5 || stagnation.temperature > 304.1 {
        return Ok(None);
    }
    let base = properties.saturation(stagnation.temperature)?;
    let x0 = match stagnation.content {
        Content::Mixture {
            vapour_fraction, ..
        } => vapour_fraction,
        Content::Single(point) if point.density > co2::CRITICAL_DENSITY => 0.0,
        Content::Single(_) => return Ok(None),
    };
    let model = Model::new(properties, base, x0, stagnation.pressure);
    let lowest = triple.temperature + 1e-6;
    let top = stagnation.temperature - 1e-6;
    let tolerance = Tolerance {
        x_absolute: 1e-8,
        ..Tolerance::default()
    };
    let difference = |t: f64| -> Result<f64, FlowError> {
        let line = properties.saturation(t)?;
        Ok(model.critical(&line) - model.momentum(line.pressure, &line))
    };
    let throat = match roots::brent(difference, lowest, top, &tolerance) {
        Ok(root) => properties.saturation(root.x)?,
        Err(roots::RootError::NoSignChange { .. }) if difference(top)? < 0.0 => base,
        Err(roots::RootError::NoSignChange { .. }) => properties.saturation(lowest)?,
        Err(error) => return Err(error.into()),
    };
    let (pressure, choked) = if receiver_pressure > throat.pressure {
        (receiver_pressure, false)
    } else {
        (throat.pressure, true)
    };
    let mass_flux = model.momentum(pressure, &throat);
    Ok(Some(Flux {
        unmoved_up_to: 0.0,
        mass_flux,
        choked,
        throat_pressure: pressure,
    }))
}

/// Vapour fraction at rest below which the vapour at the throat is in part newly boiled. A choice of ours:
/// the source has a jump at none.
const TRACE: f64 = 1e-3;

struct Model {
    base: Coexistence,
    x0: f64,
    p0: f64,
    gamma: f64,
    polytropic: f64,
    cp_vapour: f64,
}

impl Model {
    fn new(properties: &impl PropertySource, base: Coexistence, x0: f64, p0: f64) -> Self {
        let vapour = properties.fluid(base.temperature, base.light.density());
        let liquid = properties.fluid(base.temperature, base.heavy.density());
        let gamma = vapour.cp() / vapour.cv;
        let ratio = (1.0 - x0) * liquid.cp() / (x0.max(1e-12) * vapour.cp());
        // Thermal equilibrium polytropic exponent, eq. 31.
        let polytropic = (ratio + 1.0) / (ratio + 1.0 / gamma);
        Self {
            base,
            x0,
            p0,
            gamma,
            polytropic,
            cp_vapour: vapour.cp(),
        }
    }

    /// Vapour volume at the throat, v_g0 (p0/p)^(1/gamma); with no vapour at the start the
    /// equilibrium vapour of the throat, with a trace of it something between.
    fn vapour_volume(&self, pressure: f64, line: &Coexistence) -> f64 {
        let boiled = line.light.volume;
        let share = smooth_step(self.x0 / TRACE);
        if share <= 0.0 {
            return boiled;
        }
        let expanded = self.base.light.volume * (self.p0 / pressure).powf(1.0 / self.gamma);
        boiled + share * (expanded - boiled)
    }

    /// Eq. 34: the critical flux for a throat on `line`.
    fn critical(&self, line: &Coexistence) -> f64 {
        let p = line.pressure;
        let (l, v) = (&line.heavy, &line.light);
        let s0 =
            self.base.heavy.entropy + self.x0 * (self.base.light.entropy - self.base.heavy.entropy);
        let latent = v.entropy - l.entropy;
        let x_equilibrium = ((s0 - l.entropy) / latent).max(0.0);
        let n = (x_equilibrium / 0.14).min(1.0);
        let vapour_volume = self.vapour_volume(p, line);
        let liquid_slope = entropy_slope(l, line) / line.pressure_slope; // ds_l/dp
        let liquid_volume = self.base.heavy.volume;
        let transfer = (1.0 - self.x0) * n / latent * liquid_slope;
        let heating = self.x0 * self.cp_vapour * (1.0 / self.polytropic - 1.0 / self.gamma)
            / (p * (self.base.light.entropy - self.base.heavy.entropy));
        let inverse = self.x0 * vapour_volume / (self.polytropic * p)
            + (vapour_volume - liquid_volume) * (transfer - heating);
        if inverse > 0.0 {
            inverse.recip().sqrt()
        } else {
            f64::MAX
        }
    }

    /// Eq. 35: flux by momentum to a throat pressure [Pa].
    fn momentum(&self, pressure: f64, line: &Coexistence) -> f64 {
        let x = self.x0;
        let v_l = self.base.heavy.volume;
        let mut work = (1.0 - x) * v_l * (self.p0 - pressure);
        let mut volume = (1.0 - x) * v_l;
        if x > 0.0 {
            let v_g = self.vapour_volume(pressure, line);
            work += x * self.gamma / (self.gamma - 1.0)
                * (self.p0 * self.base.light.volume - pressure * v_g);
            volume += x * v_g;
        }
        (2.0 * work.max(0.0)).sqrt() / volume
    }
}

fn entropy_slope(phase: &LinePhase, line: &Coexistence) -> f64 {
    (phase.internal_energy_slope + line.pressure * phase.volume_slope) / line.temperature
}
