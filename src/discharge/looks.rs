//! Looks at a step where more samples are kept than looks are worth: what is seen of contents between them lies on
//! the polynomial through them.

use crate::network::contents::Contents;

/// Parts a step is cut into by the places inside that are looked at where more samples are kept than that; events are
/// looked for at two of these places.
pub(super) const LOOKED_AT: usize = 6;
/// Difference of highest order of the pressures at the looks of a step, as a share of the largest, with which they count
/// as smooth.
const SMOOTH: f64 = 1e-3;

/// What is seen of a vessel's contents.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Sight {
    pub pressure: f64,
    pub temperature: f64,
    pub solid_mass: f64,
    pub liquid_mass: f64,
}

impl Sight {
    /// What there is to see.
    pub fn of(contents: &Contents) -> Self {
        Self {
            pressure: contents.pressure,
            temperature: contents.temperature,
            solid_mass: contents.solid_mass,
            liquid_mass: contents.liquid_mass,
        }
    }

    /// A weighted sum.
    pub fn mean<'s>(weighted: impl Iterator<Item = (&'s f64, &'s Sight)>) -> Self {
        weighted.fold(Self::default(), |sum, (weight, sight)| Self {
            pressure: sum.pressure + weight * sight.pressure,
            temperature: sum.temperature + weight * sight.temperature,
            solid_mass: sum.solid_mass + weight * sight.solid_mass,
            liquid_mass: sum.liquid_mass + weight * sight.liquid_mass,
        })
    }
}

/// Weights of the looks at a step, numbered from zero, in the value at a place between them (Lagrange).
pub(super) fn weights(place: f64) -> [f64; LOOKED_AT + 1] {
    std::array::from_fn(|look| {
        let others = (0..=LOOKED_AT).filter(|other| *other != look);
        others
            .map(|other| (place - other as f64) / (look as f64 - other as f64))
            .product()
    })
}

/// Whether pressures at the looks of a step bend so little that the polynomial through them is good to a few
/// hundred-thousandths: by their difference of highest order, of which a thirtieth at most is missing anywhere.
pub(super) fn are_smooth(pressures: impl Iterator<Item = f64>) -> bool {
    let mut binomial = 1.0;
    let (mut difference, mut largest) = (0.0, 0.0_f64);
    for (look, pressure) in pressures.enumerate() {
        difference += binomial * pressure;
        largest = largest.max(pressure);
        binomial *= -((LOOKED_AT - look.min(LOOKED_AT)) as f64) / (look + 1) as f64;
    }
    difference.abs() <= SMOOTH * largest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn between_looks_a_polynomial_of_their_degree_is_met() {
        let law = |x: f64| 3.0 - 2.0 * x + 0.5 * x.powi(3) - 0.01 * x.powi(6);
        for place in [0.0, 0.3, 1.7, 3.0, 5.9, LOOKED_AT as f64] {
            let weights = weights(place);
            let found: f64 = (weights.iter().enumerate())
                .map(|(look, weight)| weight * law(look as f64))
                .sum();
            assert!((found - law(place)).abs() < 1e-9, "{place}: {found}");
        }
    }
}
