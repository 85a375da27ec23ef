//! The mass flux of a path: the chosen two-phase model applied to what a vessel offers.

use crate::flow::hint::Hint;
use crate::flow::stagnation::{Condensate, Content, Flux, Stagnation};
use crate::flow::{
    FlowError, FluxModel, equilibrium, frozen, gas_alone, henry_fauske, isentrope, near_critical,
    perfect_gas, saturated_table,
};
use crate::numerics::smooth_step;
use crate::thermo::fluids::carbon_dioxide as co2;
use crate::thermo::source::PropertySource;

/// Mass flux of pure CO2 by `model` into a receiver at `receiver_pressure` [Pa].
///
/// A gas that stays a gas to the throat flows alike by every model. Otherwise:
///
/// * equilibrium, frozen: the limits;
/// * between: their linear blend;
/// * relaxed, from a dense state (saturated or compressed liquid): Dyer et al., AIAA 2007-5702,
///   G = (k G_Bernoulli + G_equilibrium)/(1 + k), k = sqrt((p0 - p2)/(pv - p2)), with pv the vapour
///   pressure at the stagnation temperature. The equilibrium share stays at its maximum once
///   choked (letting it fall past choking is the other reading, up to 20 % lower). For saturated
///   liquid k = 1; above pv no vapour forms and Bernoulli alone is left. Near the critical point, where
///   the liquid yields to pressure, its p v^kappa = const takes Bernoulli's place. Elsewhere half equilibrium
///   and half frozen, joined smoothly between 0.8 and 1.2 of the critical density;
/// * Henry & Fauske for liquid and liquid+vapour (never less than equilibrium where its
///   throat nears the triple point), frozen elsewhere.
///
/// # Errors
/// A state outside the model.
pub fn pure<P: PropertySource>(
    properties: &P,
    model: FluxModel,
    stagnation: &Stagnation,
    receiver_pressure: f64,
) -> Result<Flux, FlowError> {
    pure_from(
        properties,
        model,
        stagnation,
        receiver_pressure,
        &Hint::default(),
    )
}

/// [`pure`], from where the last search for the same path ended.
///
/// # Errors
/// As [`pure`].
pub fn pure_from<P: PropertySource>(
    properties: &P,
    model: FluxModel,
    stagnation: &Stagnation,
    receiver_pressure: f64,
    hint: &Hint,
) -> Result<Flux, FlowError> {
    let choke = match saturated_table::frozen(properties, stagnation) {
        Some(choke) => Some(choke),
        None => {
            let sonic = isentrope::sonic_of_gas(properties, stagnation);
            let flux = gas_alone::mass_flux(properties, stagnation, receiver_pressure, sonic)?;
            if let Some(flux) = flux {
                return Ok(flux);
            }
            sonic.map(|sonic| sonic.choke())
        }
    };
    let equilibrium = || {
        let throat = saturated_table::equilibrium(properties, stagnation);
        let throat = throat.as_ref();
        equilibrium::across_boundaries(properties, stagnation, receiver_pressure, throat, hint)
    };
    let frozen = || frozen::choking_at(properties, stagnation, receiver_pressure, choke, hint);
    match model {
        FluxModel::Equilibrium => equilibrium(),
        FluxModel::Frozen => frozen(),
        FluxModel::Between(share) => Ok(blend(&equilibrium()?, &frozen()?, share)),
        FluxModel::Relaxed => {
            let dense = dense_share(stagnation);
            let limit = equilibrium()?;
            if let Some(gas) = frozen::gas_mixture(stagnation) {
                return Ok(blend(&limit, &mixture(&gas, receiver_pressure), 0.5));
            }
            if dense <= 0.0 {
                return Ok(blend(&limit, &frozen()?, 0.5));
            }
            let dyer = dyer(properties, stagnation, receiver_pressure, &limit)?;
            if dense >= 1.0 {
                return Ok(dyer);
            }
            Ok(blend(&blend(&limit, &frozen()?, 0.5), &dyer, dense))
        }
        FluxModel::HenryFauske => {
            match henry_fauske::mass_flux(properties, stagnation, receiver_pressure)? {
                // Close above the triple point the model finds no throat and its flux falls to
                // nothing; equilibrium, which knows dry ice, is then the least that flows.
                Some(flux) if flux.throat_pressure < 1.1 * co2::TRIPLE_PRESSURE_ROUNDED => {
                    let least = equilibrium()?;
                    Ok(if flux.mass_flux < least.mass_flux {
                        least
                    } else {
                        flux
                    })
                }
                Some(flux) => Ok(flux),
                None => frozen(),
            }
        }
    }
}

fn blend(a: &Flux, b: &Flux, share: f64) -> Flux {
    let mix = |x: f64, y: f64| x + share * (y - x);
    Flux {
        mass_flux: mix(a.mass_flux, b.mass_flux),
        choked: if share < 0.5 {
            a.choked
        } else {
            b.choked && (a.choked || share >= 1.0)
        },
        throat_pressure: mix(a.throat_pressure, b.throat_pressure),
        unmoved_up_to: a.unmoved_up_to.min(b.unmoved_up_to),
    }
}

/// How far a single-phase state counts as liquid: 0 below 0.8 critical densities, 1 above 1.2.
pub(crate) fn dense_share(stagnation: &Stagnation) -> f64 {
    match stagnation.content {
        Content::Single(point) => smooth_step((point.density / co2::CRITICAL_DENSITY - 0.8) / 0.4),
        Content::Mixture { .. } => 0.0,
    }
}

fn dyer(
    properties: &impl PropertySource,
    stagnation: &Stagnation,
    receiver_pressure: f64,
    equilibrium: &Flux,
) -> Result<Flux, FlowError> {
    let bernoulli = near_critical::without_vapour(properties, stagnation, receiver_pressure);
    let t = stagnation.temperature;
    let vapour_pressure = if t < co2::TRIPLE_TEMPERATURE {
        co2::TRIPLE_PRESSURE_ROUNDED
    } else if t < co2::CRITICAL_TEMPERATURE {
        properties.saturation(t)?.pressure
    } else {
        co2::CRITICAL_PRESSURE
    };
    let vapour_pressure = vapour_pressure.min(stagnation.pressure);
    if receiver_pressure >= vapour_pressure {
        return Ok(Flux {
            mass_flux: bernoulli,
            choked: false,
            throat_pressure: receiver_pressure,
            unmoved_up_to: 0.0,
        });
    }
    let k =
        ((stagnation.pressure - receiver_pressure) / (vapour_pressure - receiver_pressure)).sqrt();
    Ok(Flux {
        mass_flux: (k * bernoulli + equilibrium.mass_flux) / (1.0 + k),
        choked: equilibrium.choked,
        throat_pressure: equilibrium.throat_pressure,
        unmoved_up_to: 0.0,
    })
}

/// A gas mixture of CO2 and air, possibly carrying condensed CO2, at rest upstream of a path.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GasMixture {
    /// Total pressure [Pa].
    pub pressure: f64,
    /// Density of the gas phase [kg/m3].
    pub gas_density: f64,
    /// Isentropic exponent of the gas phase at frozen composition [-].
    pub exponent: f64,
    /// Mass fraction of gas in what is drawn.
    pub gas_fraction: f64,
    /// The condensed part.
    pub condensed: Condensate,
}

/// Mass flux of a gas mixture: p v^kappa = const for the gas, kappa = rho w^2/p; condensed CO2 goes
/// along as dust at the same velocity (frozen fractions), by the same law with an exponent of its own:
/// v = sum x_i v_i r^(-1/kappa_i), h0 - h = sum x_i (kappa_i/(kappa_i-1)) p0 v_i (1 - r^((kappa_i-1)/kappa_i)),
/// maximised over the throat pressure ratio r. Dust that does not yield has v_c and v_c p0 (1-r).
#[must_use]
pub fn mixture(gas: &GasMixture, receiver_pressure: f64) -> Flux {
    let p0 = gas.pressure;
    let kappa = gas.exponent;
    let ratio = (receiver_pressure / p0).clamp(0.0, 1.0);
    let x = gas.gas_fraction;
    let dust = Condensate {
        volume: (1.0 - x) * gas.condensed.volume * gas.gas_density,
        ..gas.condensed
    };
    let scale = (p0 * gas.gas_density).sqrt();
    if dust.volume < 1e-9 * x {
        // Dust of no volume only adds inertia: G grows by 1/sqrt(x).
        let (psi, critical) = perfect_gas::flux_and_critical_ratio(ratio, kappa);
        let choked = ratio < critical;
        return Flux {
            mass_flux: psi * scale / x.sqrt(),
            choked,
            throat_pressure: p0 * ratio.max(critical),
            unmoved_up_to: if choked { p0 * critical } else { 0.0 },
        };
    }
    let (flux, throat) = dusty(x, &dust, kappa, ratio.max(LOWEST_RATIO));
    let choked = throat > ratio.max(LOWEST_RATIO);
    Flux {
        mass_flux: flux * scale,
        choked,
        throat_pressure: p0 * throat,
        unmoved_up_to: if choked { p0 * throat } else { 0.0 },
    }
}

/// Step towards the throat, as a share of the way from rest, that is the last.
const SHORT: f64 = 1e-5;

/// Lowest throat pressure ratio looked at.
const LOWEST_RATIO: f64 = 1e-6;

/// A pressure ratio r = e^-y, and r - 1.
struct Fall {
    y: f64,
    ratio: f64,
    less_one: f64,
}

impl Fall {
    fn new(y: f64) -> Self {
        let less_one = (-y).exp_m1();
        Self {
            y,
            ratio: 1.0 + less_one,
            less_one,
        }
    }
}

/// What a phase does along its law down to a pressure ratio.
struct Expansion {
    volume: f64,
    /// First and second derivative of the volume in y.
    slope: f64,
    bend: f64,
    /// Work done since rest.
    work: f64,
}

impl Expansion {
    /// p v^kappa = const from a `share` of the volume at rest.
    fn new(share: f64, kappa: f64, fall: &Fall) -> Self {
        let m = (kappa - 1.0) / kappa;
        let swelling = (fall.y / kappa).exp();
        let volume = share * swelling;
        // 1 - exp(-m y) by the two exponentials at hand, where little of it cancels.
        let work = if m * fall.y > 1e-2 {
            (1.0 - fall.ratio * swelling) / m
        } else {
            fall.y * perfect_gas::exp_minus_one_over(-m * fall.y)
        };
        Self {
            volume,
            slope: volume / kappa,
            bend: volume / (kappa * kappa),
            work: share * work,
        }
    }

    fn of_dust(dust: &Condensate, fall: &Fall) -> Self {
        if dust.exponent.is_finite() {
            return Self::new(dust.volume, dust.exponent, fall);
        }
        Self {
            volume: dust.volume,
            slope: 0.0,
            bend: 0.0,
            work: -dust.volume * fall.less_one,
        }
    }
}

/// Flux over sqrt(p0 rho_g) of gas fraction `x` with condensate, its volume in units of the gas's own, into a
/// pressure ratio, and the throat's pressure ratio.
fn dusty(x: f64, dust: &Condensate, kappa: f64, ratio: f64) -> (f64, f64) {
    let at = |fall: &Fall| {
        let (gas, dust) = (
            Expansion::new(x, kappa, fall),
            Expansion::of_dust(dust, fall),
        );
        Expansion {
            volume: gas.volume + dust.volume,
            slope: gas.slope + dust.slope,
            bend: gas.bend + dust.bend,
            work: gas.work + dust.work,
        }
    };
    // ln of v^2 over 2 work (-dv/dr), falling through zero at the throat, and its slope.
    let excess = |y: f64| {
        let fall = Fall::new(y);
        let e = at(&fall);
        let value = (e.volume * e.volume / (2.0 * e.work * e.slope)).ln() - y;
        let slope =
            2.0 * e.slope / e.volume - e.volume * fall.ratio / e.work - e.bend / e.slope - 1.0;
        (value, slope)
    };
    let receiver = -ratio.ln();
    // From the pure gas's throat, which dust only pushes down, perhaps beyond the receiver.
    let mut y = receiver.min(-perfect_gas::critical_pressure_ratio(kappa).ln());
    if receiver > 0.0 {
        for _ in 0..50 {
            let (value, slope) = excess(y);
            // What does not yield never chokes.
            if !value.is_finite() || (y == receiver && value >= 0.0) {
                y = receiver;
                break;
            }
            let step = -value / slope;
            y = (y + step).clamp(0.0, receiver);
            // Newton squares what is left, and the flux is at its largest there.
            if step.abs() < SHORT * y {
                break;
            }
        }
    }
    let fall = Fall::new(y);
    let end = at(&fall);
    let throat = if y == receiver { ratio } else { fall.ratio };
    ((2.0 * end.work).max(0.0).sqrt() / end.volume, throat)
}
