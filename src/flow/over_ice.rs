//! Equilibrium flow on whose way down dry ice forms.
//!
//! Below the triple point the isentrope lies among dry ice and vapour: from where a gas meets the sublimation line,
//! or from the triple point on if it came there among liquid and vapour. At both places the sound speed drops, and
//! the flux may have a maximum with a bend; it may have another, or its only one, below.

use crate::flow::hint::{CLEAR, Hint};
use crate::flow::stagnation::{Content, Flux, Stagnation};
use crate::flow::throat::{self, Best, COLDEST_THROAT, Throat, secant, throat};
use crate::thermo::Coexistence;
use crate::thermo::coexistence::{TriplePoint, triple_point};
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::PropertySource;

/// Where dry ice begins to form.
struct Onset {
    /// The sublimation line there.
    line: Coexistence,
    /// The best flux above it; `None` where that lies in the gas just above, if it does not grow below.
    above: Option<Best>,
}

/// What flows where dry ice forms before the receiver is met; `None` where none does, where the flux has a maximum
/// above the place where it would, or where a place is not known without a search.
pub(super) fn mass_flux(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
    hint: &Hint,
) -> Option<Flux> {
    let triple = triple_point().ok()?;
    if receiver_pressure >= triple.pressure {
        return None;
    }
    let onset = onset(properties, stagnation, triple)?;
    if receiver_pressure >= onset.line.pressure {
        return None;
    }
    let at = |line: &Coexistence| throat(line, stagnation.entropy, stagnation.enthalpy);
    let top = at(&onset.line);
    if top.growth <= 0.0 {
        let best = match onset.above {
            Some(best) => best,
            None => bend(properties, stagnation, &onset.line, &top)?,
        };
        return Some(Flux {
            unmoved_up_to: onset.line.pressure / CLEAR,
            ..best.flux(receiver_pressure)
        });
    }
    let mut best = onset.above.unwrap_or_else(|| Best::at_rest(stagnation));
    let cold = properties.subliming_temperature(receiver_pressure)?;
    let end = at(&properties.sublimation(cold).ok()?);
    // Velocity rises and sound slows down all the way: where flux still grows at the end it grew before.
    if end.growth >= 0.0 {
        let last = Best::only(stagnation, &end);
        let met = last.flux > best.flux;
        return Some(if met {
            last.met(receiver_pressure)
        } else {
            best.flux(receiver_pressure)
        });
    }
    let warmest = onset.line.temperature;
    let line = |t: f64| {
        let among = t > COLDEST_THROAT && t < warmest;
        among.then(|| properties.sublimation(t).ok())?
    };
    let found = match throat::followed(&line, stagnation, hint) {
        Some(found) => found,
        None => {
            let of = |t: f64| Ok(at(&properties.sublimation(t)?));
            let found = secant(&of, (cold, end.growth), (warmest, top.growth)).ok()??;
            throat::remember(&line, stagnation, found.temperature, hint);
            found
        }
    };
    best.offer(stagnation.enthalpy, &found);
    Some(Flux {
        unmoved_up_to: found.pressure / CLEAR,
        ..best.flux(receiver_pressure)
    })
}

/// Where dry ice begins to form on the way down, and the best flux before.
fn onset(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    triple: &TriplePoint,
) -> Option<Onset> {
    let (t, s) = (stagnation.temperature, stagnation.entropy);
    let single = matches!(stagnation.content, Content::Single(_));
    if single && s > triple.vapour.entropy {
        let dew = properties.dew_temperature(s)?;
        let line = properties.sublimation(dew.min(t)).ok()?;
        return Some(Onset { line, above: None });
    }
    if t < triple.temperature && !single {
        let line = properties.sublimation(t).ok()?;
        let above = Some(Best::at_rest(stagnation));
        return Some(Onset { line, above });
    }
    // Among liquid and vapour down to the triple point.
    let among = s > triple.liquid.entropy && s < triple.vapour.entropy;
    let compressed = stagnation.density > co2::CRITICAL_DENSITY && !stagnation.saturated;
    if !among || t <= triple.temperature || (single && compressed) {
        return None;
    }
    let last = throat(&triple.saturation, s, stagnation.enthalpy);
    (last.growth >= 0.0).then(|| Onset {
        line: triple.sublimation,
        above: Some(Best::only(stagnation, &last)),
    })
}

/// The flux where a gas meets the line, if it grows down to there.
fn bend(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    line: &Coexistence,
    top: &Throat,
) -> Option<Best> {
    let vapour = properties.vapour(line);
    let velocity2 = 2.0 * (stagnation.enthalpy - vapour.enthalpy());
    (vapour.sound_speed_squared() >= velocity2).then(|| Best::only(stagnation, top))
}
