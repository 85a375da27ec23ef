//! Where the last searches along a path ended, to begin the next ones there: from one moment to the next a vessel
//! hardly changes, and nor do the places where its flow chokes.

use std::cell::Cell;

use crate::flow::isentrope;
use crate::thermo::FluidPoint;
use crate::thermo::source::PropertySource;

/// The places of one path.
#[derive(Debug, Clone, Default)]
pub struct Hint {
    /// Between liquid and vapour in equilibrium.
    pub(super) throat: Cell<Option<LastThroat>>,
    /// Of one phase, at the first maximum of its flux.
    pub(super) first: LastPlace,
    /// The same at the one beyond the spinodal.
    pub(super) beyond: LastPlace,
}

/// A throat between liquid and vapour where the flow choked.
#[derive(Debug, Clone, Copy)]
pub(super) struct LastThroat {
    /// Temperature over that at rest.
    pub ratio: f64,
    /// d(growth)/dT there.
    pub slope: f64,
}

/// Where on an isentrope a function of the state fell through zero towards lower density.
#[derive(Debug, Clone, Default)]
pub(super) struct LastPlace(Cell<Option<Place>>);

#[derive(Debug, Clone, Copy)]
struct Place {
    /// ln(rho/rho0) and ln(T/T0).
    way: f64,
    cooling: f64,
    /// d(function)/d(ln rho).
    slope: f64,
}

impl Place {
    fn of(start: &FluidPoint, point: &FluidPoint, slope: f64) -> Self {
        Self {
            way: (point.density / start.density).ln(),
            cooling: (point.temperature / start.temperature).ln(),
            slope,
        }
    }
}

/// Ratio of pressures by which a throat must lie clear of the receiver's pressure, and of the triple point, where the
/// flux can have two maxima, to be looked for from the last one.
pub(super) const CLEAR: f64 = 1.05;

/// Part of ln(rho) over which a slope is formed.
const NEARBY: f64 = 1e-4;

impl LastPlace {
    /// The place near the last one where the function is zero on the isentrope from `start`; `None` where it is not
    /// found there at once, or properties are not cheap.
    pub fn again<P: PropertySource>(
        &self,
        properties: &P,
        start: &FluidPoint,
        function: impl Fn(&FluidPoint) -> f64,
    ) -> Option<FluidPoint> {
        let last = self.0.get().filter(|_| P::CHEAP)?;
        let temperature = start.temperature * last.cooling.exp();
        let first = properties.fluid(temperature, start.density * last.way.exp());
        let found = isentrope::zero_near(properties, start.entropy, first, last.slope, function);
        let (point, slope) = found?;
        self.0.set(Some(Place::of(start, &point, slope)));
        Some(point)
    }

    /// Keeps a place that was searched for.
    pub fn remember<P: PropertySource>(
        &self,
        properties: &P,
        start: &FluidPoint,
        point: &FluidPoint,
        function: impl Fn(&FluidPoint) -> f64,
    ) {
        if !P::CHEAP {
            return;
        }
        let nearby = isentrope::at_density(properties, point, point.density * (-NEARBY).exp());
        let slope = |nearby: FluidPoint| (function(point) - function(&nearby)) / NEARBY;
        let slope = nearby.ok().map(slope).filter(|slope| *slope > 0.0);
        self.0
            .set(slope.map(|slope| Place::of(start, point, slope)));
    }
}
