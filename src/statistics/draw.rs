//! The uniform numbers of trial (seed, index): plain, Latin hypercube or scrambled Sobol.
//!
//! A trial's numbers are a function of the sampler and the index alone, so a campaign
//! can be cut into any slices, run on any number of threads, resumed, or replayed one
//! trial at a time, and always gives the same bits.
//!
//! Trials are dealt to replicates in turn: trial `index` is point `index / replicates` of
//! replicate `index % replicates`. Replicates are independent of each other, which is
//! what makes an honest interval possible for points that are not independent within one.

use super::error::StatisticsError;
use super::permutation::permute;
use super::stream::{Purpose, Stream, hash, mix};

/// How the points of a campaign are placed in the unit cube.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum SamplingMethod {
    /// Independent points.
    Plain,
    /// Latin hypercube (McKay, Beckman & Conover 1979, Technometrics 21, 239): each
    /// input takes exactly one value in each of n equal slices. The slices depend on
    /// the number of trials, so a campaign of another length has other points.
    LatinHypercube,
    /// Owen-scrambled Sobol points (Owen 1995; Burley 2020, J. Comput. Graph. Tech. 9,
    /// 1): at most 2^16 points a replicate and 256 inputs. Best in powers of two a
    /// replicate; any first part of the campaign is usable.
    Sobol,
}

impl SamplingMethod {
    /// Replicates to use when nobody says: one for plain draws, which need none; for
    /// the others 16, enough for a t interval only 9 % wider than a normal one, or more
    /// when the campaign needs them.
    pub fn default_replicates(self, trials: u64) -> u32 {
        match self {
            Self::Plain => 1,
            Self::LatinHypercube => trials.clamp(1, 16) as u32,
            Self::Sobol => {
                let needed = trials.div_ceil(SOBOL_POINTS).min(u64::from(u32::MAX)) as u32;
                needed.max(trials.clamp(1, 16) as u32)
            }
        }
    }
}

/// Points of one Sobol replicate.
pub const SOBOL_POINTS: u64 = 1 << 16;
/// Inputs a Sobol sampler serves.
pub const SOBOL_DIMENSIONS: usize = sobol_burley::NUM_DIMENSIONS as usize;

/// A source of points in the open unit cube, addressed by trial index.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sampler {
    method: SamplingMethod,
    seed: u64,
    dimensions: usize,
    trials: u64,
    replicates: u32,
}

impl Sampler {
    /// A sampler of `trials` points with `dimensions` coordinates each.
    ///
    /// # Errors
    ///
    /// No trials, no replicates or more of them than trials, and for Sobol more inputs
    /// or more trials than it holds: see [`StatisticsError`].
    pub fn new(
        method: SamplingMethod,
        seed: u64,
        dimensions: usize,
        trials: u64,
        replicates: u32,
    ) -> Result<Self, StatisticsError> {
        if trials == 0 {
            return Err(StatisticsError::NoTrials);
        }
        if replicates == 0 || u64::from(replicates) > trials {
            return Err(StatisticsError::Replicates { replicates, trials });
        }
        if method == SamplingMethod::Sobol {
            if dimensions > SOBOL_DIMENSIONS {
                let most = SOBOL_DIMENSIONS;
                return Err(StatisticsError::TooManyDimensions { dimensions, most });
            }
            let most = SOBOL_POINTS * u64::from(replicates);
            if trials > most {
                let needed = trials.div_ceil(SOBOL_POINTS);
                return Err(StatisticsError::TooManyTrials {
                    trials,
                    replicates,
                    most,
                    needed,
                });
            }
        }
        Ok(Self {
            method,
            seed,
            dimensions,
            trials,
            replicates,
        })
    }

    /// How the points are placed.
    pub fn method(&self) -> SamplingMethod {
        self.method
    }

    /// Number of trials of the campaign.
    pub fn trials(&self) -> u64 {
        self.trials
    }

    /// Number of coordinates of each point.
    pub fn dimensions(&self) -> usize {
        self.dimensions
    }

    /// Number of independent replicates.
    pub fn replicates(&self) -> u32 {
        self.replicates
    }

    /// Seed of the campaign.
    pub fn seed(&self) -> u64 {
        self.seed
    }

    /// The replicate that trial `index` belongs to.
    pub fn replicate_of(&self, index: u64) -> u32 {
        (index % u64::from(self.replicates)) as u32
    }

    /// Writes the point of trial `index`, each coordinate strictly between 0 and 1.
    ///
    /// # Errors
    ///
    /// An index past the last trial, or an `out` of another length than the inputs.
    pub fn uniforms(&self, index: u64, out: &mut [f64]) -> Result<(), StatisticsError> {
        if index >= self.trials {
            return Err(StatisticsError::IndexOutOfRange {
                index,
                trials: self.trials,
            });
        }
        if out.len() != self.dimensions {
            return Err(StatisticsError::LengthMismatch {
                what: "inputs of the sampler and numbers asked for",
                left: self.dimensions,
                right: out.len(),
            });
        }
        match self.method {
            SamplingMethod::Plain => {
                let mut stream = Stream::new(self.seed, Purpose::Trial, index);
                out.iter_mut().for_each(|slot| *slot = stream.uniform());
            }
            SamplingMethod::LatinHypercube => self.latin_hypercube(index, out),
            SamplingMethod::Sobol => self.sobol(index, out),
        }
        Ok(())
    }

    /// (slice + place in it) / slices, the slice from a keyed permutation for each input.
    fn latin_hypercube(&self, index: u64, out: &mut [f64]) {
        let replicates = u64::from(self.replicates);
        let (replicate, point) = (index % replicates, index / replicates);
        // trials dealt in turn: the first ones get one more when they do not divide
        let slices = (self.trials - replicate).div_ceil(replicates);
        let mut jitter = Stream::new(self.seed, Purpose::Jitter, index);
        for (dimension, slot) in out.iter_mut().enumerate() {
            let key = hash(
                self.seed,
                &[Purpose::Trial as u64, replicate, dimension as u64],
            );
            let slice = permute(point, slices, key);
            let value = (slice as f64 + jitter.uniform()) / slices as f64;
            // the sum may round up to 1 for the last slice of very many
            *slot = value.min(1.0 - f64::EPSILON);
        }
    }

    /// The library gives 23 bits; random bits below them keep values apart and off 0.
    fn sobol(&self, index: u64, out: &mut [f64]) {
        const RESOLUTION: f64 = 1.0 / (1u32 << 23) as f64;
        let replicates = u64::from(self.replicates);
        let (replicate, point) = ((index % replicates) as u32, (index / replicates) as u32);
        // a bijection of (base + replicate): no two replicates share a scrambling
        let base = hash(self.seed, &[Purpose::Trial as u64]) as u32;
        let scrambling = mix32(base.wrapping_add(replicate));
        let mut jitter = Stream::new(self.seed, Purpose::Jitter, index);
        for (dimension, slot) in out.iter_mut().enumerate() {
            let coarse = sobol_burley::sample(point, dimension as u32, scrambling);
            *slot = f64::from(coarse) + jitter.uniform() * RESOLUTION;
        }
    }
}

/// A 32-bit bijection with good avalanche (Wellons 2018, "lowbias32").
fn mix32(word: u32) -> u32 {
    let word = (word ^ (word >> 16)).wrapping_mul(0x7FEB_352D);
    let word = (word ^ (word >> 15)).wrapping_mul(0x846C_A68B);
    word ^ (word >> 16)
}

/// Seed for a sub-campaign (one point of a sweep, say) of a campaign with `seed`.
pub fn derived_seed(seed: u64, part: u64) -> u64 {
    mix(hash(seed, &[Purpose::Other as u64, part]))
}
