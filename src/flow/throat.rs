//! Places on an isentrope where a flow in equilibrium may choke, and the search for one among two phases.

use crate::flow::FlowError;
use crate::flow::hint::{Hint, LastThroat};
use crate::flow::stagnation::{Flux, Stagnation};
use crate::thermo::{Coexistence, LOWEST_TEMPERATURE};

/// Lowest throat temperature considered [K]; the pressure there is a few hundredths of a pascal.
pub(super) const COLDEST_THROAT: f64 = LOWEST_TEMPERATURE - 20.0;

/// A point on the isentrope.
#[derive(Debug, Clone, Copy)]
pub(super) struct Throat {
    pub(super) temperature: f64,
    pub(super) pressure: f64,
    pub(super) density: f64,
    pub(super) enthalpy: f64,
    /// Squared equilibrium sound speed times a positive factor minus the kinetic term: positive
    /// while G still grows towards lower pressure.
    pub(super) growth: f64,
}

/// Best flux found so far on the way down, and where.
#[derive(Debug, Clone, Copy)]
pub(super) struct Best {
    pub(super) flux: f64,
    pub(super) pressure: f64,
    pub(super) temperature: f64,
}

impl Best {
    pub(super) fn at_rest(stagnation: &Stagnation) -> Self {
        Self {
            flux: 0.0,
            pressure: stagnation.pressure,
            temperature: stagnation.temperature,
        }
    }

    /// One throat and no other.
    pub(super) fn only(stagnation: &Stagnation, throat: &Throat) -> Self {
        let mut best = Self::at_rest(stagnation);
        best.offer(stagnation.enthalpy, throat);
        best
    }

    pub(super) fn flux(&self, receiver_pressure: f64) -> Flux {
        Flux {
            mass_flux: self.flux,
            choked: receiver_pressure < self.pressure * (1.0 - 1e-9),
            throat_pressure: self.pressure,
            unmoved_up_to: 0.0,
        }
    }

    /// What flows if it is best where the receiver [Pa] is met.
    pub(super) fn met(&self, receiver_pressure: f64) -> Flux {
        Flux {
            mass_flux: self.flux,
            choked: false,
            throat_pressure: receiver_pressure,
            unmoved_up_to: 0.0,
        }
    }

    pub(super) fn offer(&mut self, enthalpy0: f64, throat: &Throat) {
        let flux = throat.density * (2.0 * (enthalpy0 - throat.enthalpy)).max(0.0).sqrt();
        if flux > self.flux {
            *self = Self {
                flux,
                pressure: throat.pressure,
                temperature: throat.temperature,
            };
        }
    }
}

/// The equilibrium mixture of a line at entropy `s0`, and how G changes there:
/// dv/dT along the isentrope gives w^2 = -v^2 dp/dv.
pub(super) fn throat(line: &Coexistence, s0: f64, h0: f64) -> Throat {
    let (a, b, p) = (&line.heavy, &line.light, line.pressure);
    let latent = b.entropy - a.entropy;
    let x = (s0 - a.entropy) / latent;
    let x_slope = -((1.0 - x) * line.entropy_slope(a) + x * line.entropy_slope(b)) / latent;
    let volume = a.volume + x * (b.volume - a.volume);
    let volume_slope =
        (1.0 - x) * a.volume_slope + x * b.volume_slope + x_slope * (b.volume - a.volume);
    let enthalpy = a.enthalpy(p) + x * (b.enthalpy(p) - a.enthalpy(p));
    Throat {
        temperature: line.temperature,
        pressure: p,
        density: 1.0 / volume,
        enthalpy,
        // Multiplied by -dv/dT > 0, so that nothing is divided by.
        growth: volume * volume * line.pressure_slope + 2.0 * (h0 - enthalpy) * volume_slope,
    }
}

/// The throat near the last one on a line, by chords from there; `None` if it is not found there at once, or is not
/// one of two phases.
pub(super) fn followed(
    line: &impl Fn(f64) -> Option<Coexistence>,
    stagnation: &Stagnation,
    hint: &Hint,
) -> Option<Throat> {
    let last = hint.throat.get()?;
    let mut t = last.ratio * stagnation.temperature;
    let mut slope = last.slope;
    let mut older: Option<(f64, f64)> = None;
    for _ in 0..6 {
        let line = line(t)?;
        let found = throat(&line, stagnation.entropy, stagnation.enthalpy);
        if let Some((t_older, growth)) = older {
            slope = (found.growth - growth) / (t - t_older);
        }
        let step = -found.growth / slope;
        if slope <= 0.0 || !step.is_finite() {
            return None;
        }
        if step.abs() < 1e-8 * t {
            let two_phase =
                found.density > line.light.density() && found.density < line.heavy.density();
            return two_phase.then(|| {
                let ratio = t / stagnation.temperature;
                hint.throat.set(Some(LastThroat { ratio, slope }));
                found
            });
        }
        older = Some((t, found.growth));
        t += step;
    }
    None
}

/// Keeps the throat at a temperature [K] on a line, if there is one.
pub(super) fn remember(
    line: &impl Fn(f64) -> Option<Coexistence>,
    stagnation: &Stagnation,
    temperature: f64,
    hint: &Hint,
) {
    let nearby = 1e-5 * temperature;
    let growth = |t: f64| Some(throat(&line(t)?, stagnation.entropy, stagnation.enthalpy).growth);
    let last = || {
        let slope = (growth(temperature)? - growth(temperature - nearby)?) / nearby;
        let ratio = temperature / stagnation.temperature;
        Some(LastThroat { ratio, slope })
    };
    hint.throat.set(last());
}

/// The throat where growth ends, by secants started where velocity mostly meets the sound speed,
/// 7 % down in temperature; `None` where they leave the bracket or do not settle.
pub(super) fn secant(
    at: &dyn Fn(f64) -> Result<Throat, FlowError>,
    (low, at_low): (f64, f64),
    (high, at_high): (f64, f64),
) -> Result<Option<Throat>, FlowError> {
    // The lower end may be far away: start from the upper one and a point near the usual throat.
    let mut older = (high, at_high);
    let mut newer = high - 0.07 * high;
    if newer <= low {
        newer = low + at_low / (at_low - at_high) * (high - low);
    }
    for _ in 0..12 {
        if !(newer > low && newer < high) {
            return Ok(None);
        }
        let throat = at(newer)?;
        let slope = (throat.growth - older.1) / (newer - older.0);
        let step = -throat.growth / slope;
        if step.abs() < 1e-8 * newer {
            return Ok(Some(throat));
        }
        if !step.is_finite() {
            return Ok(None);
        }
        older = (newer, throat.growth);
        newer += step;
    }
    Ok(None)
}
