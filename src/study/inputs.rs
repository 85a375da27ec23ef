//! The uncertain values of a design as draws: from numbers in the unit cube, or from standard
//! normal ones, to values in SI.

use crate::statistics::{
    Distribution, GaussianCopula, QuantileFunction, RankCorrelation, StatisticsError,
    standard_normal,
};

/// The uncertain values of a design, ready to be drawn.
#[derive(Debug, Clone)]
pub struct Inputs {
    names: Vec<String>,
    distributions: Vec<Distribution>,
    quantiles: Vec<QuantileFunction>,
    copula: GaussianCopula,
}

impl Inputs {
    /// Prepares the draws of the named distributions, with rank correlations between them.
    ///
    /// # Errors
    /// A distribution that makes no sense, or correlations that do not: see [`StatisticsError`].
    pub fn new(
        inputs: impl IntoIterator<Item = (String, Distribution)>,
        correlations: &[RankCorrelation],
    ) -> Result<Self, StatisticsError> {
        let (names, distributions): (Vec<_>, Vec<_>) = inputs.into_iter().unzip();
        let quantiles = distributions
            .iter()
            .map(QuantileFunction::new)
            .collect::<Result<_, _>>()?;
        let copula = GaussianCopula::new(&names, correlations)?;
        Ok(Self {
            names,
            distributions,
            quantiles,
            copula,
        })
    }

    /// Number of uncertain values.
    #[must_use]
    pub fn len(&self) -> usize {
        self.names.len()
    }

    /// Whether everything is certain.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.names.is_empty()
    }

    /// Where each is written in the design.
    #[must_use]
    pub fn names(&self) -> &[String] {
        &self.names
    }

    /// What each may be.
    #[must_use]
    pub fn distributions(&self) -> &[Distribution] {
        &self.distributions
    }

    /// Positions of the inputs that jump between isolated values (choices, measured values) and go
    /// together with no other, ascending.
    #[must_use]
    pub fn jumping(&self) -> Vec<usize> {
        (0..self.len())
            .filter(|input| {
                self.distributions
                    .get(*input)
                    .is_some_and(Distribution::is_discrete)
                    && !self.copula.members().contains(input)
            })
            .collect()
    }

    /// Whether any two of them go together.
    #[must_use]
    pub fn are_correlated(&self) -> bool {
        !self.copula.is_independent()
    }

    /// The central value of each [SI].
    #[must_use]
    pub fn central(&self) -> Vec<f64> {
        self.distributions
            .iter()
            .map(Distribution::central)
            .collect()
    }

    /// Turns independent numbers strictly between 0 and 1 into values [SI], in place.
    pub fn apply(&self, uniforms: &mut [f64]) {
        self.copula.correlate(uniforms);
        for (slot, quantile) in uniforms.iter_mut().zip(&self.quantiles) {
            *slot = quantile.at(*slot);
        }
    }

    /// The values [SI] that independent standard normal numbers stand for.
    #[must_use]
    pub fn at_normal(&self, normals: &[f64]) -> Vec<f64> {
        let inside = |u: f64| u.clamp(f64::MIN_POSITIVE, 1.0 - f64::EPSILON);
        let mut values: Vec<f64> = normals
            .iter()
            .map(|z| inside(standard_normal::cumulative(*z)))
            .collect();
        self.apply(&mut values);
        values
    }
}
