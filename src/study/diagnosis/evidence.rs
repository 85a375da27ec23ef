//! From fits to probabilities, and the test that says none of them may be right.

use crate::statistics::standard_normal;

use super::fit::Fit;
use super::problem::Problem;

/// Residual beyond which a point is a spike and no evidence against the model, if they are few.
const SPIKE: f64 = 6.0;
/// Largest share of points that may be spikes.
const FEW: f64 = 0.03;
/// Sum of the squared residuals over its expectation beyond which the traces are not explained.
pub const UNEXPLAINED: f64 = 1.8;
/// Chance of such residuals under the right explanation below which one is looked for elsewhere.
const UNLIKELY: f64 = 1e-3;

/// How well the residuals of a fit behave like noise.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Goodness {
    /// Sum of the squared residuals, spikes left out.
    pub chi_square: f64,
    /// Points less the values settled by them.
    pub degrees: f64,
    /// Correlation of neighbouring residuals.
    pub correlation: f64,
    /// Points left out as spikes.
    pub spikes: usize,
    /// Points as good as which the noise was known beforehand.
    pub known: f64,
    /// Chance of residuals as large or as smooth as these if the explanation is right.
    pub p_value: f64,
}

impl Goodness {
    /// Tests a fit: size of the residuals against the noise (chi-square), and their independence
    /// (correlation of neighbours, von Neumann 1941); the smaller of two p-values, doubled.
    #[must_use]
    pub fn of(problem: &Problem<'_, '_>, fit: &Fit) -> Self {
        let mut all = Vec::new();
        let (mut products, mut pairs) = (0.0, 0.0);
        let mut noise_doubt: f64 = 0.0;
        let traces = problem.model.traces;
        for (trace, measured) in traces.iter().enumerate() {
            let Ok(run) = problem.run(&fit.z, trace) else {
                continue;
            };
            let mut residuals = problem.plain_residuals(&run, &fit.z, trace).into_iter();
            for (index, channel) in measured.channels.iter().enumerate() {
                // The noise itself is estimated; its square by a median of differences has a
                // relative variance of about 8/n.
                noise_doubt = noise_doubt.max(8.0 / channel.samples.max(4) as f64);
                let own: Vec<f64> = residuals.by_ref().take(channel.values.len()).collect();
                for pair in own.windows(2) {
                    if let &[a, b] = pair
                        && a.abs() < SPIKE
                        && b.abs() < SPIKE
                    {
                        products += a * b;
                        pairs += 1.0;
                    }
                }
                let known = problem.model.deviations(trace, index);
                all.extend(own.iter().zip(known).map(|(r, known)| (*r, known.noise)));
            }
        }
        let spikes = all.iter().filter(|(r, _)| r.abs() >= SPIKE).count();
        let few = (spikes as f64) < FEW * all.len() as f64;
        let kept = all.iter().filter(|(r, _)| !few || r.abs() < SPIKE);
        // At a front noise is but a part of what is allowed for.
        let (count, chi_square) =
            kept.fold((0.0, 0.0), |(n, sum), (r, noise)| (n + noise, sum + r * r));
        let degrees = (count - fit.settled()).max(1.0);
        let correlation = if chi_square > 0.0 && pairs > 0.0 {
            (products / pairs) / (chi_square / count)
        } else {
            0.0
        };
        // Fisher's root of a chi-square is nearly normal; the doubt about the noise widens it.
        let root = (2.0 * chi_square).sqrt() - (2.0 * degrees - 1.0).max(0.0).sqrt();
        let wide = (1.0 + 0.5 * degrees * noise_doubt).sqrt();
        let size = standard_normal::exceedance(root / wide);
        let smooth = standard_normal::exceedance(correlation * pairs.max(1.0).sqrt());
        Goodness {
            chi_square,
            degrees,
            correlation,
            spikes: if few { spikes } else { 0 },
            known: 2.0 / noise_doubt.max(1e-9),
            p_value: (2.0 * size.min(smooth)).min(1.0),
        }
    }

    /// Sum of the squared residuals over its expectation.
    #[must_use]
    pub fn size(&self) -> f64 {
        self.chi_square / self.degrees
    }

    /// Whether the residuals are about as large as the noise, and look like it.
    #[must_use]
    pub fn looks_like_noise(&self) -> bool {
        self.size() < UNEXPLAINED && self.p_value > UNLIKELY
    }

    /// Factor on the noise [1]: the mean of what was believed of it beforehand and of what the
    /// residuals say, weighed by how well each is known; where the residuals contradict, they
    /// alone. Enlarged further where neighbours are not independent and count for fewer points.
    #[must_use]
    pub fn inflation(&self) -> f64 {
        let scatter = 2.5 * (2.0 / self.degrees + 2.0 / self.known).sqrt();
        let size = self.size();
        let size = if size > 1.0 + scatter {
            size
        } else {
            (self.known + self.chi_square) / (self.known + self.degrees)
        };
        let rho = self.correlation.clamp(0.0, 0.9);
        let copies = if rho > 2.5 / self.degrees.sqrt() {
            (1.0 + rho) / (1.0 - rho)
        } else {
            1.0
        };
        (size * copies).sqrt()
    }

    /// Chance that none of the causes is right, from the chance `prior` beforehand.
    ///
    /// Law: a p-value p < 1/e bounds the evidence for the tested model against any other by the
    /// Bayes factor -e p ln p (Sellke, Bayarri & Berger 2001, Am. Stat. 55, 62); taken at that
    /// bound, which favours "none".
    #[must_use]
    pub fn none(&self, prior: f64) -> f64 {
        let e = std::f64::consts::E;
        let factor = if self.p_value < 1.0 / e {
            (-e * self.p_value * self.p_value.max(1e-300).ln()).max(1e-12)
        } else {
            1.0
        };
        prior / (prior + (1.0 - prior) * factor)
    }
}

/// Weights that add up to one from logarithms.
#[must_use]
pub fn normalised(logarithms: &[f64]) -> Vec<f64> {
    let most = logarithms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if !most.is_finite() {
        return vec![0.0; logarithms.len()];
    }
    let weights: Vec<f64> = logarithms.iter().map(|l| (l - most).exp()).collect();
    let total: f64 = weights.iter().sum();
    weights.iter().map(|w| w / total).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_bad_fit_speaks_for_none() {
        let with = |p_value| Goodness {
            p_value,
            ..Goodness::default()
        };
        assert!((with(0.6).none(0.02) - 0.02).abs() < 1e-12);
        // -e 0.05 ln 0.05 = 0.4072: Sellke, Bayarri & Berger 2001, table 1 (odds 1 in 2.5).
        let half = with(0.05).none(0.5);
        assert!((half - 1.0 / 1.4072).abs() < 1e-4, "{half}");
        assert!(with(1e-8).none(0.02) > 0.999);
    }

    #[test]
    fn smooth_residuals_do_not_look_like_noise() {
        let with = |chi_square, p_value| Goodness {
            chi_square,
            degrees: 100.0,
            p_value,
            ..Goodness::default()
        };
        assert!(with(120.0, 0.2).looks_like_noise());
        assert!(!with(120.0, 1e-5).looks_like_noise());
        assert!(!with(300.0, 0.2).looks_like_noise());
    }

    #[test]
    fn weights_add_up() {
        let weights = normalised(&[-1000.0, -1001.0, f64::NEG_INFINITY]);
        assert!((weights.iter().sum::<f64>() - 1.0).abs() < 1e-15);
        assert!((weights[0] / weights[1] - 1f64.exp()).abs() < 1e-12);
    }
}
