//! How openings begin to change, by which the integrator knows how to begin again.

use super::Network;
use crate::network::contents::Contents;
use crate::network::spec::{End, Path};
use crate::thermo::source::PropertySource;

/// Times that a vessel must be swept during a valve's stroke to count as swept many times.
const SWEEPING: f64 = 20.0;
/// Choked flux over the square root of pressure and density, about.
const CHOKED_SHARE: f64 = 0.65;

/// How openings begin to change at a moment.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Onset {
    /// None does, but for a bend in its law.
    None,
    /// One jumps.
    Sudden,
    /// One sets out from shut, with this much of its stroke to go [s].
    Gradual {
        /// Time to the end of the stroke [s].
        remaining: f64,
        /// Whether in that time what flows will have swept a vessel on the way many times.
        sweeping: bool,
    },
}

impl<L: PropertySource> Network<'_, L> {
    /// How the openings begin to change at a time [s].
    #[must_use]
    pub fn onset(&self, time: f64) -> Onset {
        let mut onset = Onset::None;
        for (opened, path) in self.opened.iter().zip(&self.system.paths) {
            let Some(since) = opened.map(|start| time - start).filter(|s| s.is_finite()) else {
                continue;
            };
            let remaining = path.opening.time_fully_open() - since;
            let nearby = 1e-6 * remaining.max(since).max(1e-9);
            let [before, after] =
                [since - nearby, since + nearby].map(|t| path.opening.fraction(t));
            if after - before > 1e-2 {
                return Onset::Sudden;
            }
            if before == 0.0 && after > 0.0 {
                let sweeping = self.turnover(path) * remaining > SWEEPING;
                onset = Onset::Gradual {
                    remaining,
                    sweeping,
                };
            }
        }
        onset
    }

    /// Rate at which a path, wide open and choked, would renew the smaller of its vessels [1/s]; nothing finer
    /// than an order of magnitude.
    fn turnover(&self, path: &Path) -> f64 {
        let ends = [path.from, path.to]
            .into_iter()
            .filter_map(|end| match end {
                End::Vessel(i) => Some(self.contents(i)),
                End::Ambient => None,
            });
        let mass = |contents: &Contents| contents.co2_mass + contents.air_mass;
        let flux =
            |contents: &Contents| (contents.pressure * mass(contents) / contents.volume).sqrt();
        let (least, greatest) = ends
            .fold((f64::INFINITY, 0.0_f64), |(least, greatest), contents| {
                (least.min(mass(contents)), greatest.max(flux(contents)))
            });
        path.area * path.discharge_coefficient * CHOKED_SHARE * greatest / least
    }
}
